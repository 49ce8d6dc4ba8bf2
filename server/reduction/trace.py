"""The recording thinned for a screen."""

import numpy as np

from server.model.results import Trace
from server.model.words import Channel
from server.reduction.arrays import FloatArray

POINTS = 1200


def thin(time_s: FloatArray, channels: dict[Channel, FloatArray]) -> Trace:
    """Thin each channel to at most `POINTS` points that keep its shape and its extremes.

    Blanks are left out before thinning. Rows are picked by minimum and maximum, then by largest
    triangles (the MinMaxLTTB method), so that a spike on screen is a spike in the file.
    """
    from tsdownsample import MinMaxLTTBDownsampler

    sampler = MinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]
    times: dict[str, tuple[float, ...]] = {}
    values: dict[str, tuple[float | None, ...]] = {}
    for channel, column in channels.items():
        finite = np.isfinite(column)
        if not finite.any():
            continue
        t, y = (time_s, column) if finite.all() else (time_s[finite], column[finite])
        if y.size > POINTS:
            keep = sampler.downsample(
                np.ascontiguousarray(t), np.ascontiguousarray(y), n_out=POINTS
            )
            t, y = t[keep], y[keep]
        times[channel.value] = tuple(t.tolist())
        values[channel.value] = tuple(y.tolist())
    return Trace(time_s=times, value=values)
