"""Small pieces that the contexts of several pages are made of. Every text is already as shown."""

from dataclasses import dataclass

from server.charts.figure import FigureTable


@dataclass(frozen=True, slots=True)
class Head:
    """What the head of a page says: title, one line about it, its canonical address, its twin.

    `section` is the entry of the main navigation that the page belongs to.
    """

    title: str
    description: str
    path: str
    section: str = ""
    json_path: str | None = None
    kind: str = "website"
    is_indexed: bool = True


@dataclass(frozen=True, slots=True)
class Link:
    text: str
    href: str


@dataclass(frozen=True, slots=True)
class Value:
    """A label with its value."""

    label: str
    text: str
    note: str | None = None
    href: str | None = None
    is_missing: bool = False
    is_printed: bool = False


@dataclass(frozen=True, slots=True)
class Option:
    """One choice of a select."""

    value: str
    text: str
    is_chosen: bool = False


@dataclass(frozen=True, slots=True)
class FigureShown:
    """A picture in three widths, its table, and the same for the chart library (None: no chart).

    `wide`, `middle`, `narrow` are SVG and `plotly` JSON without "<": they stand in the page as
    they are.
    """

    id: str
    caption: str | None
    wide: str
    middle: str
    narrow: str
    table: FigureTable
    plotly: str | None = None
    links: tuple[Link, ...] = ()


@dataclass(frozen=True, slots=True)
class PhotoShown:
    """A photograph as it may be shown: re-encoded here. `thumb` is its small form."""

    href: str
    thumb: str
    alt: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class FindingShown:
    weight: str
    weight_class: str
    message: str
    remedy: str | None
    where: str | None


@dataclass(frozen=True, slots=True)
class ChangeShown:
    iso: str
    day: str
    text: str


@dataclass(frozen=True, slots=True)
class FigureCell:
    label: str
    text: str
    is_missing: bool = False
    href: str | None = None


@dataclass(frozen=True, slots=True)
class RunShown:
    """A run in a table of runs."""

    name: str
    href: str
    appliance: str
    appliance_href: str
    specimen: str
    tester: str
    figures: tuple[FigureCell, ...]
    standing: str


@dataclass(frozen=True, slots=True)
class ClaimShown:
    """One power claim of an appliance, read every way."""

    id: str
    title: str
    wording: str | None
    figure: FigureShown | None
    sentences: tuple[str, ...] = ()
    verdicts: FigureTable | None = None
    rule: str = ""
    rule_links: tuple[Link, ...] = ()
