"""The catalogue: one row per appliance. The address holds every filter, the sort and the place."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.model.views import CatalogueFilter, ListingRow, Page
from server.model.words import MetricName
from server.pages.catalogue_filter import (
    FIGURES,
    LIMIT,
    PATH,
    POWER_UNITS,
    SORTS,
    CatalogueForm,
    address,
    twin,
)
from server.pages.place_rows import PlacesShown
from server.pages.shapes import Head, Option
from server.wording.figures import (
    NOTHING_PRINTED,
    metric_label,
    show_metric,
    show_power,
    show_ratio,
    unbroken,
)


@dataclass(frozen=True, slots=True)
class ColumnHead:
    text: str
    href: str | None = None
    is_number: bool = True
    sorted: str | None = None


@dataclass(frozen=True, slots=True)
class CatalogueRow:
    id: str
    href: str
    name: str
    category: str
    printed: str
    rated: str
    steady: str
    ratio: str
    efficiency: str
    runs: str


@dataclass(frozen=True, slots=True)
class CataloguePage:
    head: Head
    title: str
    form: CatalogueForm
    categories: tuple[Option, ...]
    power_units: tuple[Option, ...]
    figures: tuple[Option, ...]
    sorts: tuple[Option, ...]
    orders: tuple[Option, ...]
    columns: tuple[ColumnHead, ...]
    rows: tuple[CatalogueRow, ...]
    problems: tuple[str, ...]
    is_narrowed: bool
    has_more_filters: bool
    sorted_by: str
    empty: str
    first_href: str | None
    next_href: str | None
    limit: int
    csv_href: str
    places: PlacesShown | None = None


def show_row(row: ListingRow) -> CatalogueRow:
    metrics = row.metrics
    return CatalogueRow(
        id=row.public_id,
        href=f"{PATH}/{row.public_id}-{row.slug}",
        name=f"{row.maker} {row.model}",
        category=row.category,
        printed=_printed(row),
        rated=show_metric(metrics.get(MetricName.SHAFT_POWER_AT_RATED_CURRENT)).text,
        steady=show_metric(metrics.get(MetricName.SHAFT_POWER_MAX_STEADY)).text,
        ratio=_ratio(row),
        efficiency=show_metric(metrics.get(MetricName.EFFICIENCY_MAX)).text,
        runs=str(row.n_runs),
    )


def _printed(row: ListingRow) -> str:
    if row.printed_power_typed:
        return unbroken(row.printed_power_typed)
    return NOTHING_PRINTED if row.printed_power_w is None else show_power(row.printed_power_w)


def _ratio(row: ListingRow) -> str:
    if row.printed_power_w is None:
        return NOTHING_PRINTED
    steady = row.metrics.get(MetricName.SHAFT_POWER_MAX_STEADY)
    text = show_ratio(row.ratio, row.ratio_standard_uncertainty)
    if steady is not None and steady.lower_bound and row.ratio is not None:
        return f"at least {show_ratio(row.ratio)}"
    return text


def catalogue_page(
    *,
    form: CatalogueForm,
    wanted: CatalogueFilter,
    found: Page[ListingRow],
    categories: Sequence[str],
    problems: Sequence[str],
    places: PlacesShown | None = None,
) -> CataloguePage:
    """`places`: how sure the place of each row is, where that can be said."""
    cursor = wanted.cursor
    plain = CatalogueForm(sort=form.sort, order=form.order)
    is_narrowed = address(form) != address(plain)
    name, rising, falling, _ = SORTS[form.sort]
    return CataloguePage(
        head=Head(
            title=_title(form),
            description="Mains-powered motor appliances: printed power beside measured figures.",
            path=address(form, cursor=cursor),
            section="appliances",
            json_path=twin(wanted),
            is_indexed=not is_narrowed and cursor is None,
        ),
        title=_title(form),
        form=form,
        categories=tuple(Option(word, word, word == form.category) for word in categories),
        power_units=tuple(Option(unit, unit, unit == form.printed_in) for unit in POWER_UNITS),
        figures=tuple(
            Option(figure.value, f"{metric_label(figure)}, {unit}", figure.value == form.figure)
            for figure, (unit, _) in FIGURES.items()
        ),
        sorts=tuple(Option(word, text[0], word == form.sort) for word, text in SORTS.items()),
        orders=(
            Option("", "the usual", form.order == ""),
            Option("rising", "rising", form.order == "rising"),
            Option("falling", "falling", form.order == "falling"),
        ),
        columns=_columns(form),
        rows=tuple(show_row(row) for row in found.items),
        problems=tuple(problems),
        is_narrowed=is_narrowed,
        has_more_filters=bool(form.figure or form.order or form.sort != "newest"),
        sorted_by=f"Sorted by {name}, {falling if form.is_falling else rising}.",
        empty=_empty(is_narrowed),
        first_href=address(form) if cursor else None,
        next_href=address(form, cursor=found.next) if found.next else None,
        limit=LIMIT,
        csv_href=twin(wanted, format="csv"),
        places=places,
    )


def _title(form: CatalogueForm) -> str:
    return f"Appliances: {form.category}" if form.category else "Appliances"


def _empty(is_narrowed: bool) -> str:
    if is_narrowed:
        return "No appliance fits these filters. A wider range or a shorter text finds more."
    return (
        "The catalogue is empty. An appliance comes in with its first run: send a brake-run log, "
        "say what is printed on the appliance, and it stands here."
    )


def _columns(form: CatalogueForm) -> tuple[ColumnHead, ...]:
    wanted = (
        ("Appliance", "maker", False),
        ("Printed", "printed_power", True),
        ("Shaft, at rated current", "shaft_power_at_rated_current", True),
        ("Shaft, highest steady", "shaft_power_max_steady", True),
        ("Highest steady ÷ printed", "ratio", True),
        ("Best efficiency", "efficiency_max", True),
    )
    heads = []
    for text, sort, is_number in wanted:
        is_sorted = sort == form.sort
        falls = not form.is_falling if is_sorted else SORTS[sort][3]
        order = "" if falls == SORTS[sort][3] else "falling" if falls else "rising"
        heads.append(
            ColumnHead(
                text=text,
                href=address(form, sort=sort, order=order),
                is_number=is_number,
                sorted=("descending" if form.is_falling else "ascending") if is_sorted else None,
            )
        )
    return (*heads, ColumnHead("Runs"))
