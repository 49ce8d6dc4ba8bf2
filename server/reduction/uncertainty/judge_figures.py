"""From a run's error model to each figure's uncertainty, interval and budget, both ways."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from server.model.budget import BudgetLine
from server.model.words import MetricName
from server.reduction.arrays import Floats
from server.reduction.uncertainty.budget import combined, make_budget
from server.reduction.uncertainty.components import Component, Distribution
from server.reduction.uncertainty.monte_carlo import (
    N_DIG,
    Drawn,
    draw_adaptively,
    validate_first_order,
)
from server.reduction.uncertainty.propagate import coverage_factor
from server.reduction.uncertainty.run_model import EXCESS_OF, FIXED_OF, RunModel

COVERAGE = 0.95
STEP = 0.01  # of a standard uncertainty
MAX_BLOCKS = 5
# Some forty ends are compared: what one of forty does by chance is no disagreement.
DOUBTS = 1.75
GUM, MONTE_CARLO = "gum", "monte carlo"
SCATTER = "scatter of the readings"
SELECTION = "highest of several noisy values"
MANY = 1e9  # degrees of freedom; more are said to be too many to matter
LEAST_BIAS = 0.01  # of the standard uncertainty; less is not listed


@dataclass(frozen=True, slots=True)
class Judged:
    """Uncertainty of one figure. `bias` is by how much the highest of noisy values stands too
    high on average; the interval is moved down by it, but never below the figure itself."""

    standard_uncertainty: float
    low: float
    high: float
    degrees_of_freedom: float | None
    method: str
    budget: tuple[BudgetLine, ...]
    bias: float = 0.0
    n_draws: int = 0
    d_over_delta: float = 0.0


@dataclass(frozen=True, slots=True)
class _First:
    """First order: columns are run-level components, then scatter as one."""

    nominal: dict[str, float]
    sensitivity: dict[str, Floats]
    scatter: dict[str, float]


def judge_figures(
    model: RunModel,
    values: Mapping[MetricName, float],
    *,
    seed: int,
    known_bias: Mapping[MetricName, tuple[float, float]] | None = None,
    max_blocks: int = MAX_BLOCKS,
    n_dig: int = N_DIG,
) -> dict[MetricName, Judged]:
    """Uncertainty of every figure, to first order and by drawing.

    Model:  u^2 = sum (c_i u_i)^2, U = t_0.975(nu_eff) u; or every error drawn, shown where the
            two intervals differ by more than half a unit of the second digit of u

    Parameters
    ----------
    model : the figures as a function of errors.
    values : the figures themselves; what the model adds is deviations from them.
    seed : of the draws, made from the input, so that the result can be made again.
    known_bias : its least and most, of figures that are the highest of more values than the
        model draws. It is taken as anywhere between the two.
    n_dig : digits of each u that the draws must settle.
    max_blocks : of 10^4 draws, at most; then a difference counts beyond what they leave open.

    Returns
    -------
    Judged for every name in both, where it is finite. Ends in the figure's unit.

    Notes
    -----
    The highest of several noisy values is biased upwards; docs/methods/uncertainty.md says how
    the interval carries that.

    Sources
    -------
    JCGM 100:2008, 5.1.2 and G.4; JCGM 101:2008, 7.9 and 8.1.
    """
    known = model.figures(*_still(model, 1))
    names = [n for n in values if n in known and bool(np.isfinite(known[n]).all())]
    if not names:
        return {}
    first = _first_order(model, names)
    order: list[str] = [*names, *(h for n in names if (h := _beside(n)) in known)]

    def outputs(rng: np.random.Generator, n: int) -> Callable[[], Floats]:
        return partial(_figures_of, model, model.draw(rng, n), order)

    drawn = draw_adaptively(
        outputs, seed=seed, coverage=COVERAGE, n_dig=n_dig, max_blocks=max_blocks
    )
    mean = dict(zip(order, drawn.mean.tolist(), strict=True))
    judged = {}
    for k, name in enumerate(names):
        plain = _judge_one(model, name, values[name], first, drawn, k)
        within = (known_bias or {}).get(name, (0.0, 0.0))
        one = _carried(plain, name, values[name], mean, within)
        if all(map(math.isfinite, (one.standard_uncertainty, one.low, one.high))):
            judged[name] = one
    return judged


def _figures_of(model: RunModel, drawn: tuple[Floats, Floats], order: Sequence[str]) -> Floats:
    found = model.figures(*drawn)
    return np.stack([found[name] for name in order])


def _beside(name: MetricName) -> str:
    """The output that a figure's bias is told by, if it has one."""
    return FIXED_OF.get(name) or EXCESS_OF.get(name) or ""


def _carried(
    plain: Judged,
    name: MetricName,
    value: float,
    mean: Mapping[str, float],
    within: tuple[float, float],
) -> Judged:
    """The figure with the bias of a highest value, if it is one."""
    if _beside(name) in mean:
        if name in EXCESS_OF:
            bias = moved = mean[EXCESS_OF[name]]
        else:
            bias = mean[name] - mean[FIXED_OF[name]]
            # A first-order interval that agrees with the draws needs no moving.
            moved = 0.0 if plain.method == GUM else 2 * bias
        return _with_bias(plain, value, bias, moved=moved)
    return _with_bias_within(plain, value, *within)


def _judge_one(
    model: RunModel, name: MetricName, value: float, first: _First, drawn: Drawn, k: int
) -> Judged:
    scatter = Component(SCATTER, first.scatter[name], Distribution.NORMAL, _freedom(model, name))
    components = [*model.errors.components, scatter]
    sensitivities = [*first.sensitivity[name].tolist(), 1.0]
    u, nu = combined(components, sensitivities)
    expanded = coverage_factor(nu, COVERAGE) * u
    moved = value - first.nominal[name]
    low, high = float(drawn.low[k]) + moved, float(drawn.high[k]) + moved
    doubt = DOUBTS * float(drawn.numerical_doubt[k])
    checked = validate_first_order(value, u, expanded, low=low, high=high, numerical_doubt=doubt)
    judged = Judged(
        standard_uncertainty=u,
        low=value - expanded,
        high=value + expanded,
        degrees_of_freedom=nu if nu < MANY else None,
        method=GUM,
        budget=make_budget(components, sensitivities),
        n_draws=drawn.n_draws,
        d_over_delta=max(checked.d_low, checked.d_high) / checked.delta if checked.delta else 0.0,
    )
    if checked.is_valid:
        return judged
    # Of two that agree in two digits the one without the draws' own scatter.
    u_drawn = float(drawn.standard_uncertainty[k])
    u = u if abs(u_drawn - u) <= checked.delta + doubt else u_drawn
    return replace(judged, method=MONTE_CARLO, standard_uncertainty=u, low=low, high=high)


def _with_bias(judged: Judged, value: float, bias: float, *, moved: float) -> Judged:
    """Carry the bias of a highest value: as a line of the budget, and by moving the interval."""
    if bias <= LEAST_BIAS * judged.standard_uncertainty:
        return replace(judged, bias=max(bias, 0.0))
    return replace(
        _with_line(judged, Component(SELECTION, bias)),
        low=judged.low - moved,
        high=max(judged.high - moved, value),
        bias=bias,
    )


def _with_bias_within(judged: Judged, value: float, least: float, most: float) -> Judged:
    """Carry a bias that lies anywhere between two: halfway, give or take half.

    A reading that is shown as it stands, its bias not taken off, stays within its interval.
    """
    if most - least <= LEAST_BIAS * judged.standard_uncertainty:
        return judged
    bias = (least + most) / 2
    doubt = Component.within(SELECTION, (most - least) / 2)
    spread = coverage_factor(math.inf, COVERAGE) * doubt.standard_uncertainty
    middle = value - bias
    return replace(
        _with_line(judged, doubt),
        low=min(middle - math.hypot(value - judged.low, spread), value),
        high=max(middle + math.hypot(judged.high - value, spread), value),
        bias=bias,
    )


def _with_line(judged: Judged, own: Component) -> Judged:
    """One independent component more, of sensitivity 1."""
    u, u_own = judged.standard_uncertainty, own.standard_uncertainty
    variance = u * u + u_own * u_own
    lines = [replace(line, share=line.share * u * u / variance) for line in judged.budget]
    lines.append(BudgetLine(own.name, u_own, own.distribution.value, 1.0, u_own**2 / variance))
    budget = tuple(sorted(lines, key=lambda line: -line.share))
    return replace(judged, standard_uncertainty=math.sqrt(variance), budget=budget)


def _still(model: RunModel, n: int) -> tuple[Floats, Floats]:
    return np.zeros((len(model.errors.components), n)), np.zeros((model.n_scatter, n))


def _first_order(model: RunModel, names: Sequence[MetricName]) -> _First:
    """Sensitivities by central differences, all in one call of the model."""
    u = np.array([c.standard_uncertainty for c in model.errors.components])
    n_errors, n_scatter = u.size, model.n_scatter
    n = n_errors + n_scatter
    errors, scatter = _still(model, 1 + 2 * n)
    for j in range(n):
        for row, sign in ((1 + 2 * j, 1.0), (2 + 2 * j, -1.0)):
            if j < n_errors:
                errors[j, row] = sign * STEP * u[j]
            else:
                scatter[j - n_errors, row] = sign * STEP
    found = model.figures(errors, scatter)
    nominal: dict[str, float] = {}
    sensitivity: dict[str, Floats] = {}
    noise: dict[str, float] = {}
    for name in names:
        y = found[name]
        slope = (y[1::2] - y[2::2]) / (2 * STEP)
        nominal[name] = float(y[0])
        sensitivity[name] = slope[:n_errors] / np.where(u > 0, u, 1.0)
        noise[name] = float(np.sqrt(np.sum(slope[n_errors:] ** 2)))
    return _First(nominal, sensitivity, noise)


def _freedom(model: RunModel, name: MetricName) -> float:
    """Degrees of freedom of the scatter in a figure: of the line's fits, or of the points."""
    if model.line is not None and name not in model.windows and name not in model.alone:
        return model.line.degrees_of_freedom
    if model.table is not None:
        return max(float(np.median(model.table.n_effective)) - 1.0, 1.0)
    return math.inf
