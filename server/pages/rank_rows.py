"""How sure a rank is, in the table of appliances side by side."""

from collections.abc import Mapping, Sequence

from server.actions.rank_appliances import N_DRAWS, RANKED
from server.model.pooled import MetricPooling
from server.model.views import ApplianceView
from server.pages.side_by_side import Cell, MetricRow, name_of
from server.wording.counts import count_of
from server.wording.figures import NOT_MEASURED, metric_label, shown_scale
from server.wording.numbers import grouped
from server.wording.pooled import show_chance, show_pooled

NOT_RANKED = "not ranked"
SURE = 0.95
CHANCE = "Chance of being the highest"


def rank_rows(
    views: Sequence[ApplianceView],
    pooled: Mapping[str, MetricPooling],
    chances: Mapping[str, float],
) -> tuple[MetricRow, ...]:
    """The pooled figure of each appliance, and the chance that it is the highest of them."""
    if not chances:
        return ()
    ids = [view.appliance.public_id for view in views]
    return (
        MetricRow(f"{metric_label(RANKED)}, pooled", tuple(_figure(pooled.get(i)) for i in ids)),
        MetricRow(CHANCE, tuple(_chance(chances.get(i)) for i in ids)),
    )


def rank_sentences(
    views: Sequence[ApplianceView],
    pooled: Mapping[str, MetricPooling],
    chances: Mapping[str, float],
) -> tuple[str, ...]:
    """What the chance means and what it leaves open, plainly."""
    if not chances:
        return ()
    sentences = [
        f"The chance of being the highest is the share of {grouped(str(N_DRAWS))} draws from the"
        " pooled figures and their uncertainties in which that appliance comes out on top; few"
        " testers make it less sure."
    ]
    if max(chances.values()) < SURE:
        sentences.append(
            "“Clearly most” goes by each appliance’s newest run alone; over all testers the highest"
            " is less sure."
        )
    single, unranked = [], []
    for view in views:
        one = pooled.get(view.appliance.public_id)
        if view.appliance.public_id not in chances:
            unranked.append(name_of(view))
        elif one is not None and one.pooling is not None and one.pooling.n_testers == 1:
            single.append(name_of(view))
    if single:
        sentences.append(
            f"One tester only: {', '.join(single)}. What another tester would find is not in that"
            " chance."
        )
    if unranked:
        sentences.append(
            f"Not ranked: {', '.join(unranked)}, for want of a measured value that is more than"
            " “at least”."
        )
    return tuple(sentences)


def _figure(one: MetricPooling | None) -> Cell:
    if one is None or one.pooling is None:
        return Cell(NOT_MEASURED, is_missing=True)
    unit, scale = shown_scale(one.unit, one.metric)
    testers = count_of(one.pooling.n_testers, "tester")
    return Cell(show_pooled(one.pooling.pooled, unit, scale), note=testers)


def _chance(probability: float | None) -> Cell:
    if probability is None:
        return Cell(NOT_RANKED, is_missing=True)
    return Cell(show_chance(probability))
