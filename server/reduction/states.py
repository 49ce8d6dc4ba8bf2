"""What the motor is doing in each block: off, run-up, running, run-down."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks

STANDSTILL_SHARE = 0.02  # of the run's speed
NO_CURRENT_SHARE = 0.01  # of the run's current, above what the meter shows at rest
MOST_AT_REST = 0.05  # a meter showing more than this share at rest measures a held rotor
RUNNING_SPEED_SHARE = 0.05
# A run-up is over once the speed gains less than this share in the second that follows.
RUN_UP_GAIN = 0.03
RUN_UP_LOOK_AHEAD_S = 1.0
SWITCH_OFF_TRIM_S = 0.15  # half the window of the acceleration


class State(IntEnum):
    OFF = 0
    RUN_UP = 1
    RUNNING = 2
    RUN_DOWN = 3
    HELD = 4


@dataclass(frozen=True, slots=True)
class States:
    """`state` (m,) of State; `drive` is current, else power, None where neither is logged."""

    state: NDArray[np.int8]
    speed_scale: float
    drive_scale: float | None

    def is_(self, state: State) -> NDArray[np.bool_]:
        return np.asarray(self.state == state)


def find_states(blocks: Blocks) -> States:
    """Tell off, run-up, running, held and run-down apart by speed and current (else power).

    Thresholds are shares of the run's own scale (its 95th percentile while anything turns).
    Without an electrical channel, standing still is off and a last fall to standstill is
    run-down.
    """
    speed = np.abs(blocks.speed)
    speed_scale = _scale(speed)
    drive = blocks.current if blocks.current is not None else blocks.power
    drive_scale = None if drive is None else _scale(np.abs(drive))
    turning = speed > RUNNING_SPEED_SHARE * speed_scale
    still = speed <= STANDSTILL_SHARE * speed_scale
    state = np.full(blocks.size, State.RUNNING, dtype=np.int8)
    if drive is None or not drive_scale:
        state[~turning] = State.OFF
        _mark_coast(state, speed, turning)
    else:
        level = np.abs(drive)
        resting = level[still & np.isfinite(level)]
        at_rest = float(np.percentile(resting, 20)) if resting.size else 0.0
        if at_rest > MOST_AT_REST * drive_scale:
            at_rest = 0.0
        # Where the current is blank the motor is taken to be driven.
        driven = ~(level <= at_rest + NO_CURRENT_SHARE * drive_scale)
        state[~driven & ~turning] = State.OFF
        state[~driven & turning] = State.RUN_DOWN
        state[driven & still] = State.HELD
    _mark_run_ups(state, blocks, speed)
    _trim_before_switch_off(state, blocks)
    return States(state=state, speed_scale=speed_scale, drive_scale=drive_scale)


def stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and end (exclusive) of each run of True."""
    padded = np.concatenate(([False], mask, [False]))
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _scale(values: Floats) -> float:
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return 0.0
    largest = float(np.percentile(finite, 99.5))
    present = finite[finite > 0.1 * largest]
    return float(np.percentile(present, 95)) if present.size else largest


def _mark_coast(state: NDArray[np.int8], speed: Floats, turning: NDArray[np.bool_]) -> None:
    """Without an electrical channel: the last monotone fall to standstill is run-down."""
    for start, end in stretches(turning):
        if end == state.size:
            continue
        i = end - 1
        while i > start and speed[i - 1] > speed[i]:
            i -= 1
        state[i:end] = State.RUN_DOWN


def _mark_run_ups(state: NDArray[np.int8], blocks: Blocks, speed: Floats) -> None:
    driven = (state == State.RUNNING) | (state == State.HELD)
    ahead = max(1, round(RUN_UP_LOOK_AHEAD_S / blocks.spacing_s))
    for start, end in stretches(driven):
        if start == 0 and speed[0] > 0.3 * speed[start:end].max(initial=0.0):
            continue
        stop = min(end, start + 60 * ahead)
        later = _running_max(speed[start : min(end, stop + ahead)], ahead)
        settled = speed[start:stop] >= (1 - RUN_UP_GAIN) * later[: stop - start]
        settled &= state[start:stop] == State.RUNNING
        first = int(np.argmax(settled)) if settled.any() else 0
        up = state[start : start + first]
        up[up == State.RUNNING] = State.RUN_UP
        if first and not _is_long_hold(up, ahead):
            up[:] = State.RUN_UP


def _trim_before_switch_off(state: NDArray[np.int8], blocks: Blocks) -> None:
    """The last moments of running, whose averages and slopes reach across the switch-off."""
    spacing = blocks.spacing_s
    trim = max(1 if (blocks.n_rows == 1).all() else 2, int(np.ceil(SWITCH_OFF_TRIM_S / spacing)))
    for start, end in stretches(state == State.RUNNING):
        if end < state.size and state[end] in (State.RUN_DOWN, State.OFF):
            state[max(start, end - trim) : end] = State.RUN_DOWN


def _is_long_hold(up: NDArray[np.int8], ahead: int) -> bool:
    return int(np.count_nonzero(up == State.HELD)) > 0.5 * ahead


def _running_max(values: Floats, ahead: int) -> Floats:
    """Largest of each value and the `ahead` values after it."""
    result = values.copy()
    span = 1
    while span <= ahead:
        shift = min(span, ahead - span + 1)
        if shift <= 0:
            break
        result[:-shift] = np.maximum(result[:-shift], result[shift:])
        span += shift
    return result
