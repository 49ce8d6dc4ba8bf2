"""Two to six appliances side by side: the table first, the curves after."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.charts.figure import MARKERS
from server.charts.shapes import marker_d
from server.model.bench import Claim
from server.model.measured import Measured, Metric
from server.model.views import ApplianceView, ListingRow
from server.model.words import MetricName
from server.pages.kept_pictures import compared_along_the_load
from server.pages.shapes import FigureShown, Head, Link, Option
from server.wording.comparison import (
    CLEARLY_MOST,
    clearly_most,
    clearly_most_ratio,
    order_sentence,
    side_by_side_title,
)
from server.wording.figures import (
    NOT_MEASURED,
    NOTHING_PRINTED,
    metric_label,
    show_metric,
    show_ratio,
    unbroken,
)

PATH = "/side-by-side"
FEWEST, MOST = 2, 6

COMPARED: tuple[MetricName, ...] = (
    MetricName.SHAFT_POWER_AT_RATED_CURRENT,
    MetricName.SHAFT_POWER_MAX_STEADY,
    MetricName.SHAFT_POWER_MAX_MOMENTARY,
    MetricName.EFFICIENCY_AT_RATED_CURRENT,
    MetricName.EFFICIENCY_MAX,
    MetricName.FREE_SPEED,
    MetricName.SPEED_AT_MAX_STEADY_POWER,
    MetricName.CURRENT_AT_MAX_STEADY_POWER,
    MetricName.INPUT_POWER_AT_MAX_STEADY_POWER,
)


@dataclass(frozen=True, slots=True)
class Compared:
    """One appliance of the comparison, with its marker."""

    id: str
    name: str
    href: str
    series: int
    mark: str
    without_href: str | None


@dataclass(frozen=True, slots=True)
class Cell:
    text: str
    is_missing: bool = False
    verdict: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class MetricRow:
    label: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class SideBySidePage:
    head: Head
    title: str
    appliances: tuple[Compared, ...]
    rows: tuple[MetricRow, ...]
    sentences: tuple[str, ...]
    load: tuple[FigureShown, ...]
    exports: tuple[Link, ...]
    can_add: bool
    add_title: str
    text: str
    picks_title: str
    picks: tuple[Option, ...]
    problems: tuple[str, ...]


def address(ids: Sequence[str]) -> str:
    return f"{PATH}?{urlencode([('appliance', one) for one in ids])}" if ids else PATH


def name_of(view: ApplianceView) -> str:
    return f"{view.appliance.content.maker} {view.appliance.content.model}"


def side_by_side_page(
    views: Sequence[ApplianceView],
    *,
    text: str,
    found: Sequence[ListingRow],
    problems: Sequence[str],
    rank_rows: tuple[MetricRow, ...] = (),
    rank_sentences: tuple[str, ...] = (),
) -> SideBySidePage:
    """`rank_rows`, `rank_sentences`: how sure it is which one stands highest."""
    ids = [view.appliance.public_id for view in views]
    is_whole = len(views) >= FEWEST
    title = _title(views)
    named = [
        (name_of(view), view.best.reduction)
        for view in views
        if view.best is not None and view.best.reduction is not None
    ]
    picks = tuple(
        Option(row.public_id, f"{row.maker} {row.model}, {row.category}")
        for row in found
        if row.public_id not in ids
    )
    return SideBySidePage(
        head=Head(
            title=title,
            description=_description(views),
            path=address(ids),
            section="side-by-side",
            json_path=f"/api/v1/compare?{urlencode([('appliance', i) for i in ids])}"
            if is_whole
            else None,
        ),
        title=title,
        appliances=tuple(_compared(view, n, ids) for n, view in enumerate(views)),
        rows=(*_rows(views), *rank_rows) if is_whole else (),
        sentences=(*_sentences(views), *rank_sentences) if is_whole else (),
        load=(compared_along_the_load(named),) if is_whole and len(named) > 1 else (),
        exports=_exports(ids) if is_whole else (),
        can_add=len(views) < MOST,
        add_title="Add an appliance" if views else "Choose appliances",
        text=text,
        picks_title="Found" if text else "Newest in the catalogue",
        picks=picks,
        problems=tuple(problems),
    )


def _exports(ids: Sequence[str]) -> tuple[Link, ...]:
    api = f"/api/v1/compare?{urlencode([('appliance', one) for one in ids])}"
    return (
        Link("This comparison as JSON", api),
        Link("This comparison as CSV", f"{api}&format=csv"),
    )


def _title(views: Sequence[ApplianceView]) -> str:
    if len(views) < FEWEST:
        return "Side by side"
    return side_by_side_title([view.appliance.content.category for view in views])


def _description(views: Sequence[ApplianceView]) -> str:
    if len(views) < FEWEST:
        return "Set the printed and the measured figures of two to six appliances side by side."
    return "Printed and measured figures of " + ", ".join(name_of(view) for view in views) + "."


def _compared(view: ApplianceView, number: int, ids: Sequence[str]) -> Compared:
    own = view.appliance.public_id
    others = [one for one in ids if one != own]
    return Compared(
        id=own,
        name=name_of(view),
        href=f"/appliances/{own}-{view.appliance.slug}",
        series=number + 1,
        mark=marker_d(MARKERS[number], 6, 6),
        without_href=address(others) if len(ids) > FEWEST else None,
    )


def _metric(view: ApplianceView, name: MetricName) -> Metric | None:
    if view.best is None or view.best.reduction is None:
        return None
    return view.best.reduction.metrics.get(name)


def _rows(views: Sequence[ApplianceView]) -> tuple[MetricRow, ...]:
    rows = [MetricRow("Printed", tuple(_printed(view) for view in views))]
    for name in COMPARED:
        metrics = [_metric(view, name) for view in views]
        if any(metric is not None and metric.value is not None for metric in metrics):
            rows.append(_metric_row(metric_label(name), metrics))
        if name is MetricName.SHAFT_POWER_MAX_STEADY:
            rows.append(_ratio_row(views))
    return (*rows, MetricRow("Method", tuple(_method(view) for view in views)))


def _method(view: ApplianceView) -> Cell:
    if view.best is None or view.best.reduction is None:
        return Cell(NOT_MEASURED, is_missing=True)
    return Cell(view.best.reduction.method_version)


def _metric_row(label: str, metrics: Sequence[Metric | None]) -> MetricRow:
    most = clearly_most(metrics)
    cells = []
    for number, metric in enumerate(metrics):
        shown = show_metric(metric)
        verdict = CLEARLY_MOST if number == most else None
        cells.append(Cell(shown.text, shown.is_missing, verdict))
    return MetricRow(label, tuple(cells))


def _claim(view: ApplianceView) -> Claim | None:
    """The highest power printed: what the catalogue shows too."""
    powers = [claim for claim in view.claims if claim.quantity == "power"]
    return max(powers, key=lambda claim: claim.value_si, default=None)


def _printed(view: ApplianceView) -> Cell:
    claim = _claim(view)
    if claim is None:
        return Cell(NOTHING_PRINTED, is_missing=True)
    return Cell(unbroken(claim.value_typed))


def _ratio_row(views: Sequence[ApplianceView]) -> MetricRow:
    """Highest steady over printed; the printed figure has no uncertainty of its own."""
    cells: list[Cell] = []
    ratios: list[Measured | None] = []
    has_bound = False
    for view in views:
        claim, metric = _claim(view), _metric(view, MetricName.SHAFT_POWER_MAX_STEADY)
        if claim is None or metric is None or metric.value is None:
            cells.append(Cell(NOTHING_PRINTED if claim is None else NOT_MEASURED, is_missing=True))
            ratios.append(None)
            continue
        u = metric.standard_uncertainty
        ratio = metric.value / claim.value_si
        u_ratio = None if u is None else u / claim.value_si
        has_bound = has_bound or metric.lower_bound or u is None
        at_least = f"at least {show_ratio(ratio)}"
        cells.append(Cell(at_least if metric.lower_bound else show_ratio(ratio, u_ratio)))
        ratios.append(Measured(ratio, u_ratio))
    most = None if has_bound else clearly_most_ratio(ratios)
    if most is not None:
        cells[most] = Cell(cells[most].text, verdict=CLEARLY_MOST)
    return MetricRow("Highest steady ÷ printed", tuple(cells))


def _sentences(views: Sequence[ApplianceView]) -> tuple[str, ...]:
    claims = [_claim(view) for view in views]
    sentence = order_sentence(
        [name_of(view) for view in views],
        [None if claim is None else claim.value_si for claim in claims],
        [_metric(view, MetricName.SHAFT_POWER_MAX_STEADY) for view in views],
    )
    return (sentence,) if sentence else ()
