"""The temperature of a winding from its resistance, cold and hot."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from server.errors import InvalidSignal
from server.model.bench import RunDetails
from server.model.measured import Measured
from server.model.winding import WindingReading, WindingReference
from server.model.words import WindingMaterial, WindingStandard

ICE_POINT_K = 273.15


class WindingConstant(StrEnum):
    """The constant of the resistance law, with whose it is. Value: see `CONSTANT_K`."""

    COPPER_IEC_60034 = "copper, IEC 60034-1"
    COPPER_IEEE = "copper, IEEE 118 and IEC 60335-1"
    ALUMINIUM = "aluminium, IEC 60034-1"


CONSTANT_K: dict[WindingConstant, float] = {
    WindingConstant.COPPER_IEC_60034: 235.0,
    WindingConstant.COPPER_IEEE: 234.5,
    WindingConstant.ALUMINIUM: 225.0,
}


@dataclass(frozen=True, slots=True)
class WindingTemperature:
    """Temperature of the hot winding and its rise above the final ambient, K; the constant used."""

    temperature_k: Measured
    rise_k: Measured
    constant: float
    standard: WindingConstant


def winding_temperature(
    *,
    cold: Measured,
    hot: Measured,
    cold_k: Measured,
    ambient_k: Measured | None = None,
    standard: WindingConstant,
) -> WindingTemperature:
    """Temperature of a winding from the ratio of its resistances.

    Model:  t_2 = (R_2 / R_1) (k + t_1) - k,  rise = t_2 - t_a   (t in degrees Celsius)

    Parameters
    ----------
    cold, hot : R_1 and R_2, ohm, with standard uncertainties. cold_k : temperature of the winding
        when cold, K. ambient_k : at the end of the test, K; as cold_k if not given.
    standard : which constant, and whose.

    Returns
    -------
    WindingTemperature; uncertainties to first order. With the same instrument for both
    resistances its gain error drops out: give scatter and resolution only.

    Raises
    ------
    InvalidSignal: a resistance that is not above zero.

    Sources
    -------
    IEC 60034-1 (235), IEEE 118 and IEC 60335-1, 11.8 (234.5), aluminium 225: cited from memory.
    """
    if not cold.value > 0 or not hot.value > 0:
        raise InvalidSignal("a winding's resistance is not above zero")
    k = CONSTANT_K[standard]
    ratio = hot.value / cold.value
    base = k + cold_k.value - ICE_POINT_K
    temperature = ratio * base - k + ICE_POINT_K
    u_ratio = math.hypot(_u(hot) / hot.value, _u(cold) / cold.value) * ratio
    u_temperature = math.hypot(u_ratio * base, ratio * _u(cold_k))
    end = ambient_k if ambient_k is not None else cold_k
    # Where the ambient is the cold winding's own temperature, its error partly drops out.
    by_cold = (ratio - 1) if ambient_k is None else ratio
    u_rise = math.hypot(u_ratio * base, by_cold * _u(cold_k))
    if ambient_k is not None:
        u_rise = math.hypot(u_rise, _u(ambient_k))
    return WindingTemperature(
        temperature_k=Measured(temperature, u_temperature),
        rise_k=Measured(temperature - end.value, u_rise),
        constant=k,
        standard=standard,
    )


def read_winding(details: RunDetails) -> WindingReading | None:
    """A winding's temperature from the two resistances noted with a run.

    Parameters
    ----------
    details : resistances, ohm, each with the same relative standard uncertainty, independent of
        one another; the cold winding's temperature, K (the ambient's where none is stated);
        material (copper) and whose constant (IEC 60034-1) where none is stated. The ambient is
        taken as exact.

    Returns
    -------
    WindingReading, with a reason in place of a temperature where something is missing; None where
    neither resistance was noted and no temperature is stated that figures are to be carried to.
    """
    cold, hot = details.cold_resistance_ohm, details.hot_resistance_ohm
    if cold is None and hot is None and details.reference_temperature_k is None:
        return None
    material = details.winding_material or WindingMaterial.COPPER
    standard = details.winding_standard or WindingStandard.IEC_60034
    law = constant_of(material, standard)
    empty = WindingReading(material, standard, CONSTANT_K[law])
    if cold is None and hot is None:
        return replace(empty, reason="neither the cold nor the hot resistance was noted")
    if cold is None or hot is None:
        missed = "hot" if hot is None else "cold"
        return replace(empty, reason=f"the {missed} resistance was not noted")
    cold_k = details.cold_temperature_k or details.ambient_k
    if cold_k is None:
        return replace(
            empty, reason="neither the cold winding's temperature nor the ambient is known"
        )
    u = details.resistance_uncertainty_rel
    ambient = details.ambient_k if details.cold_temperature_k is not None else None
    found = winding_temperature(
        cold=Measured(cold, None if u is None else u * cold),
        hot=Measured(hot, None if u is None else u * hot),
        cold_k=Measured(cold_k, details.cold_temperature_uncertainty_k),
        ambient_k=None if ambient is None else Measured(ambient),
        standard=law,
    )
    is_u_stated = u is not None or details.cold_temperature_uncertainty_k is not None
    temperature, rise = found.temperature_k, found.rise_k
    if not is_u_stated:
        temperature, rise = Measured(temperature.value), Measured(rise.value)
    return replace(
        empty,
        temperature_k=temperature,
        rise_k=rise if details.ambient_k is not None else None,
    )


def winding_reference(details: RunDetails) -> WindingReference | None:
    """What carries a run's figures to the winding temperature it states.

    Parameters
    ----------
    details : as for `read_winding`, and the temperature to carry figures to.

    Returns
    -------
    WindingReference; None where no such temperature is stated, or the winding's own is not known.
    """
    reference_k = details.reference_temperature_k
    found = read_winding(details)
    if reference_k is None or found is None or found.temperature_k is None:
        return None
    return WindingReference(
        tested_k=found.temperature_k.value,
        reference_k=reference_k,
        material=found.material,
        standard=found.standard,
        u_tested_k=found.temperature_k.standard_uncertainty,
    )


def constant_of(material: WindingMaterial, standard: WindingStandard) -> WindingConstant:
    """Whose constant serves a material."""
    if material is WindingMaterial.ALUMINIUM:
        return WindingConstant.ALUMINIUM
    if standard is WindingStandard.IEC_60034:
        return WindingConstant.COPPER_IEC_60034
    return WindingConstant.COPPER_IEEE


def resistance_ratio(*, from_k: float, to_k: float, standard: WindingConstant) -> float:
    """How many times higher a winding's resistance is at `to_k` than at `from_k`.

    Model:  (k + t_to) / (k + t_from)
    """
    k = CONSTANT_K[standard] - ICE_POINT_K
    return (k + to_k) / (k + from_k)


def _u(measured: Measured) -> float:
    return measured.standard_uncertainty or 0.0
