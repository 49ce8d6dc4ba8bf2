"""A claim beside every meaning of its word."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from server.model.bench import Claim, Plate, Rig
from server.model.measured import Metric
from server.model.results import ReductionOptions
from server.model.words import Meaning, MetricName, RunKind
from server.reduction import input_digest, read_claims
from server.wording.contract import reduction_to_json
from tests.reduction.simulate import Case, permanent_magnet, simulate

M = MetricName
CLAIM = Claim(quantity="power", value_si=1000.0, wording="1 kW", value_typed="1 kW")
PLATE = Plate(voltage_v=120.0, circuit_a=15.0)
METRICS = {
    M.FREE_SPEED: Metric(M.FREE_SPEED, 2000.0, 1.0),
    M.SHAFT_POWER_MAX_STEADY: Metric(M.SHAFT_POWER_MAX_STEADY, 600.0, 6.0, lower_bound=True),
    M.SPEED_AT_MAX_STEADY_POWER: Metric(M.SPEED_AT_MAX_STEADY_POWER, 1000.0, 10.0),
    M.EFFICIENCY_MAX: Metric(M.EFFICIENCY_MAX, 0.5, 0.005),
    M.POWER_FACTOR_AT_EFFICIENCY_MAX: Metric(M.POWER_FACTOR_AT_EFFICIENCY_MAX, 0.9, 0.0),
    M.INPUT_ROTOR_HELD: Metric.missing(M.INPUT_ROTOR_HELD, "the rotor was not held"),
}


def read(**changes):
    parts = {"metrics": METRICS, "plate": PLATE, "rotor": 1e-4} | changes
    (reading,) = read_claims(
        parts["metrics"],
        claims=(CLAIM, replace(CLAIM, quantity="airflow")),
        plate=parts["plate"],
        rotor_inertia_kg_m2=parts["rotor"],
    )
    return reading


def test_one_row_for_each_meaning_with_value_or_reason() -> None:
    reading = read()
    assert [m.meaning for m in reading.meanings] == list(Meaning)
    for row in reading.meanings:
        assert (row.value is None) == (row.reason is not None)
        assert (row.ratio is None) == (row.value is None)


def test_a_lower_bound_stays_one() -> None:
    row = next(m for m in read().meanings if m.meaning is Meaning.SHAFT_HIGHEST_STEADY)
    assert row.lower_bound
    assert row.ratio == pytest.approx(0.6)
    assert row.ratio_standard_uncertainty == pytest.approx(0.006)


def test_implied_current() -> None:
    metric = read().implied_current
    assert metric.value == pytest.approx(1000 / (0.5 * 120 * 0.9))
    assert metric.standard_uncertainty == pytest.approx(0.01 * metric.value)
    assert "voltage" in (read(plate=Plate()).implied_current.reason or "")
    assert "efficiency" in (read(metrics={}).implied_current.reason or "")


def test_time_the_rotor_could_make_up_the_difference() -> None:
    metric = read().rotor_energy_time
    assert metric.value == pytest.approx(0.5e-4 * (2000**2 - 1000**2) / 400)
    assert metric.standard_uncertainty
    assert "inertia" in (read(rotor=None).rotor_energy_time.reason or "")
    assert "free speed" in (read(metrics={}).rotor_energy_time.reason or "")
    more = METRICS | {M.SHAFT_POWER_MAX_STEADY: Metric(M.SHAFT_POWER_MAX_STEADY, 1200.0)}
    assert "reaches the claim" in (read(metrics=more).rotor_energy_time.reason or "")


def test_claims_are_read_without_numerics() -> None:
    code = (
        "import sys, server.reduction; "
        "print([m for m in ('numpy', 'scipy', 'polars', 'pint') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_the_contract_is_kept(reduce) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=8, seed=40))
    result = reduce(run)
    readings = read_claims(
        result.metrics, claims=(CLAIM,), plate=run.plate, rotor_inertia_kg_m2=None
    )
    told = json.loads(json.dumps(reduction_to_json(result, readings, ()), allow_nan=False))
    assert {"metrics", "findings", "claims", "columns", "lag", "method_version"} <= set(told)
    for metric in told["metrics"].values():
        assert set(metric) >= {"value", "unit", "standard_uncertainty", "lower_bound", "reason"}
    assert told["metrics"]["free_speed"]["unit"] == "rad/s"
    assert set(told["lag"]) >= {"seconds", "applied"}
    (claim,) = told["claims"]
    assert claim["wording"] == "1 kW"
    assert {m["meaning"] for m in claim["meanings"]} == {m.value for m in Meaning}
    for finding in told["findings"]:
        assert set(finding) >= {"code", "severity", "message", "evidence"}


def test_the_digest_names_what_decides_the_figures() -> None:
    def digest(**changes):
        parts = {"plate": PLATE, "rig": Rig(), "options": ReductionOptions()} | changes
        return input_digest("ab" * 32, kind=RunKind.BRAKE, **parts)

    assert digest() == digest()
    assert digest(rig=Rig(name="other", typed={"arm": "10 in"})) == digest()
    assert digest(rig=Rig(arm_m=0.1)) != digest()
    assert digest(plate=replace(PLATE, voltage_v=121.0)) != digest()
    assert digest(options=ReductionOptions(tested_on="2026-01-01")) != digest()
