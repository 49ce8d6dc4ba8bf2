"""Each finding appears when it must, and not on a sound run; each has words."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from server.model.bench import Instrument, Plate
from server.model.measured import Finding
from server.model.results import ReductionOptions
from server.model.words import Channel, FindingCode, MotorFamily, Severity, Supply
from server.wording.findings import finding_text
from tests.reduction.simulate import Case, induction, permanent_magnet, simulate, universal

RUN = simulate(Case(induction(), lowest_speed_share=0.6, n_dwells=12, rate_hz=50, seed=31))
C, F = Channel, FindingCode


def codes(result) -> dict[FindingCode, Severity]:
    return {f.code: f.severity for f in result.findings}


def changed(run, **channels):
    return replace(
        run.recording, channels={**run.recording.channels, **{C(k): v for k, v in channels.items()}}
    )


def test_a_sound_run_has_no_errors_and_no_warnings(reduce) -> None:
    assert set(codes(reduce(RUN)).values()) <= {Severity.INFO}


def test_an_induction_motor_above_synchronous_speed(reduce) -> None:
    faster = changed(RUN, speed=RUN.recording.channels[C.SPEED] * np.float32(1.03))
    assert codes(reduce(RUN, recording=faster))[F.ABOVE_SYNCHRONOUS_SPEED] is Severity.ERROR


def test_doubled_pulses_on_a_two_pole_motor(reduce) -> None:
    run = simulate(Case(induction(poles=2), lowest_speed_share=0.6, n_dwells=12, seed=32))
    assert F.ABOVE_SYNCHRONOUS_SPEED not in codes(reduce(run))
    double = changed(run, speed=run.recording.channels[C.SPEED] * np.float32(2))
    found = codes(reduce(run, recording=double))
    assert found[F.ABOVE_SYNCHRONOUS_SPEED] is Severity.ERROR
    assert F.SPEED_PULSES in found


def test_missed_pulses_are_mended_and_told(reduce) -> None:
    speed = RUN.recording.channels[C.SPEED].copy()
    rows = np.arange(300, speed.size - 300, 97)
    speed[rows] /= 2
    result = reduce(RUN, recording=changed(RUN, speed=speed))
    assert codes(result)[F.SPEED_PULSES] is Severity.WARNING
    before, after = (r.metrics["shaft_power_max_steady"].value for r in (reduce(RUN), result))
    assert after == pytest.approx(before, rel=1e-3)


def test_a_speed_counted_in_coarse_steps_is_no_missed_pulse(reduce) -> None:
    step = float(np.max(RUN.recording.channels[C.SPEED])) / 6
    rng = np.random.default_rng(5)
    speed = RUN.recording.channels[C.SPEED] / step
    counted = np.float32(step) * np.floor(speed + rng.random(speed.size)).astype(np.float32)
    assert F.SPEED_PULSES not in codes(reduce(RUN, recording=changed(RUN, speed=counted)))


@pytest.mark.parametrize("mode", ["dwells", "down", "up"])
def test_a_sweep_without_the_inertia_says_what_is_in_its_figures(reduce, mode: str) -> None:
    run = simulate(Case(universal(), lowest_speed_share=0.2, mode=mode, n_dwells=12, seed=33))
    bare = replace(run, rig=replace(run.rig, inertia_kg_m2=None))
    assert F.INERTIA_UNKNOWN not in codes(reduce(run))
    told = codes(reduce(bare)).get(F.INERTIA_UNKNOWN)
    assert told is (None if mode == "dwells" else Severity.INFO)


@pytest.mark.parametrize(
    ("notes", "code", "severity"),
    [
        ({"last_newline_missing": True}, F.LAST_LINE_CUT, Severity.INFO),
        ({"overload_cells": {"M (N·m)": 3}}, F.SENSOR_OVER_RANGE, None),
        ({"overload_cells": {"M (N·m)": 14}}, F.SENSOR_OVER_RANGE, Severity.INFO),
        ({"overload_cells": {"M (N·m)": 900}}, F.SENSOR_OVER_RANGE, Severity.WARNING),
        ({"rows_dropped": {"without_time": 2}}, F.TIME_DISORDERED, None),
        ({"rows_dropped": {"without_time": 900}}, F.TIME_DISORDERED, Severity.INFO),
    ],
)
def test_what_the_reading_noted_is_told_where_it_matters(reduce, notes, code, severity) -> None:
    result = reduce(RUN, recording=replace(RUN.recording, notes=notes))
    assert codes(result).get(code) is severity
    for finding in result.findings:
        words = finding_text(finding)
        assert words.message
        assert words.remedy


def test_power_factor_over_one(reduce) -> None:
    more = changed(RUN, power=RUN.recording.channels[C.POWER] * np.float32(1.6))
    assert codes(reduce(RUN, recording=more))[F.POWER_FACTOR_OVER_ONE] is Severity.ERROR


def test_efficiency_over_one(reduce) -> None:
    more = changed(RUN, torque=RUN.recording.channels[C.TORQUE] * np.float32(2))
    assert codes(reduce(RUN, recording=more))[F.EFFICIENCY_IMPOSSIBLE] is Severity.ERROR


def test_a_channel_at_its_ceiling(reduce) -> None:
    torque = RUN.recording.channels[C.TORQUE]
    clipped = changed(RUN, torque=np.minimum(torque, np.float32(0.6 * torque.max())))
    found = reduce(RUN, recording=clipped)
    (finding,) = (f for f in found.findings if f.code is F.CHANNEL_CLIPPED)
    assert finding.evidence["channel"] == "torque"
    assert finding.severity is not Severity.ERROR


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("step_nm", [0.0, 0.002])
def test_torque_cut_off_at_a_range_nobody_stated(reduce, sign: float, step_nm: float) -> None:
    run = simulate(
        Case(induction(), lowest_speed_share=0.6, n_dwells=14, torque_noise=0.03, seed=33)
    )
    torque = run.recording.channels[C.TORQUE].astype(np.float64)
    if step_nm:
        torque = np.round(torque / step_nm) * step_nm
    level = 0.9 * float(np.percentile(torque, 99))
    whole = reduce(run, recording=changed(run, torque=(sign * torque).astype(np.float32)))
    cut = (sign * np.minimum(torque, level)).astype(np.float32)
    found = reduce(run, recording=changed(run, torque=cut))
    assert F.CHANNEL_CLIPPED not in codes(whole)
    (finding,) = (f for f in found.findings if f.code is F.CHANNEL_CLIPPED)
    assert finding.severity is Severity.WARNING
    assert finding.evidence["value"] == pytest.approx(sign * level)
    text = finding_text(finding)
    if "n_readings" in finding.evidence:
        assert "cut off" in text.message
    assert "range" in text.remedy


def test_a_coarse_torque_that_repeats_its_highest_step_is_not_cut_off(reduce) -> None:
    run = simulate(
        Case(induction(), lowest_speed_share=0.6, n_dwells=14, torque_noise=1e-3, seed=34)
    )
    torque = run.recording.channels[C.TORQUE]
    for share in (0.05, 0.02, 0.01, 0.005):
        step = share * float(torque.max())
        coarse = (np.round(torque / step) * step).astype(np.float32)
        found = reduce(run, recording=changed(run, torque=coarse)).findings
        piled = [f for f in found if f.code is F.CHANNEL_CLIPPED and "n_readings" in f.evidence]
        assert not piled, share


def test_constant_columns_are_told_apart_by_use(reduce) -> None:
    n = RUN.recording.time_s.size
    unused = changed(RUN, frequency=np.full(n, 50, dtype=np.float32))
    assert codes(reduce(RUN, recording=unused))[F.CHANNEL_FROZEN] is Severity.INFO
    frozen = changed(RUN, current=np.full(n, 3, dtype=np.float32))
    assert codes(reduce(RUN, recording=frozen))[F.CHANNEL_FROZEN] is Severity.WARNING


def test_supply_off_the_plate_and_rated_current_not_reached(reduce) -> None:
    plate = replace(RUN.plate, voltage_v=250.0, current_a=400.0)
    found = codes(reduce(RUN, plate=plate))
    assert found[F.SUPPLY_OFF_PLATE] is Severity.WARNING
    assert found[F.RATED_CURRENT_NOT_REACHED] is Severity.INFO
    metric = reduce(RUN, plate=plate).metrics["shaft_power_at_rated_current"]
    assert metric.value is None
    assert "400 A" in (metric.reason or "")


def test_what_the_rig_says_about_its_instruments(reduce) -> None:
    run = simulate(Case(universal(), lowest_speed_share=0.22, n_dwells=12, seed=33))
    rig = replace(
        run.rig,
        meter_true_rms=False,
        instruments=(
            Instrument(C.TORQUE, range=0.1, calibrated=date(2024, 1, 1)),
            Instrument(C.SPEED, calibrated=date(2026, 3, 1)),
        ),
    )
    found = reduce(run, rig=rig, options=ReductionOptions(tested_on="2026-05-01"))
    assert {F.METER_UNFIT, F.SENSOR_OVER_RANGE, F.OUT_OF_CALIBRATION} <= set(codes(found))
    (late,) = (f for f in found.findings if f.code is F.OUT_OF_CALIBRATION)
    assert [i["channel"] for i in late.evidence["instruments"]] == ["torque"]


def test_a_slow_logger_and_few_loads(reduce) -> None:
    run = simulate(
        Case(permanent_magnet(), lowest_speed_share=0.5, n_dwells=3, rate_hz=10, seed=34)
    )
    found = codes(reduce(run))
    assert found[F.SAMPLE_RATE_LOW] is not Severity.ERROR
    assert found[F.TOO_FEW_POINTS] is Severity.WARNING
    metrics = reduce(run).metrics
    assert metrics["shaft_power_max_momentary"].value is not None
    assert metrics["shaft_power_max_steady"].lower_bound


def test_volts_and_amperes_on_ac_give_no_efficiency(reduce) -> None:
    run = simulate(
        Case(universal(), lowest_speed_share=0.22, n_dwells=12, with_power="none", seed=35)
    )
    found = codes(reduce(run))
    assert found[F.NO_EFFICIENCY] is Severity.INFO


def test_time_out_of_order_and_a_cut_last_line(reduce) -> None:
    order = np.arange(RUN.recording.time_s.size)
    order[[500, 501]] = order[[501, 500]]
    recording = replace(
        RUN.recording,
        time_s=RUN.recording.time_s[order],
        channels={c: v[order] for c, v in RUN.recording.channels.items()},
        notes={"last_line_cut": {"row": 1201, "text": "12,3"}},
    )
    found = codes(reduce(RUN, recording=recording))
    assert found[F.TIME_DISORDERED] is Severity.INFO
    assert found[F.LAST_LINE_CUT] is Severity.INFO


def test_a_fuse_that_ends_the_run_under_load(reduce) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.65, n_dwells=10, seed=36))
    result = reduce(run)
    assert codes(result)[F.RUN_ENDED_EARLY] is Severity.WARNING
    assert "failure" in [s.kind.value for s in result.segments]


def test_no_calibration_is_judged_without_a_date(reduce) -> None:
    rig = replace(RUN.rig, instruments=(Instrument(C.SPEED, calibrated=date(2001, 1, 1)),))
    assert F.OUT_OF_CALIBRATION not in codes(reduce(RUN, rig=rig))


def test_a_permanent_magnet_motor_on_dc_needs_no_true_rms_meter(reduce) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=10, seed=37))
    plate = Plate(supply=Supply.DC, motor_family=MotorFamily.PERMANENT_MAGNET)
    rig = replace(run.rig, meter_true_rms=False)
    assert F.METER_UNFIT not in codes(reduce(run, plate=plate, rig=rig))


@pytest.mark.parametrize("code", list(FindingCode))
def test_every_finding_has_words_even_without_evidence(code) -> None:
    text = finding_text(Finding(code, Severity.INFO))
    assert len(text.message) > 20
    assert text.message.endswith(".")
    assert text.remedy.endswith(".")


def test_the_place_of_a_finding_is_named() -> None:
    text = finding_text(
        Finding(F.CHANNEL_CLIPPED, Severity.WARNING, {"start_s": 1.0, "end_s": 2.5})
    )
    assert text.where == "1.0 s to 2.5 s"


def test_large_figures_are_written_out():
    evidence = {"highest_w": 10695.6, "open_end": "high"}
    text = finding_text(Finding(F.PEAK_NOT_BRACKETED, Severity.WARNING, evidence))
    assert "shown, 10700 W," in text.message


def test_one_sample_is_one_and_a_slip_may_be_in_the_pulses():
    one = Finding(F.SAMPLE_RATE_LOW, Severity.INFO, {"samples_in_window": 1.0, "window_s": 0.1})
    assert "only 1 sample;" in finding_text(one).message
    slip = Finding(F.UNIT_SLIP, Severity.ERROR, {"gain_of_brake_over_gain_of_input": 4.7})
    assert "pulses per revolution" in finding_text(slip).remedy
