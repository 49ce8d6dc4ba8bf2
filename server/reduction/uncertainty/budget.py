"""The budget of one figure: which component adds what, largest first."""

import math
from collections.abc import Sequence

from server.model.budget import BudgetLine
from server.reduction.uncertainty.components import Component
from server.reduction.uncertainty.propagate import welch_satterthwaite

LEAST_SHARE = 1e-6


def make_budget(
    components: Sequence[Component], sensitivities: Sequence[float]
) -> tuple[BudgetLine, ...]:
    """List independent components by what each adds to the variance.

    Model:  share_i = (c_i u_i)^2 / sum_j (c_j u_j)^2

    Parameters
    ----------
    components : independent of one another; correlated inputs enter as one component.
    sensitivities : c_i, one for each, in the figure's unit per unit of the component.

    Returns
    -------
    Lines by falling share. Those below one millionth are left out.
    """
    pairs = [(c, float(s)) for c, s in zip(components, sensitivities, strict=True)]
    total = math.fsum((s * c.standard_uncertainty) ** 2 for c, s in pairs)
    if total <= 0:
        return ()
    lines = [
        BudgetLine(
            component=c.name,
            standard_uncertainty=c.standard_uncertainty,
            distribution=c.distribution.value,
            sensitivity=s,
            share=(s * c.standard_uncertainty) ** 2 / total,
        )
        for c, s in pairs
    ]
    kept = [line for line in lines if line.share >= LEAST_SHARE]
    return tuple(sorted(kept, key=lambda line: (-line.share, line.component)))


def combined(
    components: Sequence[Component], sensitivities: Sequence[float]
) -> tuple[float, float]:
    """Combined standard uncertainty and its effective degrees of freedom."""
    parts = [
        abs(s) * c.standard_uncertainty for c, s in zip(components, sensitivities, strict=True)
    ]
    freedoms = [c.degrees_of_freedom for c in components]
    return math.hypot(*parts, 0.0), welch_satterthwaite(parts, freedoms)


def improve_first(budget: Sequence[BudgetLine]) -> tuple[str, float] | None:
    """The component to improve first, and the factor on u were it halved.

    Model:  u' / u = sqrt(1 - 3/4 share)
    """
    if not budget:
        return None
    first = max(budget, key=lambda line: line.share)
    return first.component, math.sqrt(1 - 0.75 * first.share)
