"""Shapes that several resources share. The contract's words; values in SI beside their unit."""

from datetime import date
from typing import Annotated, Generic, TypeVar

from fastapi import Path, Query
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

from server.errors import NotFound

T = TypeVar("T")

_ID_LETTERS = frozenset("0123456789abcdefghijklmnopqrstuvwxyz")


def _usable_id(value: str) -> str:
    """An address that can't be one is an address where nothing is: 404, not 422."""
    if len(value) != 10 or not _ID_LETTERS.issuperset(value):
        raise NotFound(f"Nothing is stored as “{value[:40]}”. An id has ten letters and digits.")
    return value


PublicId = Annotated[
    str,
    AfterValidator(_usable_id),
    Path(description="The ten-character id of its address", examples=["4k7p2m9xq1"]),
]
IdWord = Annotated[
    str, StringConstraints(pattern=r"^[0-9a-z]{10}$"), Field(examples=["4k7p2m9xq1"])
]
Cursor = Annotated[
    str | None,
    Query(
        max_length=400,
        pattern=r"^[A-Za-z0-9_=.~-]*$",
        description="The `next` of the page before; opaque",
    ),
]
Limit = Annotated[int, Query(ge=1, le=200, description="How many items at most")]
Line = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True, min_length=1, max_length=200, pattern=r"^[^\x00-\x1f]*$"
    ),
]
Text = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=10_000, pattern=r"^[^\x00]*$")
]
QuantityText = Annotated[str, StringConstraints(min_length=1, max_length=80, pattern=r"^[^\x00]*$")]


class In(BaseModel):
    """What a client sends. A word that is not known is refused, never dropped in silence."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Out(BaseModel):
    """What a client gets. Each field is written out; no stored object is sent as it is."""

    model_config = ConfigDict(frozen=True, defer_build=True)


class ListOut(Out, Generic[T]):
    """One page of a list. `next` goes into `cursor` for the following one; null at the end."""

    items: list[T]
    next: str | None = None


class ProblemPlace(Out):
    message: str
    remedy: str
    row: int | None
    column: str | None
    field: str | None


class ProblemOut(Out):
    """RFC 9457 problem document. `problems`: everything that stands in the way, at once."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "type": "/api/v1/problems/unusable-log",
                    "title": "This log can't be used",
                    "status": 422,
                    "detail": "run-3.csv: row 14, column “Torque”: “1..2” is no number. "
                    "Write a number, or leave the cell empty.",
                    "problems": [
                        {
                            "message": "“1..2” is no number.",
                            "remedy": "Write a number, or leave the cell empty.",
                            "row": 14,
                            "column": "Torque",
                            "field": None,
                        }
                    ],
                    "request_id": "5f0c6f1f9d3b7a11",
                }
            ]
        }
    )
    type: str
    title: str
    status: int
    detail: str
    problems: list[ProblemPlace]
    request_id: str | None = None


class QuantityOut(Out):
    """A stated quantity: SI value and unit, and what was typed."""

    value: float
    unit: str
    typed: str | None = None


class IntervalOut(Out):
    """A coverage interval, in the figure's unit."""

    low: float
    high: float
    coverage: float


class BudgetLineOut(Out):
    """What one component adds to a figure's variance: `share`, from 0 to 1."""

    component: str
    standard_uncertainty: float
    distribution: str
    sensitivity: float
    share: float


class MetricOut(Out):
    """A measured figure in SI. `value` null comes with a `reason`.

    With `lower_bound` the value is the highest that was shown; the true one may be higher.
    Interval and budget come with a run's own figures, not in lists; a comparison has the intervals.
    `degrees_of_freedom` null: too many to matter.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "value": 642.1,
                    "unit": "W",
                    "standard_uncertainty": 7.2,
                    "lower_bound": False,
                    "reason": None,
                    "interval": {"low": 628.4, "high": 656.0, "coverage": 0.95},
                    "degrees_of_freedom": 38.2,
                    "method": "gum",
                    "budget": [
                        {
                            "component": "torque: % of reading",
                            "standard_uncertainty": 0.0029,
                            "distribution": "rectangular",
                            "sensitivity": 642.1,
                            "share": 0.067,
                        }
                    ],
                }
            ]
        }
    )
    value: float | None
    unit: str
    standard_uncertainty: float | None
    lower_bound: bool
    reason: str | None
    interval: IntervalOut | None = None
    degrees_of_freedom: float | None = None
    method: str | None = None
    budget: list[BudgetLineOut] = []


class ReasonIn(In):
    reason: Annotated[
        str,
        StringConstraints(
            strip_whitespace=True, min_length=3, max_length=2000, pattern=r"^[^\x00]*$"
        ),
    ] = Field(examples=["The arm was measured wrongly; a new run follows."])


class PlateIn(In):
    """The rating plate, each quantity with its unit. Every field may be absent."""

    voltage: QuantityText | None = Field(None, examples=["120 V"])
    supply: str | None = Field(None, pattern="^(AC|DC)$", examples=["AC"])
    frequency: QuantityText | None = Field(None, examples=["60 Hz"])
    current: QuantityText | None = Field(None, examples=["10.2 A"])
    power: QuantityText | None = Field(None, examples=["1100 W"])
    speed: QuantityText | None = Field(None, examples=["20000 rpm"])
    duty: Line | None = Field(None, examples=["S1"])
    motor_family: str | None = Field(
        None, pattern="^(series|permanent magnet|induction|unknown)$", examples=["series"]
    )
    circuit: QuantityText | None = Field(None, examples=["15 A"])


class PlateOut(Out):
    """A rating plate; `revision` where it is told apart from earlier ones."""

    revision: int | None
    voltage: QuantityOut | None
    supply: str | None
    frequency: QuantityOut | None
    current: QuantityOut | None
    power: QuantityOut | None
    speed: QuantityOut | None
    duty: str | None
    motor_family: str
    circuit: QuantityOut | None


class ClaimIn(In):
    """A printed figure with its exact wording."""

    quantity: Line = Field("power", examples=["power"])
    value: QuantityText = Field(examples=["5 hp"])
    wording: Line = Field(examples=["5.0 Peak HP*"])
    where_printed: Line | None = Field(None, examples=["front of the box"])
    footnote: Text | None = Field(None, examples=["* not achieved in use"])
    seen_on: date | None = Field(None, examples=["2026-11-02"])


class ClaimOut(Out):
    """What is printed about an appliance. `id` where it stands by itself."""

    id: str | None
    quantity: str
    value: QuantityOut
    wording: str
    where_printed: str | None
    footnote: str | None
    seen_on: date | None
