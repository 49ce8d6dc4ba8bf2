"""The front page: what this is, printed beside measured, and what is new."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.charts import printed_and_measured
from server.model.views import ListingRow, RunRow
from server.pages.pictures import show_figure
from server.pages.rows import show_runs
from server.pages.shapes import FigureShown, Head, RunShown
from server.wording.counts import count_of

N_ROWS = 12
N_RUNS = 6

HEAD = Head(
    title="Benchledger: what the label says, what the bench shows",
    description=(
        "Bench tests of mains-powered motor appliances: printed power beside what brake runs "
        "show, each figure with its uncertainty, its run and its file."
    ),
    path="/",
    json_path="/api/v1/appliances?sort=newest",
)
CHOSEN = (
    "The {n} appliances with a printed power whose figures are newest, the smallest share of the "
    "printed figure first. Each row is one run, the appliance’s newest published brake run."
)


@dataclass(frozen=True, slots=True)
class FrontPage:
    head: Head
    basis: str
    figure: FigureShown | None
    runs: tuple[RunShown, ...]


def front_page(
    *, rows: Sequence[ListingRow], runs: Sequence[RunRow], categories: Sequence[tuple[str, int]]
) -> FrontPage:
    n_appliances = sum(n for _, n in categories)
    basis = (
        f"{count_of(n_appliances, 'appliance')} in {count_of(len(categories), 'category')} · "
        if n_appliances
        else ""
    )
    return FrontPage(
        head=HEAD,
        basis=basis,
        figure=_figure(rows),
        runs=show_runs(runs),
    )


def _figure(rows: Sequence[ListingRow]) -> FigureShown | None:
    if not rows:
        return None
    ordered = sorted(rows, key=lambda row: (row.ratio is None, row.ratio or 0.0))
    how_chosen = CHOSEN.format(n=len(ordered))
    spec = printed_and_measured(
        ordered,
        address=lambda row: f"/appliances/{row.public_id}-{row.slug}",
        how_chosen=how_chosen,
    )
    return show_figure(spec, caption=how_chosen, explore=False)
