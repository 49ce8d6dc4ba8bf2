"""A case is with one maintainer for a while, so that two don't decide on it at once."""

from sqlalchemy.orm import Session

from server.errors import Conflict
from server.model.moderation import TAKEN_FOR, Assignment
from server.model.views import Tester
from server.store import tables as t
from server.store.journal import by, now, record

# A run or a concern: both have the same two columns.
Case = t.RunRow | t.ConcernRow


def assignment_of(session: Session, *, case: Case, maintainer: Tester) -> Assignment | None:
    """Who has a case; None where nobody has, or where the time is over."""
    if case.assigned_to_id is None or case.assigned_at is None:
        return None
    until = case.assigned_at + TAKEN_FOR
    if until <= now():
        return None
    holder = session.get_one(t.TesterRow, case.assigned_to_id)
    return Assignment(holder.name, holder.id == maintainer.id, until)


def check_not_held(session: Session, *, case: Case, maintainer: Tester) -> None:
    """Raises Conflict while another maintainer has the case."""
    held = assignment_of(session, case=case, maintainer=maintainer)
    if held is not None and not held.is_own:
        raise Conflict(
            f"{held.name} has taken this until {held.until:%H:%M} UTC. Take it over first if "
            "it can't wait."
        )


def take(session: Session, *, case: Case, maintainer: Tester, is_over: bool = False) -> None:
    """Take a case for half an hour, or again for as long; `is_over`: from whoever has it.

    Raises
    ------
    Conflict: another has it, and it was not to be taken over.
    """
    held = assignment_of(session, case=case, maintainer=maintainer)
    if held is not None and not held.is_own:
        if not is_over:
            check_not_held(session, case=case, maintainer=maintainer)
        kind = "run" if isinstance(case, t.RunRow) else "concern"
        record(
            session,
            actor=by(maintainer),
            act=f"{kind} taken over",
            subject_kind=kind,
            subject_id=case.id,
            before={"assigned_to": case.assigned_to_id},
            after={"assigned_to": maintainer.id},
        )
    case.assigned_to_id, case.assigned_at = maintainer.id, now()


def give_back(*, case: Case, maintainer: Tester) -> None:
    """Give back a case of one's own; another's is left alone."""
    if case.assigned_to_id == maintainer.id:
        case.assigned_to_id = case.assigned_at = None
