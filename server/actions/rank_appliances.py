"""How sure it is which of some appliances stand highest."""

from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256

from server.model.pooled import MetricPooling
from server.model.words import MetricName

RANKED = MetricName.SHAFT_POWER_MAX_STEADY
N_DRAWS = 20_000
N_DRAWS_OF_LIST = 5_000  # fifty figures, on a page that must not wait: u(p) at most 0.007
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
    return chance_of_top(pooled, k=1)


def chance_of_top(
    pooled: Mapping[str, MetricPooling],
    *,
    k: int,
    is_highest_first: bool = True,
    per: Mapping[str, float] | None = None,
    n_draws: int = N_DRAWS,
) -> dict[str, float]:
    """Probability that each appliance's figure is among the first k, by simulation.

    Parameters
    ----------
    pooled : one figure of each appliance, by its id.
    k : how many the top holds, at least 1.
    is_highest_first : False where the lowest figure comes first.
    per : what each figure is divided by, in its unit and above zero (the printed power, for a
        ratio to it); appliances that are not in it are not ranked.
    n_draws : draws; a probability p has the standard uncertainty sqrt(p (1 - p) / n_draws).

    Returns
    -------
    id -> probability, of those that have a pooled value with an uncertainty; they add up to k, or
    are all one where no more than k have. Empty where fewer than two have.

    Notes
    -----
    Drawn as in `chance_of_highest`.
    """
    figures: list[tuple[str, Drawn]] = []
    sign = 1.0 if is_highest_first else -1.0
    for public_id, one in pooled.items():
        figure = one.pooling.pooled if one.pooling is not None else None
        unit = 1.0 if per is None else per.get(public_id)
        if figure is None or figure.standard_uncertainty is None or not unit:
            continue
        drawn = sign * figure.value / unit, figure.standard_uncertainty / unit
        figures.append((public_id, (*drawn, figure.degrees_of_freedom)))
    if len(figures) < 2:
        return {}
    # In one order, whatever order was asked for: the draws are the same then.
    figures.sort()
    chances = _simulated(tuple(figures), k, n_draws)
    return {public_id: p for (public_id, _), p in zip(figures, chances, strict=True)}


# The same comparison is asked for again and again, and drawing takes longer than its page.
@lru_cache(maxsize=1024)
def _simulated(figures: tuple[tuple[str, Drawn], ...], k: int, n_draws: int) -> tuple[float, ...]:
    from server.reduction.ranking import top_k_probability

    return top_k_probability(
        [value for _, (value, _, _) in figures],
        [u for _, (_, u, _) in figures],
        k,
        sha256(repr(figures).encode()).hexdigest(),
        degrees_of_freedom=[freedom for _, (_, _, freedom) in figures],
        n_draws=n_draws,
    )
