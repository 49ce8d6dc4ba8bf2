"""Shapes of a tester's own bench."""

from datetime import date, datetime

from server.api.run_shapes import RunRowOut
from server.api.shapes import Out
from server.api.thing_shapes import RigOut


class CalibrationOut(Out):
    """An instrument of a rig as it stands now. `due` is null where no date is given."""

    rig: str
    channel: str
    instrument: str | None
    calibrated: date | None
    due: date | None


class OwnDraftOut(Out):
    id: str
    page: str
    file: str
    bytes: int
    updated_at: datetime


class OwnRemarkOut(Out):
    """What a maintainer asks to have corrected. `text` is null where it was erased."""

    run: str
    field: str
    text: str | None
    created_at: datetime


class PooledOut(Out):
    value: float
    unit: str
    standard_uncertainty: float | None
    low: float | None
    high: float | None
    n_testers: int


class EffectOut(Out):
    """The pooled figure of the run's appliance with the run and without it."""

    run: str
    appliance: str
    metric: str
    with_run: PooledOut | None
    without_run: PooledOut | None
    left_out: str | None


class RepeatOut(Out):
    """Another tester's published run of an appliance that one has tested."""

    run: str
    tester: str
    tested_on: date | None
    appliance: str


class AskedOut(Out):
    id: str
    kind: str
    state: str
    text: str | None
    answer: str | None
    appliance: str | None
    run: str | None
    created_at: datetime


class WatchedOut(Out):
    address: str
    page: str
    title: str | None
    started_at: datetime
    ended_at: datetime | None
    expires_at: datetime


class BenchOut(Out):
    """All of one's bench. Runs are the newest 200, whatever their state."""

    rigs: list[RigOut]
    calibrations: list[CalibrationOut]
    drafts: list[OwnDraftOut]
    runs: list[RunRowOut]
    has_more_runs: bool
    remarks: list[OwnRemarkOut]
    effects: list[EffectOut]
    repeats: list[RepeatOut]
    asked: list[AskedOut]
    watched: list[WatchedOut]
