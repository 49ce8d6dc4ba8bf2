"""How sure it is which of some appliances stands highest."""

from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256

from server.model.pooled import MetricPooling

N_DRAWS = 20_000
Drawn = tuple[float, float, float | None]  # value, standard uncertainty, degrees of freedom


def chance_of_highest(pooled: Mapping[str, MetricPooling]) -> dict[str, float]:
    """Probability that each appliance's figure is the highest of all, by simulation.

    Parameters
    ----------
    pooled : one figure of each appliance, by its id.

    Returns
    -------
    id -> probability, of those that have a pooled value with an uncertainty; they add up to one.
    Empty where fewer than two have.

    Notes
    -----
    A figure pooled over k testers is drawn from Student's t with k - 1 degrees of freedom, one
    tester's own from a normal distribution: what another tester would find is not in it. Drawn
    independently; seeded by the ids and figures, so that the same page shows the same numbers.
    """
    figures: list[tuple[str, Drawn]] = []
    for public_id, one in pooled.items():
        figure = one.pooling.pooled if one.pooling is not None else None
        if figure is not None and figure.standard_uncertainty is not None:
            freedom = figure.degrees_of_freedom
            figures.append((public_id, (figure.value, figure.standard_uncertainty, freedom)))
    if len(figures) < 2:
        return {}
    # In one order, whatever order was asked for: the draws are the same then.
    figures.sort()
    chances = _simulated(tuple(figures))
    return {public_id: p for (public_id, _), p in zip(figures, chances, strict=True)}


# The same comparison is asked for again and again, and drawing takes longer than its page.
@lru_cache(maxsize=1024)
def _simulated(figures: tuple[tuple[str, Drawn], ...]) -> tuple[float, ...]:
    from server.reduction.ranking import top_k_probability

    return top_k_probability(
        [value for _, (value, _, _) in figures],
        [u for _, (_, u, _) in figures],
        1,
        sha256(repr(figures).encode()).hexdigest(),
        degrees_of_freedom=[freedom for _, (_, _, freedom) in figures],
        n_draws=N_DRAWS,
    )
