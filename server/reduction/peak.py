"""Where a curve is highest, and whether that is seen from both sides."""

from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import Floats

# A fall smaller than this share of the maximum is no fall, however small the scatter.
LEAST_FALL = 1e-3
FALL_IN_U = 2.0


@dataclass(frozen=True, slots=True)
class Peak:
    """`u_x`: standard uncertainty of where; `is_bracketed`: the curve falls on both sides."""

    x: float
    value: float
    u: float
    is_bracketed: bool
    open_end: str | None


def find_peak(x: Floats, value: Floats, u: Floats) -> Peak:
    """Highest value of a curve on a grid, the vertex of the parabola through its neighbours.

    Returns
    -------
    Peak. Bracketed where both ends lie below the maximum by more than twice their standard
    uncertainty and by 0.1 %; else `open_end` is "low" or "high", the side without a fall.
    """
    i = int(np.argmax(value))
    at, top = float(x[i]), float(value[i])
    if 0 < i < x.size - 1:
        left, right = float(value[i - 1]), float(value[i + 1])
        bend = left - 2 * top + right
        if bend < 0:
            shift = 0.5 * (left - right) / bend
            at += shift * float(x[1] - x[0])
            top -= 0.25 * (left - right) * shift
    open_end = None
    for end, side in ((0, "low"), (-1, "high")):
        need = max(FALL_IN_U * float(np.hypot(u[end], u[i])), LEAST_FALL * abs(top))
        if top - float(value[end]) <= need:
            open_end = side
    return Peak(x=at, value=top, u=float(u[i]), is_bracketed=open_end is None, open_end=open_end)
