"""What maintainers see and decide: the queue, a run's case, remarks, concerns, statements."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from server.model.measured import Finding
from server.model.people import ConcernKind, ConcernState, StatementKind
from server.model.views import RunView
from server.model.words import RunState

# How long a case stays with the maintainer who took it.
TAKEN_FOR = timedelta(minutes=30)


class DeskKind(StrEnum):
    """Why something waits for a maintainer, what needs attention first in front."""

    CONTEST = "contest"
    NOTICE = "notice"
    HELD = "held"  # a finding of severity error
    FIRST = "first"  # of its appliance
    WAITING = "waiting"
    PROBLEM = "problem"
    LOOK = "look"  # published by rule, one of those looked at afterwards
    PARKED = "parked"
    STATEMENT = "statement"
    REQUEST = "request"


# The place of each in the queue; what is alike waits in the order it came.
RANKS: dict[DeskKind, int] = {
    DeskKind.CONTEST: 0,
    DeskKind.NOTICE: 0,
    DeskKind.HELD: 1,
    DeskKind.FIRST: 2,
    DeskKind.WAITING: 3,
    DeskKind.PROBLEM: 4,
    DeskKind.LOOK: 5,
    DeskKind.PARKED: 6,
    DeskKind.STATEMENT: 7,
    DeskKind.REQUEST: 8,
}


class DeskState(StrEnum):
    """Which part of the desk is asked for: what is open, or what was decided."""

    OPEN = "open"
    ACCEPTED = "accepted"
    RETURNED = "returned"
    FAILED = "failed"
    WITHDRAWN = "withdrawn"
    SETTLED = "settled"


@dataclass(frozen=True, slots=True)
class DeskFilter:
    kind: DeskKind | None = None
    state: DeskState = DeskState.OPEN
    category: str | None = None
    is_mine: bool = False
    cursor: str | None = None
    limit: int = 50


@dataclass(frozen=True, slots=True)
class DeskItem:
    """One thing in the queue. `source`: run, concern, job or statement; with its public id.

    `is_held_by_other`: another maintainer has taken it. `is_barred`: who asks may not decide on it.
    """

    kind: DeskKind
    source: str
    public_id: str
    at: datetime
    appliance_id: str | None
    appliance: str | None
    category: str | None
    run_id: str | None
    run_kind: str | None
    by: str | None
    text: str | None
    errors: tuple[Finding, ...]
    version: int
    assigned_to: str | None
    assigned_at: datetime | None
    is_held_by_other: bool
    is_barred: bool


@dataclass(frozen=True, slots=True)
class Remark:
    """What is to be corrected, tied to a field of the run as it was sent."""

    public_id: str
    field: str
    text: str
    revision: int
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class RemarkSent:
    field: str
    text: str


@dataclass(frozen=True, slots=True)
class TesterRecord:
    """What a tester's runs came to. `n_returned`: sent back at least once, whatever came after."""

    tester_id: str
    name: str
    since: datetime
    n_published: int
    n_waiting: int
    n_returned: int
    n_withdrawn: int
    n_withdrawn_lately: int
    is_in_standing: bool
    is_vouched: bool
    has_second_factor: bool
    ties: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Assignment:
    """Who has a case, and until when nobody else decides on it."""

    name: str
    is_own: bool
    until: datetime


@dataclass(frozen=True, slots=True)
class Decision:
    """The last act on a run: by whom, what, when."""

    act: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ConcernView:
    """A concern as its writer and the maintainers see it."""

    public_id: str
    kind: ConcernKind
    state: ConcernState
    figure: str | None
    appliance_id: str | None
    appliance_slug: str | None
    appliance: str | None
    run_id: str | None
    claim_id: str | None
    text: str | None
    contact: str | None
    by: str | None
    answer: str | None
    decided_by: str | None
    created_at: datetime
    decided_at: datetime | None
    version: int
    assigned: Assignment | None = None


@dataclass(frozen=True, slots=True)
class StatementView:
    """A maker's answer to a claim, or what a tester heard from the maker."""

    public_id: str
    claim_id: str
    kind: StatementKind
    text: str | None
    source: str
    stated_on: date
    by: str
    maker: str
    created_at: datetime
    removed_at: datetime | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class RunCase:
    """A run on the desk. `barred`: why the one who asks may not decide on it."""

    view: RunView
    version: int
    not_before: date | None
    accepted_at: datetime | None
    needs_look: bool
    is_first: bool
    plate_number: int
    current_plate_number: int
    assigned: Assignment | None
    barred: str | None
    record: TesterRecord
    remarks: tuple[Remark, ...]
    concerns: tuple[ConcernView, ...]
    decided: Decision | None
    n_revisions: int

    @property
    def is_held(self) -> bool:
        reduction = self.view.reduction
        return reduction is not None and any(f.severity == "error" for f in reduction.findings)

    @property
    def state(self) -> RunState:
        return self.view.state


@dataclass(frozen=True, slots=True)
class Counted:
    """How many wait, by kind."""

    by_kind: Mapping[DeskKind, int]
    n_mine: int

    @property
    def total(self) -> int:
        return sum(self.by_kind.values())
