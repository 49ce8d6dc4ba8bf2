"""What must not change the figures, and what must change them in proportion."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from server.model.recording import Recording
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind
from server.reduction import reduce_run
from tests.reduction.simulate import Case, Simulated, permanent_magnet, simulate

M = MetricName
RUN = simulate(
    Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=8, dwell_s=1.5, rate_hz=40, seed=21)
)
PLAIN: Reduction | None = None


def reduced(run: Simulated, recording: Recording) -> Reduction:
    return reduce_run(
        recording, kind=RunKind.BRAKE, plate=run.plate, rig=run.rig, options=ReductionOptions()
    )


def plain() -> Reduction:
    global PLAIN
    if PLAIN is None:
        PLAIN = reduced(RUN, RUN.recording)
    return PLAIN


def values(result: Reduction) -> dict[str, float | None]:
    return {name.value: metric.value for name, metric in result.metrics.items()}


def assert_same(result: Reduction, *, rel: float) -> None:
    for name, value in values(plain()).items():
        other = values(result)[name]
        if value is None:
            assert other is None, name
        else:
            assert other is not None, name
            assert abs(other - value) <= rel * max(abs(value), 1e-3), name


def rows(recording: Recording, order: np.ndarray) -> Recording:
    return Recording(recording.time_s[order], {c: v[order] for c, v in recording.channels.items()})


def test_the_same_input_gives_the_same_output() -> None:
    assert reduced(RUN, RUN.recording) == plain()


@settings(max_examples=8, deadline=None)
@given(st.floats(-1e4, 1e4))
def test_a_clock_that_starts_elsewhere(shift: float) -> None:
    moved = replace(RUN.recording, time_s=RUN.recording.time_s + shift)
    assert_same(reduced(RUN, moved), rel=1e-6)


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_rows_in_any_order(seed: int) -> None:
    order = np.random.default_rng(seed).permutation(RUN.recording.time_s.size)
    assert_same(reduced(RUN, rows(RUN.recording, order)), rel=1e-12)


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 60))
def test_rows_sent_twice(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    size = RUN.recording.time_s.size
    order = np.sort(np.concatenate([np.arange(size), rng.integers(0, size, n)]))
    assert_same(reduced(RUN, rows(RUN.recording, order)), rel=1e-12)


@settings(max_examples=8, deadline=None)
@given(st.sampled_from([60 / (2 * np.pi), 0.5, 1 / 3.6, 7.0611552e-3]))
def test_a_unit_there_and_back(factor: float) -> None:
    # Written in another unit and read back: float32 rounding only.
    channels = {
        c: ((v.astype(np.float64) * factor).astype(np.float32) / np.float32(factor))
        for c, v in RUN.recording.channels.items()
    }
    assert_same(reduced(RUN, replace(RUN.recording, channels=channels)), rel=2e-4)


@settings(max_examples=6, deadline=None)
@given(st.floats(0.2, 5.0))
def test_torque_and_input_power_scaled_together(factor: float) -> None:
    channels = dict(RUN.recording.channels)
    for channel in (Channel.TORQUE, Channel.POWER, Channel.CURRENT):
        channels[channel] = channels[channel] * np.float32(factor)
    rig = replace(RUN.rig, inertia_kg_m2=(RUN.rig.inertia_kg_m2 or 0) * factor)
    result = reduce_run(
        replace(RUN.recording, channels=channels),
        kind=RunKind.BRAKE,
        plate=RUN.plate,
        rig=rig,
        options=ReductionOptions(),
    )
    for name, power in ((M.SHAFT_POWER_MAX_STEADY, 1), (M.EFFICIENCY_MAX, 0), (M.FREE_SPEED, 0)):
        value, before = values(result)[name.value], values(plain())[name.value]
        assert value is not None
        assert before is not None
        assert abs(value / before / factor**power - 1) < 2e-3, name


def test_an_extra_column_changes_nothing() -> None:
    extra = replace(RUN.recording, extras={"note": np.zeros(RUN.recording.time_s.size)})
    assert reduced(RUN, extra) == plain()
