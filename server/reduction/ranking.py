"""How sure a rank is, by simulation."""

from collections.abc import Sequence

import numpy as np

from server.errors import InvalidSignal
from server.reduction.arrays import Floats

DRAWS = 20_000
AT_ONCE = 2_000_000  # numbers held at a time


def top_k_probability(
    values: Sequence[float],
    u: Sequence[float],
    k: int,
    seed: int | str,
    *,
    degrees_of_freedom: Sequence[float | None] | None = None,
    n_draws: int = DRAWS,
) -> tuple[float, ...]:
    """Probability that each figure belongs to the k highest, given its standard uncertainty.

    Model:  x_i = values_i + u_i z_i in each draw, z_i normal, or Student's t where degrees of
            freedom are given; the share of draws in which x_i is among the k highest

    Parameters
    ----------
    values, u : m figures and their standard uncertainties, in one unit; u may be zero.
    k : how many the top holds, at least 1.
    seed : a number, or the hexadecimal digest of what the figures were made from, so that the same
        figures give the same probabilities.
    degrees_of_freedom : of each standard uncertainty, None for many. A mean of few testers is less
        sure than its standard uncertainty says.
    n_draws : draws; a probability p has the standard uncertainty sqrt(p (1 - p) / n_draws), at
        most 0.0035 with 20 000.

    Returns
    -------
    m probabilities; they add up to min(k, m). Equal draws are taken in the order given.

    Raises
    ------
    InvalidSignal: lengths that differ, a value that is not finite, u below zero, k below 1.

    Notes
    -----
    The figures are drawn independently. A component that all share (one instrument lent around)
    moves them together and must be left out of u here: it changes no rank.
    """
    centre, scale = np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64)
    if centre.shape != scale.shape or centre.ndim != 1:
        raise InvalidSignal("there must be one standard uncertainty for each value")
    if not (np.isfinite(centre).all() and np.isfinite(scale).all()) or (scale < 0).any():
        raise InvalidSignal("values and standard uncertainties must be finite, none below zero")
    freedom = [None] * centre.size if degrees_of_freedom is None else list(degrees_of_freedom)
    if len(freedom) != centre.size or k < 1 or n_draws < 1:
        raise InvalidSignal("k and the number of draws must be at least 1, lengths must agree")
    if k >= centre.size:
        return (1.0,) * centre.size
    generator = np.random.default_rng(seed if isinstance(seed, int) else int(seed, 16))
    hits = np.zeros(centre.size, dtype=np.int64)
    left = n_draws
    while left:
        n = min(left, max(1, AT_ONCE // centre.size))
        drawn = centre + scale * _standard(generator, n, freedom)
        top = np.argsort(-drawn, axis=1, kind="stable")[:, :k]
        hits += np.bincount(top.ravel(), minlength=centre.size)
        left -= n
    return tuple(float(h) / n_draws for h in hits)


def _standard(generator: np.random.Generator, n: int, freedom: Sequence[float | None]) -> Floats:
    """(n, m) standard draws; Student's t as a normal over the root of a mean square."""
    z = generator.standard_normal((n, len(freedom)))
    for column, degrees in enumerate(freedom):
        if degrees is not None:
            z[:, column] /= np.sqrt(generator.chisquare(degrees, n) / degrees)
    return z
