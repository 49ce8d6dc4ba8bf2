"""Find a tester by name, or make one."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import InvalidInput, Problem
from server.model.views import Tester
from server.store.identity import new_public_id
from server.store.journal import now
from server.store.tables import TesterRow


def enrol_tester(session: Session, *, name: str) -> Tester:
    """The tester of that name without an e-mail address, made if new: an account of the command.

    The oldest, where several share a name. Who signed up is never found by name.

    Raises
    ------
    InvalidInput: an empty name.
    """
    wanted = " ".join(name.split())
    if not wanted:
        raise InvalidInput(
            "tester", [Problem("the tester has no name.", "Give one.", field="tester")]
        )
    row = session.execute(
        select(TesterRow)
        .where(TesterRow.name == wanted, TesterRow.email.is_(None), TesterRow.erased_at.is_(None))
        .order_by(TesterRow.id)
        .limit(1)
    ).scalar_one_or_none()
    if row is None:
        row = TesterRow(public_id=new_public_id(), name=wanted, created_at=now())
        session.add(row)
        session.flush()
    return Tester(id=row.id, public_id=row.public_id, name=row.name, scopes=frozenset())
