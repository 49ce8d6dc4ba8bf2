"""Voltage and current columns that hold the alternating quantity itself."""

import numpy as np

from server.reduction.arrays import FloatArray

# A rectified or offset quantity is no waveform: its mean is a good part of its rms.
MEAN_OVER_RMS_LIMIT = 0.2
MINORITY_SIGN_SHARE = 0.2


def alternates(values: FloatArray) -> bool:
    """Tell whether a column swings through zero as a mains waveform does.

    Judged where the signal is there at all (above 5 % of its largest value, as a run of
    samples): both signs take at least a fifth of the samples and the mean is under a fifth of
    the root mean square.
    """
    is_finite = np.isfinite(values)
    finite = values if is_finite.all() else values[is_finite]
    if finite.size < 16:
        return False
    if finite.size > 200_000:
        start = (finite.size - 200_000) // 2
        finite = finite[start : start + 200_000]
    largest = float(np.max(np.abs(finite)))
    if largest == 0.0:
        return False
    present = finite[np.abs(finite) > 0.05 * largest].astype(np.float64)
    rms = float(np.sqrt(np.mean(present**2)))
    positive = float(np.mean(present > 0))
    return (
        min(positive, 1 - positive) > MINORITY_SIGN_SHARE
        and abs(float(np.mean(present))) < MEAN_OVER_RMS_LIMIT * rms
    )
