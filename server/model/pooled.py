"""Results of several testers and what they say together. One quantity, one unit throughout."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from server.model.measured import Metric
from server.model.words import METRIC_UNITS, MetricName

# Beyond these, which no bench test comes near, powers of the figures leave what a float can hold.
LARGEST = 1e40
SMALLEST_U = 1e-40


class Level(StrEnum):
    """Where results can differ, from the widest to the narrowest."""

    TESTER = "between testers"
    SPECIMEN = "between specimens"
    RUN = "between runs"
    READING = "within a run"


@dataclass(frozen=True, slots=True)
class BenchResult:
    """One result of one tester.

    `standard_uncertainty`: of this result, instruments included; given for all results or for none.
    `run`: results with the same tester, specimen and run are readings of one run; None: a run of
    its own. `u_within_run`: its scatter within the run alone, where that is known.
    """

    tester: str
    value: float
    standard_uncertainty: float | None = None
    specimen: str | None = None
    run: str | None = None
    u_within_run: float | None = None


@dataclass(frozen=True, slots=True)
class PooledFigure:
    """`standard_uncertainty` and the interval's ends are None where there is no telling."""

    value: float
    standard_uncertainty: float | None
    low: float | None
    high: float | None
    coverage: float
    degrees_of_freedom: int | None


@dataclass(frozen=True, slots=True)
class PerTester:
    """One tester among the others. `n` runs, their mean, `sd` among them (None for one run).

    `h`: how far the mean stands from the others', `k`: how large the scatter is beside theirs.
    `critical_k` belongs to this tester's own number of runs. `zeta`: distance from the others'
    pooled figure in standard uncertainties; flagged only where testers are too few for h.
    """

    tester: str
    n: int
    value: float
    standard_uncertainty: float | None
    sd: float | None
    h: float | None = None
    k: float | None = None
    critical_k: float | None = None
    is_h_flagged: bool = False
    is_k_flagged: bool = False
    zeta: float | None = None
    is_zeta_flagged: bool = False

    @property
    def is_flagged(self) -> bool:
        """By h or k, as the standards do."""
        return self.is_h_flagged or self.is_k_flagged


@dataclass(frozen=True, slots=True)
class VarianceComponent:
    """Standard deviation that one level adds. None always comes with a `reason`.

    `includes`: narrower levels that the layout can't tell from this one.
    """

    level: Level
    sd: float | None
    degrees_of_freedom: int | None = None
    reason: str | None = None
    includes: tuple[Level, ...] = ()


@dataclass(frozen=True, slots=True)
class Pooling:
    """What several testers' results say together. None always has its reason in `reasons`.

    `q_probability`: chance of a Q this large or larger among testers who agree.
    """

    n_testers: int
    n_results: int
    pooled: PooledFigure
    between_tester_sd: float | None
    repeatability_sd: float | None
    reproducibility_sd: float | None
    testers: tuple[PerTester, ...]
    critical_h: float | None
    critical_k: float | None
    q: float | None = None
    q_probability: float | None = None
    i_squared: float | None = None
    birge_ratio: float | None = None
    components: tuple[VarianceComponent, ...] = ()
    reasons: Mapping[str, str] = field(default_factory=dict)


# The figures that are pooled over an appliance's runs, the most asked for first. Free speed is not
# among them: each rig's own drag is the load it is measured at.
HEADLINE = (
    MetricName.SHAFT_POWER_MAX_STEADY,
    MetricName.SHAFT_POWER_AT_RATED_CURRENT,
    MetricName.SHAFT_POWER_MAX_MOMENTARY,
    MetricName.EFFICIENCY_AT_RATED_CURRENT,
    MetricName.EFFICIENCY_MAX,
)


@dataclass(frozen=True, slots=True)
class PublishedRun:
    """A published brake run with its current headline figures.

    `instruments`: the name of each channel's instrument, where it has one. `is_supply_off`: the
    supply was off the plate's voltage, which moves figures as tested. `method_version`: which
    made the figures. These two and the metrics' budgets come only where the whole was asked for.
    """

    public_id: str
    tester: str
    tester_id: str
    specimen_id: str
    specimen: str | None
    condition: str | None
    tested_on: date | None
    instruments: Mapping[str, str]
    metrics: Mapping[MetricName, Metric]
    is_supply_off: bool = False
    method_version: str = ""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A run whose figure is not pooled with the others', and why."""

    run: PublishedRun
    reason: str


@dataclass(frozen=True, slots=True)
class MetricPooling:
    """One figure over an appliance's runs. `pooling` None: no run has it with a value to pool.

    `runs`: those that count. `shared_uncertainty`: of what all testers had in common.
    """

    metric: MetricName
    pooling: Pooling | None
    runs: tuple[PublishedRun, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    shared_uncertainty: float = 0.0

    @property
    def unit(self) -> str:
        return METRIC_UNITS[self.metric]

    @property
    def method_versions(self) -> tuple[str, ...]:
        """Which made the pooled figures; more than one while a recompute is partly done."""
        return tuple(sorted({run.method_version for run in self.runs if run.method_version}))
