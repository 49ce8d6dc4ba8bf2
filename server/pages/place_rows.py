"""How sure a row's place in the sorted catalogue is, within one category."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.actions.pool_appliance import pool_appliances
from server.actions.rank_appliances import N_DRAWS_OF_LIST, chance_of_top
from server.model.pooled import MetricPooling
from server.model.views import CatalogueFilter, ListingRow
from server.model.words import MetricName
from server.pages.catalogue_filter import LIMIT
from server.pages.methods import method_links
from server.pages.shapes import Link
from server.wording.numbers import grouped
from server.wording.pooled import show_chance

K = 3
LEAST_FOR_K = 6  # among fewer, being one of three says little: the first place is asked for
NOT_RANKED = "not ranked"
LITTLE = 0.01

# sort word -> the figure that is pooled for it
RANKED_BY: dict[str, MetricName] = {
    "shaft_power_at_rated_current": MetricName.SHAFT_POWER_AT_RATED_CURRENT,
    "shaft_power_max_steady": MetricName.SHAFT_POWER_MAX_STEADY,
    "efficiency_max": MetricName.EFFICIENCY_MAX,
    "ratio": MetricName.SHAFT_POWER_MAX_STEADY,
}


@dataclass(frozen=True, slots=True)
class PlacesShown:
    """The column of chances. `cells`: text by appliance id; `sentences` say what it means."""

    label: str
    cells: Mapping[str, str]
    sentences: tuple[str, ...]
    links: tuple[Link, ...]


def read_places(
    session: Session, wanted: CatalogueFilter, rows: Sequence[ListingRow], *, has_more: bool
) -> PlacesShown | None:
    """The chances of the first page of one category sorted by a measured figure; else None.

    Nothing is read of any other list.
    """
    metric = RANKED_BY.get(wanted.sort)
    if metric is None or wanted.category is None or wanted.cursor is not None or len(rows) < 2:
        return None
    rows = rows[:LIMIT]
    pooled = pool_appliances(session, public_ids=[row.public_id for row in rows], metric=metric)
    return show_places(wanted, rows, pooled, has_more=has_more)


def show_places(
    wanted: CatalogueFilter,
    rows: Sequence[ListingRow],
    pooled: Mapping[str, MetricPooling],
    *,
    has_more: bool,
) -> PlacesShown | None:
    """The same from figures that are pooled already."""
    per = None
    if wanted.sort == "ratio":
        per = {row.public_id: row.printed_power_w for row in rows if row.printed_power_w}
    n = sum(_has_figure(pooled.get(row.public_id)) for row in rows)
    k = K if n >= LEAST_FOR_K else 1
    chances = chance_of_top(
        pooled, k=k, is_highest_first=wanted.descending, per=per, n_draws=N_DRAWS_OF_LIST
    )
    if not chances:
        return None
    ends = "highest" if wanted.descending else "lowest"
    label = f"Chance of being among the {k} {ends}" if k > 1 else f"Chance of being the {ends}"
    cells = {
        row.public_id: show_chance(chances[row.public_id])
        if row.public_id in chances
        else NOT_RANKED
        for row in rows
    }
    return PlacesShown(
        label=label,
        cells=cells,
        sentences=_sentences(rows, chances, k=k, has_more=has_more),
        links=method_links(("pooling", "How sure a rank is")),
    )


def _has_figure(one: MetricPooling | None) -> bool:
    return one is not None and one.pooling is not None


def _sentences(
    rows: Sequence[ListingRow], chances: Mapping[str, float], *, k: int, has_more: bool
) -> tuple[str, ...]:
    place = f"among the first {k}" if k > 1 else "first"
    said = [
        f"The chance is the share of {grouped(str(N_DRAWS_OF_LIST))} draws, from each appliance’s"
        f" figure pooled over all its testers and its uncertainty, in which it comes {place} of"
        f" the {len(chances)} ranked here. The order of the list goes by the newest runs alone, so"
        " the two may differ."
    ]
    unranked = len(rows) - len(chances)
    if unranked:
        said.append(
            "Not ranked is what has no measured value with an uncertainty, or only “at least”."
        )
    last = next((chances[r.public_id] for r in reversed(rows) if r.public_id in chances), None)
    if has_more and last is not None:
        said.append(
            f"Only these {len(rows)} are drawn. Those on later pages stand below them; the last one"
            f" drawn has a chance of {show_chance(last)}, which shows how little the rest, about"
            " as well known, could take from the first."
            if last < LITTLE
            else f"Only these {len(rows)} are drawn. The last one drawn still has a chance of"
            f" {show_chance(last)}: some on later pages may belong among the first as well, and"
            " the chances shown are then somewhat too high."
        )
    return tuple(said)
