"""Change the name that is shown beside one's runs."""

from sqlalchemy.orm import Session

from server.actions.sign_up import tidy_name
from server.model.views import Tester
from server.store.journal import by, record
from server.store.tables import TesterRow


def change_name(session: Session, *, tester: Tester, name: str) -> None:
    """Change it; neither the old nor the new one goes into the journal.

    Raises
    ------
    InvalidInput: empty, too long, or of characters that are not written.
    """
    row = session.get_one(TesterRow, tester.id, with_for_update=True)
    row.name = tidy_name(name)
    record(
        session,
        actor=by(tester),
        act="name changed",
        subject_kind="tester",
        subject_id=tester.id,
    )
