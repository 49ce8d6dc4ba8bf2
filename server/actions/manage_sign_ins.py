"""One's own sign-ins: proved again, ended."""

from sqlalchemy import delete, update
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.views import Tester
from server.store.journal import by, now, record
from server.store.tables import WebSessionRow


def prove_again(session: Session, *, tester: Tester, has_second_factor: bool) -> None:
    """Note that somebody signed in has just proved once more who they are."""
    at = now()
    values = {"proved_at": at, **({"second_factor_at": at} if has_second_factor else {})}
    session.execute(
        update(WebSessionRow)
        .where(WebSessionRow.public_id == tester.session_id, WebSessionRow.tester_id == tester.id)
        .values(**values)
    )


def end_sign_in(session: Session, *, tester: Tester, public_id: str) -> None:
    """End one sign-in of one's own.

    Raises
    ------
    NotFound: no such sign-in of this account.
    """
    gone = session.execute(
        delete(WebSessionRow)
        .where(WebSessionRow.public_id == public_id, WebSessionRow.tester_id == tester.id)
        .returning(WebSessionRow.public_id)
    ).all()
    if not gone:
        raise NotFound("This sign-in has ended already, or it is none of yours.")
    _record(session, tester, n=1)


def end_other_sign_ins(session: Session, *, tester: Tester) -> int:
    """End every sign-in of one's own but the present one; how many."""
    gone = session.execute(
        delete(WebSessionRow)
        .where(WebSessionRow.tester_id == tester.id, WebSessionRow.public_id != tester.session_id)
        .returning(WebSessionRow.public_id)
    ).all()
    if gone:
        _record(session, tester, n=len(gone))
    return len(gone)


def _record(session: Session, tester: Tester, *, n: int) -> None:
    record(
        session,
        actor=by(tester),
        act="sign-ins ended",
        subject_kind="tester",
        subject_id=tester.id,
        after={"n": n},
    )
