"""What narrows and sorts the catalogue: from an address to the store's filter and back."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from server.model.views import CatalogueFilter
from server.model.words import MetricName
from server.wording.figures import RAD_S_PER_R_MIN, WATTS_PER_HP, metric_label

PATH = "/appliances"
LIMIT = 50
POWER_UNITS: dict[str, float] = {"hp": WATTS_PER_HP["hp"], "W": 1.0, "kW": 1000.0}

# sort word -> (its name, how it reads rising, how it reads falling, falling first)
SORTS: dict[str, tuple[str, str, str, bool]] = {
    "newest": ("newest figures", "oldest first", "newest first", True),
    "maker": ("maker and model", "A to Z", "Z to A", False),
    "printed_power": ("printed power", "smallest first", "largest first", True),
    "shaft_power_at_rated_current": (
        "shaft, at rated current", "smallest first", "largest first", True),
    "shaft_power_max_steady": ("shaft, highest steady", "smallest first", "largest first", True),
    "efficiency_max": ("best efficiency", "lowest first", "highest first", True),
    "ratio": ("highest steady ÷ printed", "smallest first", "largest first", True),
}  # fmt: skip

# Figures that can be filtered by: (name, unit shown, SI of one of it).
FIGURES: dict[MetricName, tuple[str, float]] = {
    MetricName.SHAFT_POWER_AT_RATED_CURRENT: ("W", 1.0),
    MetricName.SHAFT_POWER_MAX_STEADY: ("W", 1.0),
    MetricName.SHAFT_POWER_MAX_MOMENTARY: ("W", 1.0),
    MetricName.EFFICIENCY_MAX: ("%", 0.01),
    MetricName.FREE_SPEED: ("r/min", RAD_S_PER_R_MIN),
}


@dataclass(frozen=True, slots=True)
class CatalogueForm:
    """What was typed into the filters, kept as it was typed."""

    text: str = ""
    category: str = ""
    printed_from: str = ""
    printed_to: str = ""
    printed_in: str = "hp"
    figure: str = ""
    figure_from: str = ""
    figure_to: str = ""
    sort: str = "newest"
    order: str = ""

    @property
    def is_falling(self) -> bool:
        return SORTS[self.sort][3] if self.order == "" else self.order == "falling"


def read_form(query: Mapping[str, str]) -> CatalogueForm:
    """The filters of an address; words that are not known fall back to what they stand beside."""
    sort = query.get("sort", "newest")
    unit = query.get("printed_in", "hp")
    order = query.get("order", "")
    return CatalogueForm(
        text=query.get("text", "").strip(),
        category=query.get("category", ""),
        printed_from=query.get("printed_from", "").strip(),
        printed_to=query.get("printed_to", "").strip(),
        printed_in=unit if unit in POWER_UNITS else "hp",
        figure=query.get("figure", ""),
        figure_from=query.get("from", "").strip(),
        figure_to=query.get("to", "").strip(),
        sort=sort if sort in SORTS else "newest",
        order=order if order in {"rising", "falling"} else "",
    )


def read_filter(form: CatalogueForm, cursor: str | None) -> tuple[CatalogueFilter, list[str]]:
    """The store's filter, and what could not be read of the form."""
    problems: list[str] = []
    scale = POWER_UNITS[form.printed_in]
    printed = _range(form.printed_from, form.printed_to, scale, "Printed power", problems)
    ranges = {}
    figure = next((name for name in FIGURES if name.value == form.figure), None)
    if figure is not None:
        bounds = _range(
            form.figure_from, form.figure_to, FIGURES[figure][1], metric_label(figure), problems
        )
        if bounds != (None, None):
            ranges[figure] = bounds
    elif form.figure_from or form.figure_to:
        problems.append("Choose which measured figure the range is for.")
    wanted = CatalogueFilter(
        text=form.text or None,
        category=form.category or None,
        printed_power_w=printed,
        metric_ranges=ranges,
        sort=form.sort,
        descending=form.is_falling,
        cursor=cursor,
        limit=LIMIT,
    )
    return wanted, problems


def _range(
    low: str, high: str, scale: float, label: str, problems: list[str]
) -> tuple[float | None, float | None]:
    bounds: list[float | None] = []
    for typed in (low, high):
        number = _number(typed)
        if typed and number is None:
            problems.append(f"{label}: “{typed}” is not a number, so it was left out.")
        bounds.append(None if number is None else number * scale)
    return bounds[0], bounds[1]


def _number(typed: str) -> float | None:
    try:
        number = float(typed.replace(" ", "").replace(",", "."))
    except ValueError:
        return None
    return number if abs(number) < 1e12 else None


def address(form: CatalogueForm, **changes: str | None) -> str:
    """The address of the catalogue with these filters; what is empty or usual is left out."""
    words: dict[str, str | None] = {
        "text": form.text,
        "category": form.category,
        "printed_from": form.printed_from,
        "printed_to": form.printed_to,
        "printed_in": form.printed_in if form.printed_from or form.printed_to else "",
        "figure": form.figure,
        "from": form.figure_from,
        "to": form.figure_to,
        "sort": form.sort if form.sort != "newest" else "",
        "order": form.order,
        **changes,
    }
    kept = {name: word for name, word in words.items() if word}
    return f"{PATH}?{urlencode(kept)}" if kept else PATH


def twin(wanted: CatalogueFilter, **changes: str) -> str:
    """The address of the same list as JSON or CSV, its ranges in SI."""
    words: dict[str, object] = {
        "text": wanted.text,
        "category": wanted.category,
        "printed_power_min": wanted.printed_power_w[0],
        "printed_power_max": wanted.printed_power_w[1],
    }
    for name, (low, high) in wanted.metric_ranges.items():
        words |= {f"{name.value}_min": low, f"{name.value}_max": high}
    words |= {
        "sort": wanted.sort,
        "order": "falling" if wanted.descending else "rising",
        "cursor": wanted.cursor,
        **changes,
    }
    kept = {name: word for name, word in words.items() if word is not None}
    return f"/api/v1{PATH}?{urlencode(kept)}"
