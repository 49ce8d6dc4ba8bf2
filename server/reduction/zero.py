"""The torque sensor's zero, from the idle stretches before and after the run."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks
from server.reduction.states import State, States

# A reading at rest after the run beyond this share of the run's torque is a brake that still
# holds, not a drifted sensor.
HOLDING_SHARE = 0.1
MIN_IDLE_BLOCKS = 3


@dataclass(frozen=True, slots=True)
class Zero:
    """Torque at rest (N m) before and after; `offset_nm` (m,) is what is taken off each block."""

    before_nm: float | None
    after_nm: float | None
    u_nm: float
    offset_nm: Floats
    is_after_left_out: bool = False

    @property
    def drift_nm(self) -> float | None:
        if self.before_nm is None or self.after_nm is None:
            return None
        return self.after_nm - self.before_nm


def find_zero(blocks: Blocks, states: States) -> Zero:
    """Read the torque sensor's zero while nothing turns and no current flows.

    Model:  zero(t) = before + (after - before) * (t - t_before) / (t_after - t_before)

    Returns
    -------
    Zero. With one idle stretch its mean is taken off throughout; with none nothing is. Standard
    uncertainty: scatter of the idle means, and drift / sqrt(12) (a drift anywhere between the
    two readings).
    """
    running = np.flatnonzero(states.is_(State.RUNNING) | states.is_(State.RUN_UP))
    off = states.is_(State.OFF) & np.isfinite(blocks.torque)
    if running.size == 0:
        return _constant(blocks, None, None, 0.0)
    settle = 0.3
    before_at = off & (blocks.time_s < blocks.start_s[running[0]] - 1.5 * blocks.block_s)
    after_at = off & (blocks.time_s > blocks.end_s[running[-1]])
    if after_at.any():
        rest = blocks.time_s[after_at]
        wait = min(settle, 0.3 * float(rest[-1] - rest[0]))
        after_at &= blocks.time_s >= rest[0] + wait - 0.25 * blocks.block_s
    before, u_before = _idle_mean(blocks.torque[before_at])
    after, u_after = _idle_mean(blocks.torque[after_at])
    largest = float(np.percentile(np.abs(blocks.torque[running]), 98))
    left_out = False
    if before is not None and after is not None and abs(after - before) > HOLDING_SHARE * largest:
        after, left_out = None, True
    if before is None or after is None:
        zero = _constant(blocks, before, after, u_before if before is not None else u_after)
        return Zero(zero.before_nm, after, zero.u_nm, zero.offset_nm, left_out)
    t_before = float(np.mean(blocks.time_s[before_at]))
    t_after = float(np.mean(blocks.time_s[after_at]))
    share = np.clip((blocks.time_s - t_before) / (t_after - t_before), 0.0, 1.0)
    u = float(np.hypot(np.hypot(u_before, u_after) / 2, abs(after - before) / np.sqrt(12)))
    return Zero(before, after, u, before + (after - before) * share)


def _constant(blocks: Blocks, before: float | None, after: float | None, u: float) -> Zero:
    offset = before if before is not None else after
    value = 0.0 if offset is None else offset
    return Zero(before, after, u, np.full(blocks.size, value))


def _idle_mean(torque: NDArray[np.float64]) -> tuple[float | None, float]:
    if torque.size < MIN_IDLE_BLOCKS:
        return None, 0.0
    middle = float(np.median(torque))
    spread = 1.4826 * float(np.median(np.abs(torque - middle)))
    kept = torque[np.abs(torque - middle) <= 4 * spread] if spread > 0 else torque
    return float(np.mean(kept)), float(np.std(kept) / np.sqrt(kept.size))
