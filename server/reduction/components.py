"""How much testers, specimens, runs and readings each add to the spread."""

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from math import fsum, sqrt

from server.model.pooled import BenchResult, Level, VarianceComponent

ONE_OF = {
    Level.TESTER: "only one tester",
    Level.SPECIMEN: "no tester had more than one specimen; what specimens add can't be told"
    " from what testers add",
    Level.RUN: "no specimen was run more than once; what runs add can't be told from the"
    " level above",
    Level.READING: "every run has one reading; what readings add is part of what runs add",
}


@dataclass(frozen=True, slots=True)
class Stage:
    """A level of the nesting that the layout can tell: each row's group, and the groups' sizes."""

    level: Level
    group: tuple[Hashable, ...]
    size: Mapping[Hashable, int]
    mean: Mapping[Hashable, float]


def variance_components(results: Sequence[BenchResult]) -> tuple[VarianceComponent, ...]:
    """Components of variance of readings in runs of specimens at testers, by nested ANOVA.

    Model:  y = m + tester + specimen + run + reading, each level random within the one above.
            SS_l = sum n_g (mean_g - mean_parent)^2 over the groups g of level l, set equal to
            E SS_l = sum over m at or below l of sigma_m^2 c_lm,
            c_lm = sum n_h^2 (1 / n_g(h) - 1 / n_parent(h)) over the groups h of level m

    Parameters
    ----------
    results : any numbers at any level. Specimens are told apart within a tester, runs within a
        specimen; a result without `run` is a run of its own. Where runs have one reading each,
        `u_within_run` of all results supplies the scatter within runs.

    Returns
    -------
    One VarianceComponent for each Level, from the widest. `sd` is None with a `reason` where the
    layout can't tell the level from the one above, which then `includes` it. An estimate below
    zero is shown as zero, after the levels above were solved with it as it is.

    Notes
    -----
    The method of moments: unbiased for any layout and any distribution, least reliable at the
    level with fewest groups. Look at the degrees of freedom.

    Sources
    -------
    Searle, Casella and McCulloch, Variance Components (1992), chapter 3 and appendix F (cited
    from memory). ISO 5725-3 treats balanced nested layouts.
    """
    stages = _stages(results)
    estimates = _solve(stages)
    known = _known_within(results, stages)
    if known is not None and len(stages) > 1:
        estimates[stages[-1].level] -= known
    components: list[VarianceComponent] = []
    merged: list[Level] = []  # levels below that the next one told must hold
    for level in reversed(Level):
        if level is Level.READING and known is not None:
            components.append(VarianceComponent(level, sqrt(known)))
        elif level in estimates:
            i = next(i for i, stage in enumerate(stages) if i > 0 and stage.level is level)
            freedom = len(stages[i].size) - len(stages[i - 1].size)
            sd = sqrt(max(0.0, estimates[level]))
            components.append(
                VarianceComponent(level, sd, freedom, includes=tuple(reversed(merged)))
            )
            merged = []
        else:
            components.append(VarianceComponent(level, None, reason=ONE_OF[level]))
            merged.append(level)
    return tuple(reversed(components))


def _known_within(results: Sequence[BenchResult], stages: Sequence[Stage]) -> float | None:
    """Mean square of the scatter stated within runs, where no run has several readings."""
    scatter = [r.u_within_run for r in results if r.u_within_run is not None]
    if stages[-1].level is Level.READING or len(scatter) < len(results):
        return None
    return fsum(u * u for u in scatter) / len(scatter)


def _stages(results: Sequence[BenchResult]) -> list[Stage]:
    """Everything together, then each level that has more groups than the one before."""
    keys: list[tuple[Level, list[Hashable]]] = [
        (Level.TESTER, [r.tester for r in results]),
        (Level.SPECIMEN, [(r.tester, r.specimen) for r in results]),
        (
            Level.RUN,
            [i if r.run is None else (r.tester, r.specimen, r.run) for i, r in enumerate(results)],
        ),
        (Level.READING, list(range(len(results)))),
    ]
    values = [r.value for r in results]
    stages = [_stage(Level.TESTER, [()] * len(values), values)]
    for level, group in keys:
        stage = _stage(level, group, values)
        if len(stage.size) > len(stages[-1].size):
            stages.append(stage)
    return stages


def _stage(level: Level, group: Sequence[Hashable], values: Sequence[float]) -> Stage:
    size = Counter(group)
    members: dict[Hashable, list[float]] = {}
    for g, value in zip(group, values, strict=True):
        members.setdefault(g, []).append(value)
    return Stage(level, tuple(group), size, {g: fsum(v) / len(v) for g, v in members.items()})


def _solve(stages: Sequence[Stage]) -> dict[Level, float]:
    """From the narrowest level up: each sum of squares holds its own variance and those below."""
    estimates: dict[Level, float] = {}
    for i in range(len(stages) - 1, 0, -1):
        parent, own = stages[i - 1], stages[i]
        squares = fsum(
            (own.mean[g] - parent.mean[p]) ** 2
            for g, p in zip(own.group, parent.group, strict=True)
        )
        for below in stages[i + 1 :]:
            squares -= estimates[below.level] * _coefficient(below, own, parent)
        estimates[own.level] = squares / _coefficient(own, own, parent)
    return estimates


def _coefficient(m: Stage, own: Stage, parent: Stage) -> float:
    # Row by row: each of the n_h rows of a group h carries n_h of its n_h squared.
    return fsum(
        m.size[h] * (1 / own.size[g] - 1 / parent.size[p])
        for h, g, p in zip(m.group, own.group, parent.group, strict=True)
    )
