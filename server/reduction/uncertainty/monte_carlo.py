"""Propagation of distributions by drawing: JCGM 101, with its adaptive number of draws."""

import hashlib
import math
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import Bools, Floats

BLOCK = 10_000  # JCGM 101:2008, 7.9.4 b: at least 10^4, and 100 / (1 - p)
MIN_BLOCKS = 2
MAX_BLOCKS = 400
N_DIG = 2  # with one digit a first-order interval that covers far too much still passes

BESIDE = 1  # blocks worked out beside a drawing; more of them only wait for each other

# Outputs, or what works them out from numbers already drawn: that goes on beside the next drawing.
DrawModel = Callable[[np.random.Generator, int], Floats | Callable[[], Floats]]


@dataclass(frozen=True, slots=True)
class Drawn:
    """(m,) each. `is_settled`: the adaptive rule was met for that quantity.

    `numerical_doubt` is twice the standard deviation of the worst of the four results.
    """

    mean: Floats
    standard_uncertainty: Floats
    low: Floats
    high: Floats
    n_draws: int
    is_settled: Bools
    numerical_doubt: Floats


def draw_adaptively(
    model: DrawModel,
    *,
    seed: int,
    coverage: float = 0.95,
    n_dig: int = N_DIG,
    is_shortest: bool = False,
    max_blocks: int = MAX_BLOCKS,
) -> Drawn:
    """Draw until the results are stable in `n_dig` significant digits of each uncertainty.

    Model:  blocks of M = max(10^4, 100 / (1 - p)) draws; stop when twice the standard deviation
            of the mean over blocks of y, u(y), y_low and y_high is at most delta for each output

    Parameters
    ----------
    model : (generator, n) to (m, n) outputs, one row per output, or to a function that gives
        them. Only the drawing itself must be done by the model.
    seed : of the one generator; the same seed gives the same result.
    coverage : p of the interval.
    n_dig : significant digits of u that must be stable.
    is_shortest : shortest interval instead of the probabilistically symmetric one.
    max_blocks : where drawing ends at the latest; `is_settled` then tells what is not stable.

    Returns
    -------
    Drawn, from all draws together.

    Sources
    -------
    JCGM 101:2008: 7.9 (adaptive procedure), 7.7 (coverage intervals), 5.3.4 (shortest).
    """
    n = max(BLOCK, math.ceil(100 / (1 - coverage)))
    blocks: list[Floats] = []
    results: list[Floats] = []
    settled = doubt = np.zeros(0)

    with ThreadPoolExecutor(BESIDE) as beside:
        for block in _in_order(model, beside, seed, n, max_blocks):
            blocks.append(block)
            results.append(_summary(block, coverage, is_shortest))
            h = len(blocks)
            if h < min(MIN_BLOCKS, max_blocks):
                continue
            stacked = np.array(results)
            u = np.sqrt(np.mean(stacked[:, 1] ** 2, axis=0))
            delta = np.array([tolerance(value, n_dig) for value in u.tolist()])
            spread = stacked.std(axis=0, ddof=1) if h > 1 else np.full(stacked.shape[1:], np.inf)
            doubt = 2 * spread.max(axis=0) / math.sqrt(h)
            settled = doubt <= delta
            if settled.all():
                break
    everything = blocks[0] if len(blocks) == 1 else np.concatenate(blocks, axis=1)
    mean, u, low, high = _summary(everything, coverage, is_shortest)
    return Drawn(mean, u, low, high, everything.shape[1], np.asarray(settled), doubt)


def _in_order(
    model: DrawModel, beside: ThreadPoolExecutor, seed: int, n: int, max_blocks: int
) -> Iterator[Floats]:
    """Block after block, drawn by one generator in their order; the next ones are under way."""
    rng = np.random.default_rng(seed)
    under_way: list[Future[Floats]] = []
    n_drawn = 0
    for n_given in range(max_blocks):
        while n_drawn < min(n_given + 1 + BESIDE, max_blocks):
            found = model(rng, n)
            # What the caller said of floating-point errors holds there, too.
            under_way.append(beside.submit(copy_context().run, _work_out, found))
            n_drawn += 1
        yield under_way.pop(0).result()


def _work_out(found: Floats | Callable[[], Floats]) -> Floats:
    return np.asarray(found() if callable(found) else found, dtype=np.float64)


def tolerance(standard_uncertainty: float, n_dig: int = N_DIG) -> float:
    """Numerical tolerance of a standard uncertainty.

    Model:  delta = 10^l / 2 where u = c * 10^l and c has n_dig digits  (JCGM 101:2008, 7.9.2)
    """
    if standard_uncertainty <= 0 or not math.isfinite(standard_uncertainty):
        return 0.0
    exponent = int(f"{standard_uncertainty:.{n_dig - 1}e}".partition("e")[2])
    return 0.5 * 10.0 ** (exponent - n_dig + 1)


@dataclass(frozen=True, slots=True)
class Validation:
    """Whether the first-order interval stands beside the drawn one (JCGM 101, clause 8)."""

    is_valid: bool
    d_low: float
    d_high: float
    delta: float


def validate_first_order(
    value: float,
    standard_uncertainty: float,
    expanded: float,
    *,
    low: float,
    high: float,
    numerical_doubt: float = 0.0,
    n_dig: int = N_DIG,
) -> Validation:
    """Compare the first-order interval with the drawn one.

    Model:  d_low = |y - U - y_low|, d_high = |y + U - y_high|; valid where both are at most delta

    Parameters
    ----------
    value, standard_uncertainty, expanded : y, u and U of the first-order result.
    low, high : ends of the drawn interval.
    numerical_doubt : of those ends; a difference inside it is none.

    Sources
    -------
    JCGM 101:2008, 8.1.
    """
    delta = tolerance(standard_uncertainty, n_dig)
    d_low, d_high = abs(value - expanded - low), abs(value + expanded - high)
    is_valid = max(d_low, d_high) <= delta + numerical_doubt
    return Validation(is_valid, d_low, d_high, delta)


def seed_of(digest: str) -> int:
    """A generator's seed from any text that names the input."""
    return int.from_bytes(hashlib.sha256(digest.encode()).digest()[:16], "big")


def _summary(values: Floats, coverage: float, is_shortest: bool) -> Floats:
    """(4, m): mean, standard deviation, and the ends of the coverage interval."""
    n = values.shape[1]
    q = round(coverage * n)  # JCGM 101:2008, 7.7.1
    mean = values.mean(axis=1)
    u = values.std(axis=1, ddof=1)
    if is_shortest:
        rows = np.arange(values.shape[0])
        ordered = np.sort(values, axis=1)
        width = ordered[:, q:] - ordered[:, : n - q]
        first = np.argmin(width, axis=1)
    else:
        r = (n - q) // 2  # 7.7.2: probabilistically symmetric
        return np.array([mean, u, *_of_rank(values, r, r + q)])
    return np.array([mean, u, ordered[rows, first], ordered[rows, first + q]])


def _of_rank(values: Floats, low: int, high: int) -> tuple[Floats, Floats]:
    """Per row the values of two ranks. One rank at a time: several at once are searched slowly."""
    ordered = np.partition(values, low, axis=1)
    above = ordered[:, low + 1 :]
    above.partition(high - low - 1, axis=1)
    return ordered[:, low], above[:, high - low - 1]
