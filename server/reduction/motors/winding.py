"""The temperature of a winding from its resistance, cold and hot."""

import math
from dataclasses import dataclass
from enum import StrEnum

from server.errors import InvalidSignal
from server.model.measured import Measured

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


def resistance_ratio(*, from_k: float, to_k: float, standard: WindingConstant) -> float:
    """How many times higher a winding's resistance is at `to_k` than at `from_k`.

    Model:  (k + t_to) / (k + t_from)
    """
    k = CONSTANT_K[standard] - ICE_POINT_K
    return (k + to_k) / (k + from_k)


def _u(measured: Measured) -> float:
    return measured.standard_uncertainty or 0.0
