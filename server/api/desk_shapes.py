"""Shapes of moderation: the queue, a run's case, decisions, reports, answers."""

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from server.api.shapes import IdWord, In, Out, Text
from server.model.moderation import DeskKind
from server.model.people import ConcernKind, ConcernState, StatementKind
from server.model.wishes import WISHES
from server.model.words import MetricName, RunState

Reason = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=2000, pattern=r"^[^\x00]*$")
]
FieldName = Annotated[str, StringConstraints(min_length=3, max_length=80, pattern=r"^[a-z0-9_.]+$")]
Version = Annotated[int, Field(ge=0, le=2**53, examples=[1])]


class DeskItemOut(Out):
    """One thing that waits. `id` is the run's, the report's, or the claim's that was answered."""

    kind: DeskKind
    source: Literal["run", "concern", "job", "statement"]
    id: str
    since: datetime
    appliance_id: str | None
    appliance: str | None
    category: str | None
    run_id: str | None
    by: str | None
    findings: list[str]
    version: int
    assigned_to: str | None
    is_barred: bool


class RemarkIn(In):
    """What is to be corrected, tied to a field: `plate.voltage`, `column.3.unit`, `file`."""

    field: FieldName = Field(examples=["plate.voltage"])
    text: Annotated[
        str,
        StringConstraints(
            strip_whitespace=True, min_length=1, max_length=2000, pattern=r"^[^\x00]*$"
        ),
    ] = Field(examples=["The plate in the picture says 230 V."])


class MoveIn(In):
    """A decision. `version` is that of the run as it was looked at, from its case."""

    to: Literal["published", "returned", "withdrawn", "looked at"] = Field(examples=["returned"])
    version: Version
    reason: Reason = Field("", examples=["See the remark on the plate."])
    remarks: list[RemarkIn] = Field([], max_length=20)


class RemarkOut(Out):
    field: str
    text: str
    revision: int
    by: str
    at: datetime


class SimilarOut(Out):
    """A figure beside similar runs, in SI. `off`: standard deviations, with their sign."""

    name: MetricName
    value: float | None
    basis: str | None
    typical: float | None
    low: float | None
    high: float | None
    n_runs: int
    off: float | None
    is_far_off: bool
    reason: str | None


class RecordOut(Out):
    """What a tester's runs came to."""

    id: str
    name: str
    published: int
    returned: int
    withdrawn: int
    waiting: int
    good_standing: bool
    ties: list[str]


class CaseOut(Out):
    """A run as a maintainer decides on it. `barred`: why you may not; null where you may."""

    id: str
    state: RunState
    version: int
    held: bool
    first_run: bool
    needs_look: bool
    not_before: date | None
    accepted_at: datetime | None
    assigned_to: str | None
    barred: str | None
    remarks: list[RemarkOut]
    similar: list[SimilarOut]
    tester: RecordOut


class ConcernIn(In):
    """A report of a problem; no account is needed. One of the three ids names what it is about."""

    run: IdWord | None = None
    appliance: IdWord | None = None
    claim: IdWord | None = None
    figure: MetricName | None = Field(None, examples=["efficiency_max"])
    text: Annotated[
        str,
        StringConstraints(
            strip_whitespace=True, min_length=10, max_length=4000, pattern=r"^[^\x00]*$"
        ),
    ] = Field(examples=["The plate says 230 V, not 120 V."])
    contact: Annotated[
        str, StringConstraints(strip_whitespace=True, max_length=254, pattern=r"^[^\x00]*$")
    ] = Field("", examples=["reader@example.org"])


class RequestIn(In):
    """A wish for a test of an appliance."""

    appliance: IdWord
    wish: Literal[WISHES] = Field(examples=["in use"])  # type: ignore[valid-type]
    text: Text = ""


class ContestIn(In):
    text: Annotated[
        str,
        StringConstraints(
            strip_whitespace=True, min_length=10, max_length=4000, pattern=r"^[^\x00]*$"
        ),
    ] = Field(examples=["The meter was checked against a second one."])


class ConcernMadeOut(Out):
    """Where a report can be followed: keep the id, it is known to you alone."""

    id: str
    state: ConcernState


class ConcernOut(Out):
    """A report with what came of it. `contact` is for maintainers and null to everybody else."""

    id: str
    kind: ConcernKind
    state: ConcernState
    figure: str | None
    appliance_id: str | None
    run_id: str | None
    claim_id: str | None
    text: str | None
    contact: str | None
    by: str | None
    answer: str | None
    created_at: datetime
    decided_at: datetime | None
    version: int


class SettlementIn(In):
    """How a report is settled: it stands, was put right, or its run goes back to waiting."""

    outcome: Literal["stands", "corrected", "waits"] = Field(examples=["stands"])
    version: Version
    answer: Annotated[
        str,
        StringConstraints(
            strip_whitespace=True, min_length=3, max_length=2000, pattern=r"^[^\x00]*$"
        ),
    ] = Field(examples=["The plate was looked at again: it says 120 V."])


class StatementIn(In):
    """An answer to a claim: `maker` by a checked representative, else a note of what was heard."""

    kind: StatementKind = Field(StatementKind.CORRESPONDENCE, examples=["correspondence"])
    text: Annotated[
        str,
        StringConstraints(
            strip_whitespace=True, min_length=1, max_length=4000, pattern=r"^[^\x00]*$"
        ),
    ] = Field(examples=["Asked how it was tested. Answer: without its hose."])
    source: Annotated[
        str,
        StringConstraints(
            strip_whitespace=True, min_length=1, max_length=400, pattern=r"^[^\x00-\x1f]*$"
        ),
    ] = Field(examples=["e-mail of 2 November"])
    stated_on: date | None = Field(None, examples=["2026-11-02"])


class StatementOut(Out):
    """An answer to a claim; one that was removed has no text, but the reason."""

    id: str
    claim_id: str
    kind: StatementKind
    text: str | None
    source: str
    stated_on: date
    by: str
    removed_at: datetime | None
    reason: str | None
