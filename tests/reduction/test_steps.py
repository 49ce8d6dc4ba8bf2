"""The steps of a reduction one by one: order, zero, waveforms, slopes, curves, peaks, scatter."""

import math

import numpy as np
import pytest

from server.errors import InvalidSignal
from server.model.bench import Instrument, Plate, Rig
from server.model.recording import Recording
from server.model.results import LoadPoint, ReductionOptions
from server.model.words import Channel, MetricName, RunKind, Supply
from server.reduction import reduce_run
from server.reduction.derivative import adaptive_slope, slope
from server.reduction.instruments import channel_limits, torque_limits
from server.reduction.loadline import fit_load_line
from server.reduction.metrics import Budget
from server.reduction.ordering import order_rows
from server.reduction.peak import find_peak
from server.reduction.peak_figures import peak_metrics
from server.reduction.polynomial import choose_polynomial, fit_polynomial
from server.reduction.scatter import mean_and_u, sample_noise
from server.reduction.waveform import alternates
from tests.reduction.simulate import Case, permanent_magnet, simulate

M = MetricName


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float32)


def test_rows_are_sorted_and_repeats_dropped() -> None:
    time = np.array([0.0, 2.0, 1.0, 1.0, 3.0, 4.0])
    ordered = order_rows(time, {Channel.SPEED: column(0, 2, 1, 1, 3, 4)})
    assert ordered.time_s.tolist() == [0, 1, 2, 3, 4]
    assert ordered.channels[Channel.SPEED].tolist() == [0, 1, 2, 3, 4]
    assert (ordered.n_moved, ordered.n_repeated) == (1, 1)


def test_a_coarse_clock_is_spread_between_its_ticks() -> None:
    time = np.floor(np.arange(20) / 4)
    ordered = order_rows(time, {Channel.SPEED: np.arange(20, dtype=np.float32)})
    assert ordered.is_clock_coarse
    assert np.diff(ordered.time_s) == pytest.approx(0.25)


def test_one_time_is_no_recording() -> None:
    with pytest.raises(InvalidSignal):
        order_rows(np.array([1.0, 1.0]), {Channel.SPEED: column(1, 2)})


def test_only_what_swings_through_zero_is_a_waveform() -> None:
    time = np.arange(4000) / 2000
    sine = (325 * np.sin(2 * math.pi * 50 * time)).astype(np.float32)
    assert alternates(sine)
    assert not alternates(np.abs(sine))
    assert not alternates(np.full(4000, 230.0, dtype=np.float32))
    assert not alternates(np.random.default_rng(1).normal(5, 1, 4000).astype(np.float32))


def test_a_slope_has_the_bandwidth_it_states() -> None:
    time = np.arange(4000) / 1000
    window, hertz = 0.3, 0.58 / 0.3
    signal = np.sin(2 * math.pi * hertz * time)
    found = slope(time, signal, window_s=window)[1000:3000]
    true = 2 * math.pi * hertz
    assert np.max(np.abs(found)) / true == pytest.approx(1 / math.sqrt(2), abs=0.02)


def test_a_straight_line_has_its_slope_everywhere_even_with_jitter() -> None:
    rng = np.random.default_rng(3)
    time = np.cumsum(rng.uniform(0.5, 1.5, 400)) / 100
    assert slope(time, 7 * time + 2, window_s=0.3) == pytest.approx(7, rel=1e-9)


def test_noise_is_not_taken_for_acceleration() -> None:
    rng = np.random.default_rng(4)
    time = np.arange(2000) / 20
    noisy = 1000 + rng.normal(0, 1, 2000)
    plain = slope(time, noisy, window_s=0.3)
    found, u = adaptive_slope(time, noisy, window_s=0.3, doublings=3)
    assert np.std(found) < 0.4 * np.std(plain)
    assert np.median(u) > 0


def test_an_effective_number_of_samples_allows_for_autocorrelation() -> None:
    rng = np.random.default_rng(5)
    white = rng.normal(size=4000)
    slow = np.zeros(4000)
    for i in range(1, 4000):
        slow[i] = 0.8 * slow[i - 1] + white[i]
    weight = np.ones(4000)
    assert mean_and_u(white, weight)[2] > 3500
    # (1 - 0.8) / (1 + 0.8) = 1/9 of the samples.
    assert mean_and_u(slow, weight)[2] == pytest.approx(4000 / 9, rel=0.2)


def test_the_noise_of_a_counted_signal_is_its_step() -> None:
    steps = np.repeat([100.0, 110.0] * 8, 8)
    assert sample_noise(steps) == pytest.approx(5.0)
    assert sample_noise(np.random.default_rng(6).normal(0, 2, 5000)) == pytest.approx(2, rel=0.06)


def test_a_peak_counts_only_if_it_is_seen_from_both_sides() -> None:
    x = np.linspace(0, 2, 801)
    hill = 100 - 40 * (x - 1.2) ** 2
    u = np.full_like(x, 0.5)
    peak = find_peak(x, hill, u)
    assert peak.is_bracketed
    assert peak.x == pytest.approx(1.2, abs=1e-6)
    assert peak.value == pytest.approx(100, abs=1e-6)
    assert find_peak(x[:500], hill[:500], u[:500]).open_end == "high"
    assert find_peak(x[470:], hill[470:], u[470:]).open_end == "low"
    # Seen to fall, but by less than the noise.
    assert not find_peak(x, hill, np.full_like(x, 30.0)).is_bracketed


def test_the_order_of_a_curve_is_found() -> None:
    rng = np.random.default_rng(7)
    x = np.linspace(0, 10, 40)
    u = np.full_like(x, 0.3)
    for order, coefficients in ((1, [2, 1]), (2, [2, 1, -0.5]), (3, [2, 1, -0.5, 0.1])):
        y = np.polynomial.polynomial.polyval(x, coefficients) + rng.normal(0, 0.3, 40)
        assert choose_polynomial(x, y, u).order == order


def test_the_covariance_of_a_curve_covers_its_scatter() -> None:
    rng = np.random.default_rng(8)
    x = np.linspace(-3, 5, 25)
    u = np.full_like(x, 0.7)
    fits = [fit_polynomial(x, x**2 + rng.normal(0, 0.7, 25), u, order=2) for _ in range(400)]
    scatter = np.std([float(f.at(1.3)) for f in fits])
    stated = np.mean([float(f.u_at(1.3)[0]) for f in fits])
    assert stated == pytest.approx(scatter, rel=0.15)
    slopes = np.std([float(f.slope_at(1.3)) for f in fits])
    assert np.mean([f.u_slope_at(1.3) for f in fits]) == pytest.approx(slopes, rel=0.15)


def test_the_limits_of_an_instrument_become_one_gain_and_one_offset() -> None:
    # CALC: 0.05 % of reading + 0.02 % of 200 V.
    rig = Rig(
        arm_m=0.2,
        instruments=(
            Instrument(Channel.VOLTAGE, of_reading=0.0005, range=200.0, of_range=0.0002),
            Instrument(Channel.FORCE, digits=2, resolution=0.1),
        ),
    )
    limits = channel_limits(rig, Channel.VOLTAGE)
    assert limits.gain == pytest.approx(0.0005 / math.sqrt(3))
    assert limits.offset == pytest.approx(0.04 / math.sqrt(3))
    force = torque_limits(rig, Channel.FORCE)
    assert force.offset == pytest.approx(0.2 * math.hypot(0.2 / math.sqrt(3), 0.1 / math.sqrt(12)))
    assert channel_limits(rig, Channel.SPEED).relative(10.0) == 0.0


def test_instrument_limits_enter_every_figure_made_from_them(reduce) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=12, seed=9))
    plain = reduce(run).metrics[M.SHAFT_POWER_MAX_STEADY]
    rig = Rig(
        inertia_kg_m2=run.rig.inertia_kg_m2,
        instruments=(Instrument(Channel.TORQUE, of_reading=0.03),),
    )
    stated = reduce(run, rig=rig).metrics[M.SHAFT_POWER_MAX_STEADY]
    # Where the law puts the highest power hangs, to second order, on what each channel is worth.
    assert stated.value == pytest.approx(plain.value, rel=1e-7)
    assert stated.standard_uncertainty == pytest.approx(
        math.hypot(plain.standard_uncertainty, plain.value * 0.03 / math.sqrt(3)), rel=2e-3
    )


@pytest.mark.parametrize("drift_nm", [0.0, 0.01])
def test_zero_and_drift_are_taken_off(reduce, drift_nm) -> None:
    clean = simulate(Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=10, seed=10))
    spoilt = simulate(
        Case(
            permanent_magnet(),
            lowest_speed_share=0.3,
            n_dwells=10,
            seed=10,
            zero_nm=0.2,
            drift_nm=drift_nm,
        )
    )
    before, after = (reduce(run).metrics[M.SHAFT_POWER_MAX_STEADY] for run in (clean, spoilt))
    assert after.value == pytest.approx(before.value, rel=2e-3)
    if drift_nm:
        assert after.standard_uncertainty > before.standard_uncertainty


def test_force_on_an_arm_is_torque(reduce) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=10, seed=12))
    channels = dict(run.recording.channels)
    channels[Channel.FORCE] = channels.pop(Channel.TORQUE) / np.float32(0.125)
    recording = Recording(run.recording.time_s, channels)
    rig = Rig(arm_m=0.125, inertia_kg_m2=run.rig.inertia_kg_m2)
    power = reduce(run, recording=recording, rig=rig).metrics[M.SHAFT_POWER_MAX_STEADY]
    direct = reduce(run).metrics[M.SHAFT_POWER_MAX_STEADY]
    assert power.value == pytest.approx(direct.value, rel=1e-6)
    missing = reduce(run, recording=recording, rig=Rig()).metrics
    assert all(m.value is None and "arm" in (m.reason or "") for m in missing.values())


@pytest.mark.parametrize(
    ("kept", "supply", "has_efficiency"),
    [
        ((Channel.VOLTAGE, Channel.CURRENT, Channel.POWER), Supply.AC, True),
        ((Channel.VOLTAGE, Channel.CURRENT), Supply.DC, True),
        ((Channel.VOLTAGE, Channel.CURRENT), Supply.AC, False),
        ((Channel.VOLTAGE, Channel.CURRENT), None, False),
        ((Channel.CURRENT,), Supply.DC, False),
        ((), None, False),
    ],
)
def test_where_input_power_may_come_from(reduce, kept, supply, has_efficiency) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=10, seed=13))
    channels = {
        c: v
        for c, v in run.recording.channels.items()
        if c in (Channel.SPEED, Channel.TORQUE, *kept)
    }
    plate = Plate(voltage_v=24.0, supply=supply)
    result = reduce(run, recording=Recording(run.recording.time_s, channels), plate=plate)
    metric = result.metrics[M.EFFICIENCY_AT_MAX_STEADY_POWER]
    if has_efficiency:
        assert metric.value == pytest.approx(run.truth["efficiency"], abs=0.01)
    else:
        assert metric.value is None
        assert metric.reason
    power = result.metrics[M.SHAFT_POWER_MAX_STEADY].value
    assert power == pytest.approx(run.truth["power"], rel=0.01)


def test_a_kind_without_a_method_is_refused() -> None:
    with pytest.raises(InvalidSignal, match="no method"):
        reduce_run(
            Recording(np.arange(3.0), {Channel.SPEED: column(1, 2, 3)}),
            kind=RunKind.FLUID,
            plate=Plate(),
            rig=Rig(),
            options=ReductionOptions(),
        )


def test_without_speed_there_is_nothing_to_reduce() -> None:
    with pytest.raises(InvalidSignal, match="speed"):
        reduce_run(
            Recording(np.arange(3.0), {Channel.TORQUE: column(1, 2, 3)}),
            kind=RunKind.BRAKE,
            plate=Plate(),
            rig=Rig(),
            options=ReductionOptions(),
        )


def test_segments_points_curves_and_trace_are_given(reduce) -> None:
    run = simulate(Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=10, seed=14))
    result = reduce(run)
    kinds = [s.kind.value for s in result.segments]
    assert kinds[0] == "off"
    assert kinds[1] == "run-up"
    assert "free running" in kinds
    assert kinds.count("steady dwell") >= 9
    assert kinds[-1] == "off"
    assert {c.quantity for c in result.curves} == {
        "speed", "current", "shaft_power", "input_power", "power_factor", "efficiency",
    }  # fmt: skip
    assert result.trace is not None
    assert all(len(v) <= 1200 for v in result.trace.value.values())
    assert result.method_version == "brake-5"


@pytest.mark.parametrize(("left_out", "is_shown"), [(0.02, True), (0.6, False)])
def test_a_maximum_across_a_wide_gap_is_a_lower_bound(left_out: float, is_shown: bool) -> None:
    """A parabola of power over current; the loads around its top are left out."""
    share = np.linspace(0.0, 1.0, 41)
    share = share[np.abs(share - 0.5) > left_out / 2]
    speed = 300.0 - 100.0 * share
    power = 1000.0 * (1 - (2 * share - 1) ** 2) + 100.0
    points = [
        LoadPoint(
            start_s=float(i),
            end_s=i + 0.9,
            is_dwell=True,
            n_samples=90,
            n_effective=90.0,
            torque_nm=float(p / w),
            speed_rad_s=float(w),
            shaft_power_w=float(p),
            u_shaft_power_w=0.5,
            u_speed_rad_s=0.01,
        )
        for i, (w, p) in enumerate(zip(speed, power, strict=True))
    ]
    line = fit_load_line(points)
    assert line is not None
    budget = Budget(
        rig=Rig(),
        torque_channel=Channel.TORQUE,
        u_zero_nm=0.0,
        is_input_metered=False,
        is_dc=False,
    )
    metrics, peak = peak_metrics(line, budget)
    found = metrics[MetricName.SHAFT_POWER_MAX_STEADY]
    assert peak.is_bracketed is is_shown
    assert found.lower_bound is not is_shown
    assert found.value == pytest.approx(1100.0 if is_shown else float(power.max()), rel=0.005)
