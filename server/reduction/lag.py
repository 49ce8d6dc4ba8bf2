"""How far the torque channel trails the others, found from the run itself."""

import numpy as np
from numpy.polynomial import chebyshev

from server.model.results import Lag
from server.reduction.arrays import Floats, Ints
from server.reduction.blocks import Blocks
from server.reduction.states import State, States
from server.reduction.torque import Shaft

LONGEST_S = 0.6
STEPS = 31
ORDER = 7
SMOOTHED_BLOCKS = 3
ONE_WAY_SHARE = 0.95
BURST = 8.0  # a step's acceleration over the usual one
MOVING_SHARE = 0.35  # of the running blocks: those where the load moves fastest
LEAST_BLOCKS = 30
MOST_BLOCKS = 2000
LEAST_GAIN = 0.6  # of the misfit that shifting must remove to be applied
WORST_FIT = 0.03  # of the torque's own variance
NOTED_GAIN = 0.25  # and to be mentioned at all
LEAST_LAG_S = 0.01


def find_lag(blocks: Blocks, states: States, shaft: Shaft) -> Lag:
    """Find the shift of the torque channel that makes torque a function of speed and current.

    Model:  T_sensor(t + L) + drag + J dw/dt = f(w(t), I(t)), f a polynomial of order 7 in each;
            L minimises the misfit where the load moves

    Returns
    -------
    Lag. Positive seconds: torque trails the other channels. `applied` only where the best shift
    removes at least 60 % of the misfit, lies inside +-0.6 s and exceeds a fifth of a block; else
    `reason` says why not.

    Notes
    -----
    A brake that is clamped makes torque rise before the speed falls, through the inertia alone:
    without the inertia's term that would look like a lag, so none is looked for without it.
    Along one smooth sweep any shift fits about as well (f takes it up); steps and reversals tell.
    """
    if not shaft.has_inertia:
        return Lag(None, False, "not looked for: the inertia of what turns is not given")
    rows = _moving_rows(blocks, states, shaft)
    if rows.size < LEAST_BLOCKS:
        return Lag(None, False, "not to be told: the load hardly moves")
    if _is_one_smooth_sweep(states, shaft, rows):
        return Lag(None, False, "not to be told from one smooth sweep")
    longest = min(LONGEST_S, 0.1 * float(blocks.time_s[-1]))
    shifts = np.linspace(-longest, longest, STEPS)
    misfit = _misfit(blocks, shaft, rows, shifts)
    i = int(np.argmin(misfit))
    if i in (0, STEPS - 1):
        return Lag(None, False, "not to be told: no shift within 0.6 s fits best")
    shift = _vertex(shifts, misfit, i)
    # A second, finer look around the best shift.
    width = float(shifts[1] - shifts[0])
    fine = np.linspace(shift - 1.5 * width, shift + 1.5 * width, 13)
    fine_misfit = _misfit(blocks, shaft, rows, fine)
    k = int(np.argmin(fine_misfit))
    if 0 < k < fine.size - 1:
        shift = _vertex(fine, fine_misfit, k)
    unshifted = float(_misfit(blocks, shaft, rows, np.array([0.0]))[0])
    gain = 1 - float(fine_misfit.min()) / unshifted if unshifted > 0 else 0.0
    variance = float(np.var(shaft.torque[rows])) * rows.size
    if float(fine_misfit.min()) > WORST_FIT * variance:
        return Lag(None, False, "not to be told: torque is no function of speed and current")
    least = max(LEAST_LAG_S, 0.2 * blocks.block_s)
    if gain < NOTED_GAIN:
        return Lag(None, False, "none stands out from the noise")
    if gain < LEAST_GAIN or abs(shift) < least:
        return Lag(float(shift), False, "too small or too unsure to be applied")
    return Lag(float(shift), True, None)


def _moving_rows(blocks: Blocks, states: States, shaft: Shaft) -> Ints:
    running = states.is_(State.RUNNING)
    guard = max(1, round(LONGEST_S / blocks.spacing_s))
    inner = running.copy()
    for edge in np.flatnonzero(np.diff(running.astype(np.int8))).tolist():
        inner[max(0, edge - guard) : edge + guard + 2] = False
    inner[:guard] = False
    inner[-guard:] = False
    rows = np.flatnonzero(inner)
    if rows.size < LEAST_BLOCKS:
        return rows
    pace = np.abs(shaft.acceleration[rows])
    # Beyond some thousand moving blocks more of them tell nothing new.
    thin = max(1, int(rows.size * MOVING_SHARE) // MOST_BLOCKS)
    return np.asarray(rows[pace >= np.quantile(pace, 1 - MOVING_SHARE)][::thin])


def _is_one_smooth_sweep(states: States, shaft: Shaft, rows: Ints) -> bool:
    """True where the load only ever moves one way, and about evenly: any shift fits as well."""
    falling = float(np.mean(shaft.acceleration[rows] < 0))
    if max(falling, 1 - falling) < ONE_WAY_SHARE:
        return False
    pace = np.abs(shaft.acceleration[states.is_(State.RUNNING)])
    return float(np.percentile(pace, 99)) < BURST * float(np.median(pace))


def _misfit(blocks: Blocks, shaft: Shaft, rows: Ints, shifts: Floats) -> Floats:
    time = blocks.time_s
    # Smoothed first: interpolating between noisy blocks would favour shifts by half a block.
    brake = _smoothed(shaft.brake_torque)
    rest = _smoothed(shaft.torque - shaft.brake_torque)[rows]
    sensor = np.stack([np.interp(time[rows] + s, time, brake) for s in shifts])
    target = sensor + rest
    columns = [np.ones(rows.size)]
    drive = blocks.current if blocks.current is not None else blocks.power
    for values in (shaft.speed, drive):
        if values is None:
            continue
        part = np.nan_to_num(_smoothed(values)[rows])
        span = float(np.ptp(part)) or 1.0
        v = 2 * (part - part.min()) / span - 1
        columns += list(chebyshev.chebvander(v, ORDER).T[1:])
    q, _ = np.linalg.qr(np.stack(columns, axis=1))
    inside = target @ q
    return np.asarray(np.sum(target**2, axis=1) - np.sum(inside**2, axis=1))


def _smoothed(values: Floats) -> Floats:
    padded = np.pad(values, SMOOTHED_BLOCKS // 2, mode="edge")
    kernel = np.full(SMOOTHED_BLOCKS, 1 / SMOOTHED_BLOCKS)
    return np.asarray(np.convolve(padded, kernel, "valid"))


def _vertex(x: Floats, y: Floats, i: int) -> float:
    bend = float(y[i - 1] - 2 * y[i] + y[i + 1])
    if bend <= 0:
        return float(x[i])
    return float(x[i] + 0.5 * (y[i - 1] - y[i + 1]) / bend * (x[1] - x[0]))
