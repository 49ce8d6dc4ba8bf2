"""A figure as one description. The table, the SVG and the plotly figure are all made from it.

One mark, one meaning: see `Mark`. Values are in the unit shown on their axis, never SI by accident:
the builders convert.
"""

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    SHAFT = "shaft"  # filled dot: at the shaft
    WALL = "wall"  # open diamond: drawn from the wall
    PRINTED = "printed"  # upright stroke: printed
    LIMIT = "limit"  # double hairline: a limit
    RANGE = "range"  # pale bar: a range
    INTERVAL = "interval"  # capped thin line: 95 % interval
    POINT = "point"  # cross: a measured load point
    AT_LEAST = "at least"  # arrow to the right
    LINE = "line"  # solid line: a fit, or a channel over time
    BAND = "band"  # pale area: 95 % band
    BEYOND = "beyond"  # dashes: prediction beyond the data
    SERIES = "series"  # the filled marker of one appliance in a comparison


# Filled markers of a comparison, in order. Open diamond and upright stroke are taken.
MARKERS: tuple[str, ...] = ("circle", "square", "triangle", "pentagon", "wedge", "star")


def series_role(index: int) -> str:
    """The colour role of the nth appliance in a comparison (0 to 5)."""
    return f"series-{index % len(MARKERS) + 1}"


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis from low to high. `second`: another unit's ticks beneath, (unit, size of one)."""

    label: str
    unit: str
    low: float
    high: float
    second: tuple[str, float] | None = None


@dataclass(frozen=True, slots=True)
class RowMark:
    """A mark on a row. For a range `value` is its start and `high` its end; for the others low
    and high are the ends of the 95 % interval."""

    mark: Mark
    value: float
    low: float | None = None
    high: float | None = None
    is_lower_bound: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    label: str
    marks: tuple[RowMark, ...]
    note: str = ""
    value: str = ""
    href: str | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """A line across all rows: the printed figure or a limit."""

    mark: Mark
    value: float
    label: str


@dataclass(frozen=True, slots=True)
class RowsPanel:
    """Rows on one axis; `heading` stands over the values at the right."""

    axis: Axis
    rows: tuple[Row, ...]
    rules: tuple[Rule, ...] = ()
    heading: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line with its 95 % half-width (empty: none); dashed where `beyond` is True.

    A y of None leaves a gap.
    """

    name: str
    role: str
    x: tuple[float, ...]
    y: tuple[float | None, ...]
    half_width: tuple[float, ...] = ()
    beyond: tuple[bool, ...] = ()


@dataclass(frozen=True, slots=True)
class Points:
    """Measured points; `marker` is "cross" or one of MARKERS; half-widths of 95 % where known."""

    name: str
    role: str
    marker: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    half_width: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the x axis with its name; `is_steady` ones are shaded."""

    low: float
    high: float
    label: str
    is_steady: bool = False


@dataclass(frozen=True, slots=True)
class Named:
    """A point of a curve that has a name of its own: a filled dot with its label."""

    x: float
    y: float
    label: str


@dataclass(frozen=True, slots=True)
class CurvesPanel:
    x: Axis
    y: Axis
    lines: tuple[Line, ...] = ()
    points: tuple[Points, ...] = ()
    spans: tuple[Span, ...] = ()
    named: tuple[Named, ...] = ()


@dataclass(frozen=True, slots=True)
class FlowEnd:
    label: str
    value: float
    text: str
    role: str


@dataclass(frozen=True, slots=True)
class FlowPanel:
    """Widths are watts: what comes in, and what it becomes. The parts add up to the source."""

    source: FlowEnd
    parts: tuple[FlowEnd, ...]


Panel = RowsPanel | CurvesPanel | FlowPanel


@dataclass(frozen=True, slots=True)
class KeyEntry:
    mark: Mark
    text: str
    role: str = "measured"
    marker: str = "circle"


@dataclass(frozen=True, slots=True)
class FigureTable:
    """The figure as a table of words, units in the headers or in the cells. `numeric`: columns
    (from 0) that are set to the right."""

    caption: str
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class FigureSpec:
    """`sentence` says what the picture shows, for those who do not see it. `empty`: what would
    fill it, set only where there is nothing to draw."""

    id: str
    title: str
    sentence: str
    panels: tuple[Panel, ...]
    table: FigureTable
    key: tuple[KeyEntry, ...] = ()
    notes: tuple[str, ...] = ()
    empty: str | None = None


def figure_table(spec: FigureSpec) -> FigureTable:
    """The figure's table: what the picture shows, in words."""
    return spec.table
