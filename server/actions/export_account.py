"""All that is kept about somebody, for themselves to take along."""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session

from server.model.views import Tester
from server.store import tables as t
from server.store.journal import now
from server.store.types import dump_json

FORMAT = "benchledger account 1"
# Keys of the database, and what lets somebody in: worth nothing to its owner outside.
_LEFT_OUT = frozenset(
    {
        "id", "tester_id", "owner_id", "by_id", "created_by_id", "sha256", "password_hash",
        "sealed_secret", "last_step", "public_key", "credential_id", "salt", "email_key",
        "request_sha256", "note_digest",
    }
)  # fmt: skip


def export_account(session: Session, *, tester: Tester) -> bytes:
    """One JSON document: account, sign-ins, tokens, drafts, runs, rigs, pieces, words, journal.

    Secrets and their digests are left out. Files of runs and drafts are named by their SHA-256;
    those of runs are downloaded from the run's page.

    Returns
    -------
    JSON, UTF-8, with the format's name and the time in it.
    """
    mine = {
        "sign_ins": (t.WebSessionRow, t.WebSessionRow.tester_id),
        "tokens": (t.ApiTokenRow, t.ApiTokenRow.tester_id),
        "passkeys": (t.PasskeyRow, t.PasskeyRow.tester_id),
        "providers": (t.ExternalIdentityRow, t.ExternalIdentityRow.tester_id),
        "ties": (t.MakerTieRow, t.MakerTieRow.tester_id),
        "drafts": (t.DraftRow, t.DraftRow.tester_id),
        "runs": (t.RunRow, t.RunRow.tester_id),
        "rigs": (t.RigRow, t.RigRow.owner_id),
        "specimens": (t.SpecimenRow, t.SpecimenRow.owner_id),
        "photographs": (t.PhotoRow, t.PhotoRow.tester_id),
        "live_tests": (t.LiveTestRow, t.LiveTestRow.tester_id),
        "concerns": (t.ConcernRow, t.ConcernRow.by_id),
        "remarks": (t.RemarkRow, t.RemarkRow.by_id),
        "statements": (t.StatementRow, t.StatementRow.by_id),
        "words": (t.PersonTextRow, t.PersonTextRow.tester_id),
    }
    account = session.get_one(t.TesterRow, tester.id)
    content: dict[str, Any] = {
        "format": FORMAT,
        "written_at": now(),
        "account": _plain(account),
        **{
            name: _rows(session, table, owner == tester.id) for name, (table, owner) in mine.items()
        },
        "run_revisions": _rows(
            session, t.RunRevisionRow, t.RunRevisionRow.run_id.in_(_ids(t.RunRow, tester))
        ),
        "rig_revisions": _rows(
            session, t.RigRevisionRow, t.RigRevisionRow.rig_id.in_(_ids(t.RigRow, tester))
        ),
        "journal": _rows(session, t.AuditEventRow, _about(tester)),
    }
    return dump_json(content)


def _about(tester: Tester) -> ColumnElement[bool]:
    event = t.AuditEventRow
    is_subject = (event.subject_kind == "tester") & (event.subject_id == tester.id)
    return or_(event.tester_id == tester.id, is_subject)


def _ids(table: Any, tester: Tester) -> Any:
    owner = table.tester_id if table is t.RunRow else table.owner_id
    return select(table.id).where(owner == tester.id)


def _rows(session: Session, table: Any, condition: ColumnElement[bool]) -> list[dict[str, Any]]:
    order = tuple(table.__table__.primary_key.columns)
    found: Iterable[Any] = session.execute(select(table).where(condition).order_by(*order))
    return [_plain(row) for (row,) in found]


def _plain(row: Any) -> dict[str, Any]:
    return {
        column.name: getattr(row, column.key)
        for column in row.__table__.columns
        if column.name not in _LEFT_OUT
    }
