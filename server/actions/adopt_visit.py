"""What was tried without an account becomes the account's own."""

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.model.people import Role
from server.store import tables as t
from server.store.people import secret_sha256


def adopt_visit(session: Session, *, key: str, tester_id: int) -> int:
    """Hand the drafts of a visit to the account that was signed in to; how many.

    A visit that signed up with the address of that account has no address of its own, and is one
    still.

    Parameters
    ----------
    key : of the cookie before the sign-in. One that is no visitor's hands over nothing.
    """
    visitor_id = session.execute(
        select(t.TesterRow.id)
        .join(t.WebSessionRow, t.WebSessionRow.tester_id == t.TesterRow.id)
        .where(
            t.WebSessionRow.sha256 == secret_sha256(key),
            t.TesterRow.role.in_([Role.VISITOR.value, Role.READER.value]),
            t.TesterRow.email.is_(None),
            t.TesterRow.expires_at.is_not(None),
        )
    ).scalar_one_or_none()
    if visitor_id is None or visitor_id == tester_id:
        return 0
    n = 0
    for table in (t.DraftRow, t.PhotoRow, t.PartialUploadRow):
        moved = session.execute(
            update(table)
            .where(table.tester_id == visitor_id)
            .values(tester_id=tester_id)
            .returning(table.id)
        )
        n += len(moved.all()) if table is t.DraftRow else 0
    return n
