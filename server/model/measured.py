"""A measured figure, with what it lacks said in words."""

from dataclasses import dataclass, field
from typing import TypeAlias

from server.model.budget import BudgetLine
from server.model.words import METRIC_UNITS, FindingCode, Meaning, MetricName, Severity

JsonValue: TypeAlias = bool | int | float | str | list["JsonValue"] | dict[str, "JsonValue"] | None


COVERAGE = 0.95  # of every interval


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and its standard uncertainty, both in one SI unit."""

    value: float
    standard_uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class Metric:
    """One figure of a run, in SI. `value` None always comes with a `reason`.

    `lower_bound`: the value is the highest that was shown, the true one may be higher.
    `interval_*`: coverage interval of 95 %. `degrees_of_freedom` None: too many to matter.
    `method`: "gum" or "monte carlo", whichever the interval was made by.
    """

    name: MetricName
    value: float | None
    standard_uncertainty: float | None = None
    lower_bound: bool = False
    reason: str | None = None
    interval_low: float | None = None
    interval_high: float | None = None
    degrees_of_freedom: float | None = None
    method: str | None = None
    budget: tuple[BudgetLine, ...] = ()

    @property
    def unit(self) -> str:
        return METRIC_UNITS[self.name]

    @classmethod
    def missing(cls, name: MetricName, reason: str) -> "Metric":
        return cls(name=name, value=None, reason=reason)


@dataclass(frozen=True, slots=True)
class Finding:
    """Something the numbers show that a reader must know. Words are made in `wording/`."""

    code: FindingCode
    severity: Severity
    evidence: dict[str, JsonValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MeaningReading:
    """One meaning of "power" beside a claim. Watts (volt-amperes for the plug's circuit).

    `probability_reached`: that the true value reaches the claim; of a lower bound, a least one.
    `guard_band`: how far from the claim a verdict begins, in the value's unit.
    """

    meaning: Meaning
    value: float | None
    standard_uncertainty: float | None = None
    ratio: float | None = None
    ratio_standard_uncertainty: float | None = None
    lower_bound: bool = False
    reason: str | None = None
    probability_reached: float | None = None
    verdict: str | None = None
    guard_band: float | None = None
