"""What a tester finds on their own bench: what waits for them, and what became of their runs."""

import calendar
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from server.model.bench import Rig
from server.model.people import ConcernKind, ConcernState
from server.model.pooled import PooledFigure
from server.model.views import DraftView, RunRow, Stored
from server.model.words import Channel, MetricName

# Common practice, no source: a year between calibrations, unless drift or use says otherwise.
CALIBRATION_MONTHS = 12
MOST_MONTHS = 120
SOON_DAYS = 60


@dataclass(frozen=True, slots=True)
class Calibration:
    """An instrument of a rig as it stands now. `due` None: the rig says no date."""

    rig_id: str
    rig: str
    channel: Channel
    instrument: str | None
    calibrated: date | None
    due: date | None


@dataclass(frozen=True, slots=True)
class RemarkOnRun:
    """What a maintainer asks to have corrected, and the field it concerns."""

    field: str
    text: str | None
    created_at: datetime


@dataclass(frozen=True, slots=True)
class RunEffect:
    """What a published run did to the pooled figure of its appliance.

    `pooled` has the run in it, `without` not; None: nothing is left to pool. `left_out`: why the
    run counts for neither.
    """

    run_id: str
    appliance_id: str
    appliance_slug: str
    appliance_name: str
    metric: MetricName
    pooled: PooledFigure | None
    n_testers: int
    without: PooledFigure | None
    n_testers_without: int
    left_out: str | None = None


@dataclass(frozen=True, slots=True)
class Repeat:
    """Another tester's published brake run of an appliance that one has tested."""

    run_id: str
    tester: str
    tested_on: date | None
    appliance_id: str
    appliance_slug: str
    appliance_name: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What a reader reported or wished, about one's runs or their appliances."""

    public_id: str
    kind: ConcernKind
    state: ConcernState
    text: str | None
    answer: str | None
    appliance_id: str | None
    appliance_slug: str | None
    appliance_name: str | None
    run_id: str | None
    created_at: datetime


@dataclass(frozen=True, slots=True)
class Watched:
    """A test of one's own that others may watch."""

    address: str
    title: str | None
    started_at: datetime
    ended_at: datetime | None
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class MyBench:
    """`remarks` by the run's id; `has_more_runs`: older ones are not among `runs`."""

    rigs: tuple[Stored[Rig], ...]
    calibrations: tuple[Calibration, ...]
    calibration_months: int
    drafts: tuple[DraftView, ...]
    runs: tuple[RunRow, ...]
    has_more_runs: bool
    remarks: Mapping[str, tuple[RemarkOnRun, ...]]
    effects: tuple[RunEffect, ...]
    repeats: tuple[Repeat, ...]
    asked: tuple[Asked, ...]
    watched: tuple[Watched, ...]


def months_later(day: date, months: int) -> date:
    """The same day so many months on, or the month's last where it has no such day."""
    n = day.year * 12 + day.month - 1 + months
    year, month = n // 12, n % 12 + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))
