"""Runs with known truth: does the reduction find it, whatever the rig and logger did to it?"""

from dataclasses import replace

import numpy as np
import pytest

from server.model.words import Channel, FindingCode, MetricName, Severity
from tests.reduction.sampling import draw_case
from tests.reduction.simulate import (
    Case,
    induction,
    permanent_magnet,
    simulate,
    universal,
)

M = MetricName
SEEDS = range(1000, 1042)


def test_power_and_efficiency_of_sound_runs(reduce) -> None:
    hits = []
    errors = []
    for seed in SEEDS:
        run = simulate(draw_case(seed))
        result = reduce(run)
        power = result.metrics[M.SHAFT_POWER_MAX_STEADY].value
        efficiency = result.metrics[M.EFFICIENCY_AT_MAX_STEADY_POWER].value
        best = result.metrics[M.EFFICIENCY_MAX].value
        hits.append(
            power is not None
            and efficiency is not None
            and best is not None
            and abs(power / run.truth["power"] - 1) < 0.01
            and abs(efficiency - run.truth["efficiency"]) < 0.01
            and abs(best - run.truth["efficiency_max"]) < 0.01
        )
        errors += [(seed, f.code) for f in result.findings if f.severity is Severity.ERROR]
    assert np.mean(hits) >= 0.95, [s for s, hit in zip(SEEDS, hits, strict=True) if not hit]
    assert errors == []


def test_stated_uncertainties_cover_the_errors(reduce) -> None:
    pulls = []
    for seed in range(2000, 2030):
        run = simulate(draw_case(seed))
        metric = reduce(run).metrics[M.SHAFT_POWER_MAX_STEADY]
        assert metric.value is not None
        assert metric.standard_uncertainty
        pulls.append((metric.value - run.truth["power"]) / metric.standard_uncertainty)
    # No instrument limits in these rigs: scatter and fit alone, so three u for most.
    assert np.mean(np.abs(pulls) < 3) >= 0.85


@pytest.mark.parametrize("family", ["series", "permanent magnet", "induction"])
@pytest.mark.parametrize("mode", ["dwells", "both"])
def test_shaft_power_never_exceeds_input_power_on_a_sound_rig(reduce, family, mode) -> None:
    motors = {
        "series": (universal(), 0.22),
        "permanent magnet": (permanent_magnet(), 0.3),
        "induction": (induction(), 0.6),
    }
    motor, lowest = motors[family]
    run = simulate(Case(motor, lowest_speed_share=lowest, mode=mode, drag_share=0.03, seed=11))
    result = reduce(run)
    for curve in result.curves:
        if curve.quantity == "efficiency":
            assert max(curve.value) < 1.0
    for point in result.points:
        assert point.shaft_power_w <= (point.input_power_w or 0) * 1.01
        truth = float(np.interp(point.speed_rad_s, motor.speed, motor.torque))
        assert point.torque_nm == pytest.approx(truth, abs=0.03 * run.truth["torque"])


@pytest.mark.parametrize("lag_s", [0.1, 0.3, -0.2])
def test_a_torque_channel_that_trails_is_found_and_shifted(reduce, lag_s) -> None:
    run = simulate(
        Case(permanent_magnet(), lowest_speed_share=0.3, mode="both", rate_hz=200, lag_s=lag_s)
    )
    result = reduce(run)
    assert result.lag.applied
    assert result.lag.seconds == pytest.approx(lag_s, abs=0.03)
    assert any(f.code is FindingCode.CHANNELS_LAG for f in result.findings)
    power = result.metrics[M.SHAFT_POWER_MAX_STEADY].value
    assert power == pytest.approx(run.truth["power"], rel=0.01)


def test_no_lag_is_applied_where_there_is_none(reduce) -> None:
    for seed in range(3000, 3015):
        assert not reduce(simulate(draw_case(seed))).lag.applied, seed


def test_a_peak_that_was_not_passed_is_a_lower_bound(reduce) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.65, n_dwells=10, seed=4))
    result = reduce(run)
    metric = result.metrics[M.SHAFT_POWER_MAX_STEADY]
    assert metric.lower_bound
    assert metric.value == pytest.approx(run.truth["power"], rel=0.01)
    (finding,) = (f for f in result.findings if f.code is FindingCode.PEAK_NOT_BRACKETED)
    assert finding.severity is not Severity.ERROR
    assert finding.evidence["open_end"] == "high"


def test_a_log_that_starts_running_and_has_no_idle_stretch(reduce) -> None:
    run = simulate(
        Case(universal(), lowest_speed_share=0.22, has_idle=False, has_start=False, n_dwells=15)
    )
    result = reduce(run)
    power = result.metrics[M.SHAFT_POWER_MAX_STEADY]
    assert power.value == pytest.approx(run.truth["power"], rel=0.01)
    assert not [f for f in result.findings if f.severity is Severity.ERROR]
    assert result.metrics[M.FREE_SPEED].value is not None


def test_a_motor_that_turns_the_other_way(reduce) -> None:
    run = simulate(Case(induction(), lowest_speed_share=0.6, n_dwells=14, drag_share=0.02, seed=8))
    plain = reduce(run)
    turned = dict(run.recording.channels)
    for channel in (Channel.SPEED, Channel.TORQUE):
        turned[channel] = -turned[channel]
    other = reduce(run, recording=replace(run.recording, channels=turned))
    assert other.metrics == plain.metrics
    assert not any(f.code is FindingCode.TORQUE_SIGN for f in other.findings)
    flipped = dict(run.recording.channels)
    flipped[Channel.TORQUE] = -flipped[Channel.TORQUE]
    third = reduce(run, recording=replace(run.recording, channels=flipped))
    assert third.metrics[M.SHAFT_POWER_MAX_STEADY] == plain.metrics[M.SHAFT_POWER_MAX_STEADY]
    assert any(f.code is FindingCode.TORQUE_SIGN for f in third.findings)
