"""A measured figure, with what it lacks said in words."""

from dataclasses import dataclass, field
from typing import TypeAlias

from server.model.words import METRIC_UNITS, FindingCode, Meaning, MetricName, Severity

JsonValue: TypeAlias = bool | int | float | str | list["JsonValue"] | dict[str, "JsonValue"] | None


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and its standard uncertainty, both in one SI unit."""

    value: float
    standard_uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class Metric:
    """One figure of a run, in SI. `value` None always comes with a `reason`.

    `lower_bound`: the value is the highest that was shown, the true one may be higher.
    """

    name: MetricName
    value: float | None
    standard_uncertainty: float | None = None
    lower_bound: bool = False
    reason: str | None = None

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
    """One meaning of "power" beside a claim. Watts (volt-amperes for the plug's circuit)."""

    meaning: Meaning
    value: float | None
    standard_uncertainty: float | None = None
    ratio: float | None = None
    ratio_standard_uncertainty: float | None = None
    lower_bound: bool = False
    reason: str | None = None
