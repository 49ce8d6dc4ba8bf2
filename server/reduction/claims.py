"""A printed claim beside each meaning of its word. Scalars only: pages call this on every view."""

import math
from collections.abc import Mapping, Sequence
from typing import TypedDict

from server.model.bench import Claim, ClaimReading, Plate
from server.model.meanings import METRIC_OF_MEANING
from server.model.measured import MeaningReading, Metric
from server.model.words import Meaning, MetricName
from server.reduction.uncertainty.conformity import NOT_DECIDED, decide


def read_claims(
    metrics: Mapping[MetricName, Metric],
    *,
    claims: Sequence[Claim],
    plate: Plate,
    rotor_inertia_kg_m2: float | None,
) -> tuple[ClaimReading, ...]:
    """Set every power claim beside each meaning of "power".

    Model:  ratio = measured / claimed
            implied current I = P / (eta * V * PF), eta the best efficiency, PF at that point
            time t = J (w_free^2 - w_peak^2) / 2 / (P_claim - P_highest_steady)

    Parameters
    ----------
    metrics : figures of one run; standard uncertainties are taken as independent.
    claims : any claims; only those of quantity "power" are read.
    plate : voltage, plug's circuit and supply.
    rotor_inertia_kg_m2 : of the rotor alone, None if not known.

    Returns
    -------
    One ClaimReading per power claim, meanings in the order of `Meaning`. A missing value carries
    the reason; a lower bound is carried over. Each value has the probability that the true one
    reaches the claim, and a verdict (uncertainty/conformity.py).

    Notes
    -----
    No arrays and no heavy imports: this runs for every page view, from stored figures.
    """
    return tuple(
        ClaimReading(
            claim=claim,
            meanings=tuple(_meaning(m, metrics, claim.value_si, plate) for m in Meaning),
            implied_current=implied_current(metrics, claimed_w=claim.value_si, plate=plate),
            rotor_energy_time=rotor_energy_time(
                metrics, claimed_w=claim.value_si, rotor_inertia_kg_m2=rotor_inertia_kg_m2
            ),
        )
        for claim in claims
        if claim.quantity == "power"
    )


def implied_current(
    metrics: Mapping[MetricName, Metric], *, claimed_w: float, plate: Plate
) -> Metric:
    """Current (A) the appliance would draw were the claim true at the best efficiency measured.

    Model:  I = P_claim / (eta_max * V_plate * PF), PF of the same point, 1 on a DC supply

    Returns
    -------
    Metric with value, or the reason: no plate voltage, no efficiency, or no power factor.
    """
    name = MetricName.IMPLIED_CURRENT
    eta = metrics.get(MetricName.EFFICIENCY_MAX)
    factor = metrics.get(MetricName.POWER_FACTOR_AT_EFFICIENCY_MAX)
    if plate.voltage_v is None:
        return Metric.missing(name, "the plate voltage is not given")
    if eta is None or eta.value is None or eta.value <= 0:
        return Metric.missing(name, "no efficiency was measured")
    if factor is None or factor.value is None or factor.value <= 0:
        return Metric.missing(name, "no power factor was measured at the best efficiency")
    value = claimed_w / (eta.value * plate.voltage_v * factor.value)
    relative = math.hypot(_relative(eta), _relative(factor))
    return Metric(name=name, value=value, standard_uncertainty=value * relative)


def rotor_energy_time(
    metrics: Mapping[MetricName, Metric], *, claimed_w: float, rotor_inertia_kg_m2: float | None
) -> Metric:
    """Seconds for which the rotor's stored energy could make up claim minus highest steady power.

    Model:  t = J (w_free^2 - w_peak^2) / 2 / (P_claim - P_max_steady)

    Returns
    -------
    Metric with value, or the reason naming what is missing: rotor inertia, free speed, speed at
    the highest steady power, that power itself, or no shortfall to make up.
    """
    name = MetricName.ROTOR_ENERGY_TIME
    wanted = {
        "the free speed": metrics.get(MetricName.FREE_SPEED),
        "the highest steady shaft power": metrics.get(MetricName.SHAFT_POWER_MAX_STEADY),
        "the speed at the highest steady shaft power": metrics.get(
            MetricName.SPEED_AT_MAX_STEADY_POWER
        ),
    }
    missing = [words for words, metric in wanted.items() if metric is None or metric.value is None]
    if rotor_inertia_kg_m2 is None:
        missing.insert(0, "the rotor's moment of inertia")
    values = [m.value for m in wanted.values() if m is not None and m.value is not None]
    if missing or rotor_inertia_kg_m2 is None or len(values) != 3:
        return Metric.missing(name, "missing: " + ", ".join(missing))
    free, power, peak = values
    shortfall_w = claimed_w - power
    if shortfall_w <= 0:
        return Metric.missing(name, "the highest steady shaft power reaches the claim")
    energy_j = 0.5 * rotor_inertia_kg_m2 * (free**2 - peak**2)
    if energy_j <= 0:
        return Metric.missing(name, "the free speed is not above the speed at the highest power")
    u_free, u_power, u_peak = (m.standard_uncertainty or 0.0 for m in wanted.values() if m)
    u_energy_j = rotor_inertia_kg_m2 * math.hypot(free * u_free, peak * u_peak)
    value = energy_j / shortfall_w
    return Metric(
        name=name,
        value=value,
        standard_uncertainty=value * math.hypot(u_energy_j / energy_j, u_power / shortfall_w),
        lower_bound=any(m.lower_bound for m in wanted.values() if m),
    )


def _meaning(
    meaning: Meaning, metrics: Mapping[MetricName, Metric], claimed_w: float, plate: Plate
) -> MeaningReading:
    if meaning is Meaning.CIRCUIT_CONTINUOUS_LIMIT:
        return _circuit_limit(claimed_w, plate)
    metric = metrics.get(METRIC_OF_MEANING[meaning])
    if metric is None or metric.value is None:
        reason = metric.reason if metric is not None else "not part of this run's figures"
        return MeaningReading(meaning=meaning, value=None, reason=reason)
    u = metric.standard_uncertainty
    return MeaningReading(
        meaning=meaning,
        value=metric.value,
        standard_uncertainty=u,
        ratio=metric.value / claimed_w if claimed_w > 0 else None,
        ratio_standard_uncertainty=u / claimed_w if u is not None and claimed_w > 0 else None,
        lower_bound=metric.lower_bound,
        reason=None,
        **_decision(metric.value, u, claimed_w, metric.lower_bound),
    )


class _Decided(TypedDict):
    probability_reached: float | None
    verdict: str | None
    guard_band: float | None


def _decision(value: float, u: float | None, claimed_w: float, lower_bound: bool) -> _Decided:
    """JCGM 106 on one meaning; without a standard uncertainty nothing is decided."""
    if u is None:
        return {"probability_reached": None, "verdict": NOT_DECIDED, "guard_band": None}
    found = decide(value, u, claimed=claimed_w, lower_bound=lower_bound)
    return {
        "probability_reached": found.probability_reached,
        "verdict": found.verdict,
        "guard_band": found.guard_band,
    }


def _circuit_limit(claimed_w: float, plate: Plate) -> MeaningReading:
    meaning = Meaning.CIRCUIT_CONTINUOUS_LIMIT
    if plate.voltage_v is None or plate.circuit_a is None:
        what = "plate voltage" if plate.voltage_v is None else "rating of the plug's circuit"
        return MeaningReading(meaning=meaning, value=None, reason=f"the {what} is not given")
    limit_va = plate.voltage_v * plate.circuit_a
    return MeaningReading(
        meaning=meaning,
        value=limit_va,
        standard_uncertainty=0.0,
        ratio=limit_va / claimed_w if claimed_w > 0 else None,
        ratio_standard_uncertainty=0.0 if claimed_w > 0 else None,
        **_decision(limit_va, 0.0, claimed_w, False),
    )


def _relative(metric: Metric) -> float:
    if not metric.value or metric.standard_uncertainty is None:
        return 0.0
    return metric.standard_uncertainty / abs(metric.value)
