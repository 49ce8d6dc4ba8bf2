"""What making figures anew changes: one figure, one run, and the versions a run's figures have."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from server.model.measured import Finding, Metric
from server.model.words import FindingCode, MetricName, RunState


@dataclass(frozen=True, slots=True)
class MetricChange:
    """One figure before and after, in standard uncertainties of the old (`n_u`, signed).

    A figure that one of the two methods does not make is missing there, with that reason.
    `n_u` None: one of the two has no value, or neither states an uncertainty.
    """

    name: MetricName
    before: Metric
    after: Metric
    n_u: float | None


@dataclass(frozen=True, slots=True)
class RunChange:
    """What making a run's figures anew changes; nothing, where `is_new_set` is False."""

    public_id: str
    appliance: str
    method_before: str
    method_after: str
    is_new_set: bool
    metrics: tuple[MetricChange, ...]
    findings_new: tuple[FindingCode, ...]
    findings_gone: tuple[FindingCode, ...]
    state_before: RunState
    state_after: RunState


@dataclass(frozen=True, slots=True)
class RunVersion:
    """One set of figures of a run. `number` counts all its sets from 1 in the order made.

    A set that was never published keeps its number, so that an address means the same to all;
    only who may see the run unpublished sees it.
    """

    number: int
    method_version: str
    made_at: datetime
    is_current: bool
    was_published: bool


@dataclass(frozen=True, slots=True)
class VersionFigures:
    """The figures and findings of one version, as they were stored."""

    version: RunVersion
    metrics: Mapping[MetricName, Metric]
    findings: tuple[Finding, ...]
