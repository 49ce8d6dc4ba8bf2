"""Results gathered by tester: mean, scatter and standard uncertainty of each tester's runs."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import fsum, isfinite, sqrt

from server.errors import InvalidSignal
from server.model.pooled import LARGEST, SMALLEST_U, BenchResult, PerTester


@dataclass(frozen=True, slots=True)
class RunMean:
    """Mean of one run's readings; `u` the mean of their stated uncertainties."""

    value: float
    u: float | None


def check_results(results: Sequence[BenchResult]) -> None:
    """Raises InvalidSignal where no pooling is possible: see `pool`."""
    if not results:
        raise InvalidSignal("there is no result to pool")
    stated = [r.standard_uncertainty for r in results if r.standard_uncertainty is not None]
    if stated and len(stated) < len(results):
        raise InvalidSignal("standard uncertainties are given for some results only")
    for r in results:
        if not isfinite(r.value) or abs(r.value) > LARGEST:
            raise InvalidSignal(f"{r.value!r} of {r.tester} is no figure that can be pooled")
    for u in stated:
        if not SMALLEST_U <= u <= LARGEST:
            raise InvalidSignal(f"a standard uncertainty of {u!r} can't be: it is above zero")


def gather(results: Sequence[BenchResult]) -> tuple[PerTester, ...]:
    """One cell for each tester, in the order in which they first appear.

    Model:  value = mean of the runs;  u^2 = (mean stated u)^2 + s_r^2 / n, each where known

    Parameters
    ----------
    results : checked by `check_results`. Readings of one run are averaged first: they are no
        repeats of the test.

    Returns
    -------
    PerTester with n runs, mean, sd among the runs (None for one run) and standard uncertainty
    (None where neither uncertainties are stated nor anyone made two runs).

    Notes
    -----
    One tester's instruments are the same in all of its runs, so stated uncertainties are averaged,
    not divided by the root of their number. s_r is pooled over all testers: few repeats tell
    little about one tester's own scatter.
    """
    by_tester: dict[str, list[BenchResult]] = {}
    for result in results:
        by_tester.setdefault(result.tester, []).append(result)
    runs = {tester: _run_means(rows) for tester, rows in by_tester.items()}
    cells = {tester: _cell(tester, means) for tester, means in runs.items()}
    freedom = sum(cell.n - 1 for cell in cells.values())
    within = fsum((c.n - 1) * (c.sd or 0.0) ** 2 for c in cells.values())
    variance = within / freedom if freedom else None
    if variance is not None and variance < SMALLEST_U**2:
        variance = 0.0
    return tuple(
        PerTester(cell.tester, cell.n, cell.value, _u(runs[tester], variance), cell.sd)
        for tester, cell in cells.items()
    )


def _run_means(results: Sequence[BenchResult]) -> list[RunMean]:
    runs: dict[Hashable, list[BenchResult]] = {}
    for index, r in enumerate(results):
        runs.setdefault(index if r.run is None else (r.specimen, r.run), []).append(r)
    return [
        RunMean(
            _mean([r.value for r in rows]),
            None
            if rows[0].standard_uncertainty is None
            else _mean([r.standard_uncertainty or 0.0 for r in rows]),
        )
        for rows in runs.values()
    ]


def _cell(tester: str, runs: Sequence[RunMean]) -> PerTester:
    n = len(runs)
    mean = _mean([r.value for r in runs])
    sd = sqrt(fsum((r.value - mean) ** 2 for r in runs) / (n - 1)) if n > 1 else None
    return PerTester(tester, n, mean, None, sd)


def _u(runs: Sequence[RunMean], variance: float | None) -> float | None:
    stated = None if runs[0].u is None else _mean([r.u or 0.0 for r in runs])
    if stated is None and variance is None:
        return None
    return sqrt((stated or 0.0) ** 2 + (variance or 0.0) / len(runs))


def _mean(values: Sequence[float]) -> float:
    # About the first, so that equal values have exactly their own mean.
    return values[0] + fsum(v - values[0] for v in values) / len(values)
