"""Instruments away from the temperature their accuracy is stated at, by closed form."""

import math
from dataclasses import replace

import pytest

from server.model.bench import Bench, Instrument, Rig, RunDetails
from server.model.later_fields import without_later
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, FindingCode, MetricName, RunKind
from server.reduction import input_digest, reduce_run
from server.reduction.instruments import channel_limits
from server.reduction.uncertainty.components import Distribution, instrument_errors
from server.wording.findings import finding_text
from tests.reduction.simulate import Case, permanent_magnet, simulate

M = MetricName
NAME = "torque: temperature coefficient"
# 0.02 % of reading per kelvin, stated at 23 °C (common practice, no source).
SENSOR = Instrument(Channel.TORQUE, temperature_coefficient_per_k=2e-4)


def reduced(rig: Rig, ambient_k: float | None) -> Reduction:
    run = simulate(Case(permanent_magnet(), n_dwells=8, seed=9))
    return reduce_run(
        run.recording,
        kind=RunKind.BRAKE,
        plate=run.plate,
        rig=replace(run.rig, instruments=rig.instruments),
        options=ReductionOptions(ambient_k=ambient_k),
    )


@pytest.mark.parametrize("ambient_k", [303.15, 289.15])
def test_a_gain_within_the_coefficient_times_the_distance(ambient_k: float) -> None:
    # JCGM 100:2008, 4.3.7: limits +- a with nothing more said have u = a / sqrt(3).
    (gain,) = instrument_errors(SENSOR, ambient_k).gain
    assert gain.standard_uncertainty == pytest.approx(2e-4 * 7 / math.sqrt(3))
    assert (gain.name, gain.distribution) == (NAME, Distribution.RECTANGULAR)
    limits = channel_limits(Rig(instruments=(SENSOR,)), Channel.TORQUE, ambient_k)
    assert limits.gain == pytest.approx(gain.standard_uncertainty)


def test_the_reference_temperature_is_the_stated_one() -> None:
    at_20 = replace(SENSOR, reference_temperature_k=293.15)
    (gain,) = instrument_errors(at_20, 298.15).gain
    assert gain.standard_uncertainty == pytest.approx(2e-4 * 5 / math.sqrt(3))
    assert instrument_errors(at_20, 293.15).gain == ()
    assert instrument_errors(at_20, None).gain == ()


def test_it_is_a_part_of_its_own_beside_the_accuracy_and_a_limit_beside_a_certificate() -> None:
    cell = replace(SENSOR, of_reading=0.004, distribution="normal", coverage_factor=2.0)
    gain = instrument_errors(cell, 306.15).gain
    assert [c.distribution.value for c in gain] == ["normal", "rectangular"]
    expected = math.hypot(0.002, 2e-3 / math.sqrt(3))
    assert instrument_errors(cell, 306.15).u_gain == pytest.approx(expected)


def test_it_has_its_line_in_the_budget_of_a_figure_in_proportion_to_it() -> None:
    result = reduced(Rig(instruments=(SENSOR,)), 306.15)
    power = result.metrics[M.SHAFT_POWER_MAX_STEADY]
    (line,) = [one for one in power.budget if one.component == NAME]
    assert power.value is not None
    assert line.standard_uncertainty * line.sensitivity == pytest.approx(
        power.value * 2e-3 / math.sqrt(3), rel=0.02
    )
    assert NAME not in {one.component for one in result.metrics[M.FREE_SPEED].budget}
    assert FindingCode.AMBIENT_UNKNOWN not in {f.code for f in result.findings}


def test_without_the_ambient_it_is_no_component_and_a_finding_says_so() -> None:
    result = reduced(Rig(instruments=(SENSOR,)), None)
    assert NAME not in {one.component for m in result.metrics.values() for one in m.budget}
    (finding,) = [f for f in result.findings if f.code is FindingCode.AMBIENT_UNKNOWN]
    assert "torque" in finding_text(finding).message
    assert "ambient" in finding_text(finding).remedy


def test_the_digest_covers_it_and_is_that_of_before_where_it_is_not_stated() -> None:
    def digest(sensor: Instrument, ambient_k: float | None = None) -> str:
        run = simulate(Case(permanent_magnet(), n_dwells=5, has_idle=False, seed=1))
        rig = Rig(instruments=(sensor,))
        options = ReductionOptions(ambient_k=ambient_k)
        return input_digest(
            "ab" * 32, kind=RunKind.BRAKE, plate=run.plate, rig=rig, options=options
        )

    plain = Instrument(Channel.TORQUE)
    assert digest(plain) != digest(SENSOR) != digest(SENSOR, 300.0)
    assert digest(SENSOR, 300.0) != digest(SENSOR, 301.0)
    # What was digested before these fields were there.
    names = {"channel", "calibrated", "coverage_factor", "digits", "distribution", "name"}
    names |= {"of_range", "of_reading", "range", "resolution", "typed"}
    left = without_later({f: getattr(plain, f) for f in Instrument.__slots__})
    assert isinstance(left, dict)
    assert set(left) == names


def test_the_ambient_counts_only_where_an_instrument_asks_for_it() -> None:
    from server.actions.reduce_log import options_for

    run = RunDetails(ambient_k=300.0)
    assert options_for(Bench(run=run)).ambient_k is None
    assert options_for(Bench(run=run, rig=Rig(instruments=(SENSOR,)))).ambient_k == 300.0
