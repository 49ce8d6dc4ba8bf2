"""Each meaning of a claim with the probability that it is reached, and a verdict."""

import pytest

from server.model.bench import Claim, ClaimReading, Plate
from server.model.measured import Metric
from server.model.words import Meaning, MetricName
from server.reduction import read_claims
from server.wording.contract import claim_to_json

M = MetricName


def read(value: float, u: float | None, *, claimed: float, bound: bool = False) -> ClaimReading:
    metric = Metric(M.SHAFT_POWER_MAX_STEADY, value, u, lower_bound=bound)
    (reading,) = read_claims(
        {metric.name: metric},
        claims=[Claim("power", claimed, "1 hp", "1 hp")],
        plate=Plate(voltage_v=120.0, circuit_a=15.0),
        rotor_inertia_kg_m2=None,
    )
    return reading


def steady(reading: ClaimReading) -> dict[str, object]:
    meanings = claim_to_json(reading)["meanings"]
    return next(m for m in meanings if m["meaning"] == Meaning.SHAFT_HIGHEST_STEADY.value)


@pytest.mark.parametrize(
    ("value", "p", "verdict"),
    [(640.0, 0.0, "not supported"), (745.7, 0.5, "not decided"), (800.0, 1.0, "supported")],
)
def test_a_claim_is_set_beside_the_figure(value: float, p: float, verdict: str) -> None:
    found = steady(read(value, 10.0, claimed=745.7))
    assert found["probability_reached"] == pytest.approx(p, abs=1e-6)
    assert found["verdict"] == verdict
    assert found["guard_band"] == pytest.approx(16.45, abs=0.01)


def test_at_least_is_never_not_supported() -> None:
    assert steady(read(640.0, 10.0, claimed=745.7, bound=True))["verdict"] == "not decided"


def test_without_an_uncertainty_nothing_is_decided() -> None:
    found = steady(read(640.0, None, claimed=745.7))
    assert found["verdict"] == "not decided"
    assert found["probability_reached"] is None


def test_a_meaning_without_value_has_neither_and_the_circuit_is_exact() -> None:
    meanings = {m["meaning"]: m for m in claim_to_json(read(640.0, 5.0, claimed=900.0))["meanings"]}
    missing = meanings[Meaning.INPUT_ROTOR_HELD.value]
    assert missing["value"] is None
    assert missing["probability_reached"] is missing["verdict"] is None
    circuit = meanings[Meaning.CIRCUIT_CONTINUOUS_LIMIT.value]
    assert circuit["probability_reached"] == 1.0
    assert circuit["verdict"] == "supported"
