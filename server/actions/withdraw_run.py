"""Take a run back."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.may_moderate import check_may_moderate
from server.actions.move_run import move_run
from server.errors import NotAllowed, NotFound
from server.model.people import MAINTAIN
from server.model.views import Tester
from server.model.words import RunState
from server.store.journal import by
from server.store.runs import visible
from server.store.tables import ApplianceRow, RunRow


def withdraw_run(
    session: Session, *, public_id: str, tester: Tester, note: str | None = None
) -> None:
    """Withdraw a run: it leaves every page and list but its sender's; what is stored stays.

    Parameters
    ----------
    tester : the run's sender, or a maintainer.
    note : why, in their words; kept where it can be erased.

    Raises
    ------
    NotFound: no such run, or none the tester may see.
    NotAllowed: another tester's run; for a maintainer, one of a maker they have ties with.
    Conflict: it is withdrawn already.
    """
    run = session.execute(
        select(RunRow)
        .where(RunRow.public_id == public_id, visible(tester))
        .with_for_update(key_share=True)
    ).scalar_one_or_none()
    if run is None:
        raise NotFound(f"There is no run {public_id}.")
    if run.tester_id != tester.id and MAINTAIN not in tester.scopes:
        raise NotAllowed("Only its sender can withdraw a run.")
    if run.tester_id != tester.id:
        appliance = session.get_one(ApplianceRow, run.appliance_id)
        check_may_moderate(
            session, maintainer=tester, maker_keys={appliance.maker_key}, run_id=run.id
        )
    move_run(session, run=run, to=RunState.WITHDRAWN, actor=by(tester), note=note or None)
