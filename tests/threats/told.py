"""What the service acknowledged under load, and what must be true of it after any kill."""

import threading
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from server.actions import upload_in_pieces
from server.actions.check_journal import check_journal
from server.actions.seal_journal import seal_journal
from server.actions.sweep_files import sweep_files
from server.actions.verify import verify
from server.model.checking import Fault
from server.model.people import PhotoState
from server.model.words import JobState, RunState
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import original_path
from server.store.partial_files import PARTIAL

_DECISIONS = {"run published": RunState.PUBLISHED, "run returned": RunState.RETURNED}


@dataclass
class Told:
    """What the service said, and so must still be true after any kill."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    runs: dict[str, str] = field(default_factory=dict)  # public id -> SHA-256 of what was sent
    keys: dict[str, str] = field(default_factory=dict)  # idempotency key -> public id
    queued: dict[str, float] = field(default_factory=dict)  # left to the worker, and when
    for_desk: set[str] = field(default_factory=set)  # first runs of an appliance
    asked_back: set[str] = field(default_factory=set)  # a withdrawal was tried, told or not
    withdrawn: dict[str, str] = field(default_factory=dict)  # public id -> the reason given
    decided: dict[str, RunState] = field(default_factory=dict)  # at the desk
    words: set[str] = field(default_factory=set)  # reasons and remarks of the desk
    drafts: set[str] = field(default_factory=set)  # SHA-256 of files that became drafts
    photos: list[tuple[str, tuple[int, int]]] = field(default_factory=list)  # draft, size
    pieces: dict[str, int] = field(default_factory=dict)  # upload -> bytes that are safe
    n_uploads: Counter[str] = field(default_factory=Counter)
    n_lost_answers: int = 0

    def summary(self) -> str:
        ends = Counter(self.decided.values())
        return (
            f"{len(self.runs)} runs, {len(self.withdrawn)} withdrawals, "
            f"{ends[RunState.PUBLISHED]} publications and {ends[RunState.RETURNED]} returns at the "
            f"desk, {len(self.photos)} photographs, {sum(self.n_uploads.values())} files in pieces "
            f"acknowledged, none lost; {self.n_lost_answers} answers lost on the way"
        )


def check_now(engine: Engine, settings: Settings, told: Told) -> None:
    """What was acknowledged up to now is there, and the chain is whole."""
    with told.lock:
        runs, withdrawn, decided = dict(told.runs), dict(told.withdrawn), dict(told.decided)
        drafts, photos, pieces = set(told.drafts), list(told.photos), dict(told.pieces)
    with read_session(engine) as session:
        _check_runs(session, settings.files, runs)
        states = {
            row.public_id: row.state
            for row in session.execute(select(t.RunRow.public_id, t.RunRow.state))
        }
        for public_id in withdrawn:
            assert states[public_id] == RunState.WITHDRAWN, "an act was acknowledged and lost"
        with told.lock:
            asked_back = set(told.asked_back)
        for public_id, state in decided.items():
            if public_id not in asked_back:
                assert states[public_id] == state, f"{public_id}: {state} at the desk was lost"
        known = set(session.execute(select(t.DraftRow.file_sha256)).scalars())
        known |= set(session.execute(select(t.RunRevisionRow.file_sha256)).scalars())
        for sha256 in drafts:
            assert sha256 in known, "a file came in pieces, was acknowledged and is gone"
            assert original_path(settings.files, sha256).is_file()
        _check_photos(session, settings.files, photos)
        assert [one for one in check_journal(session) if isinstance(one, Fault)] == []
    _check_pieces(engine, settings.files, pieces)


def _check_runs(session: Session, files: Path, runs: dict[str, str]) -> None:
    revision, run = t.RunRevisionRow, t.RunRow
    rows = session.execute(
        select(run.public_id, revision.file_sha256).join(
            revision, revision.id == run.current_revision_id
        )
    )
    there = {row.public_id: row.file_sha256 for row in rows}
    for public_id, sha256 in runs.items():
        assert public_id in there, f"run {public_id} was acknowledged and is gone"
        assert there[public_id] == sha256
        assert original_path(files, sha256).is_file()


def _photo_rows(session: Session) -> dict[str, list[t.PhotoRow]]:
    rows = defaultdict(list)
    for photo, draft_id in session.execute(
        select(t.PhotoRow, t.DraftRow.public_id).join(
            t.DraftRow, t.DraftRow.id == t.PhotoRow.draft_id
        )
    ):
        rows[draft_id].append(photo)
    return rows


def _check_photos(session: Session, files: Path, photos: list[tuple[str, tuple[int, int]]]) -> None:
    there = _photo_rows(session)
    for draft_id, n in Counter(draft_id for draft_id, _ in photos).items():
        assert len(there[draft_id]) >= n, f"a photograph of draft {draft_id} is gone"
        for row in there[draft_id]:
            assert row.state != PhotoState.REFUSED, row.failure
            for sha256 in (row.sent_sha256, row.file_sha256, row.small_sha256):
                assert sha256 is None or original_path(files, sha256).is_file()
            assert row.sent_sha256 or (row.file_sha256 and row.small_sha256)


def _check_pieces(engine: Engine, files: Path, pieces: dict[str, int]) -> None:
    """Uploads under way. One that ended since was checked as a draft or a run."""
    row = t.PartialUploadRow
    under_way = select(row.public_id, row.n_received).where(row.public_id.in_(pieces))
    with read_session(engine) as session:
        found = session.execute(under_way).all()
    sizes = {one.public_id: _size(files / PARTIAL / one.public_id) for one in found}
    with read_session(engine) as session:  # its file goes when it is whole
        left = set(
            session.execute(select(row.public_id).where(row.file_sha256.is_(None))).scalars()
        )
    for public_id, n_received in found:
        assert n_received >= pieces[public_id], "a piece was acknowledged and is gone"
        assert public_id not in left or sizes[public_id] >= n_received


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def check_at_rest(engine: Engine, settings: Settings, told: Told) -> None:
    """All jobs done, no run without its figures, words kept, no orphan, the record sound."""
    deadline = time.monotonic() + 120
    open_jobs = (JobState.QUEUED, JobState.RUNNING)
    while True:
        with read_session(engine) as session:
            n = session.scalar(
                select(func.count()).select_from(t.JobRow).where(t.JobRow.state.in_(open_jobs))
            )
        if not n:
            break
        assert time.monotonic() < deadline, f"{n} jobs are never done"
        time.sleep(0.1)
    check_now(engine, settings, told)
    with read_session(engine) as session:
        parked = session.scalar(
            select(func.count()).select_from(t.JobRow).where(t.JobRow.state == JobState.PARKED)
        )
        texts = set(session.execute(select(t.PersonTextRow.text)).scalars())
        keys = session.execute(select(t.RunRow.idempotency_key)).scalars().all()
        _check_decided_once(session, told)
        _check_drawn(session, told)
    assert parked == 0, f"{parked} jobs were given up"
    assert {reason for reason in told.withdrawn.values() if reason} <= texts
    assert told.words <= texts, "what a maintainer wrote was acknowledged and lost"
    assert len(keys) == len(set(keys)), "one key made two runs"


def _check_decided_once(session: Session, told: Told) -> None:
    """A form of the desk that was sent again after a lost answer decided once."""
    event, run = t.AuditEventRow, t.RunRow
    rows = session.execute(
        select(run.public_id, event.act)
        .join(run, (event.subject_kind == "run") & (event.subject_id == run.id))
        .where(event.act.in_(_DECISIONS), run.public_id.in_(told.decided))
    ).all()
    acts = defaultdict(list)
    for public_id, act in rows:
        acts[public_id].append(_DECISIONS[act])
    for public_id, state in told.decided.items():
        assert acts[public_id] == [state], f"{public_id}: decided {acts[public_id]}"


def _check_drawn(session: Session, told: Told) -> None:
    there = _photo_rows(session)
    for draft_id, size in told.photos:
        found = [row for row in there[draft_id] if (row.width, row.height) == size]
        assert found, f"draft {draft_id} has no photograph of {size}"
        for row in found:
            assert (row.state, row.sent_sha256) == (PhotoState.READY, None)


def check_record(engine: Engine, settings: Settings) -> Counter[str]:
    """Nothing runs any more: sealed, swept, then verified with nothing excused as on its way."""
    while True:
        with write_session(engine) as session:
            if seal_journal(session) == 0:
                break
    kept_hours, upload_in_pieces.KEPT_HOURS = upload_in_pieces.KEPT_HOURS, -1.0
    try:
        with write_session(engine) as session:
            upload_in_pieces.sweep_uploads(session, files=settings.files)
    finally:
        upload_in_pieces.KEPT_HOURS = kept_hours
    assert list((settings.files / PARTIAL).glob("*")) == []
    sweep_files(engine, files=settings.files, min_age_s=-60)
    found = list(verify(engine, data=settings.data, files=settings.files, orphan_age_s=-60))
    faults = [str(one) for one in found if isinstance(one, Fault)]
    assert faults == [], "\n".join(faults)
    with read_session(engine) as session:
        counted = {"runs": t.RunRow, "seals": t.AuditSealRow, "heads": t.AuditHeadRow}
        return Counter(
            {
                name: session.scalar(select(func.count()).select_from(table)) or 0
                for name, table in counted.items()
            }
        )
