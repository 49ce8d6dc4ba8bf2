"""Whether a run may be published at once: its tester's standing, and what the rule asks."""

import hashlib

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from server.model.people import Role
from server.model.publishing import PublishingRule
from server.model.words import RunState
from server.store import tables as t
from server.store.tester_record import runs_by_state, withdrawn_since

_SEND_ROLES = frozenset({Role.TESTER, Role.MAINTAINER, Role.ADMINISTRATOR})


def is_published_at_once(session: Session, *, run: t.RunRow, rule: PublishingRule) -> bool:
    """Whether a clean run needs nobody's look before it is shown."""
    if rule.first_run_waits and not _has_published_run(session, appliance_id=run.appliance_id):
        return False
    return has_good_standing(session, tester_id=run.tester_id, rule=rule)


def has_good_standing(session: Session, *, tester_id: int, rule: PublishingRule) -> bool:
    """Whether a tester's clean runs are published at once.

    Enough published runs, none withdrawn lately, and for an account with a password a second
    factor, so that a stolen password publishes nothing. An administrator's word stands in for the
    number of runs alone: not for the second factor, and not for a run withdrawn since.
    """
    account = session.get_one(t.TesterRow, tester_id)
    if Role(account.role) not in _SEND_ROLES:
        return False
    if rule.standing_runs <= 0:
        return True
    if account.password_hash is not None and not has_second_factor(session, tester_id=tester_id):
        return False
    n_published = runs_by_state(session, tester_id=tester_id).get(RunState.PUBLISHED, 0)
    if n_published < rule.standing_runs and not account.is_vouched:
        return False
    return withdrawn_since(session, tester_id=tester_id, days=rule.standing_days) == 0


def has_second_factor(session: Session, *, tester_id: int) -> bool:
    """Whether an account has a passkey or codes set up."""
    passkey = exists().where(t.PasskeyRow.tester_id == tester_id)
    codes = exists().where(t.TotpRow.tester_id == tester_id, t.TotpRow.confirmed_at.is_not(None))
    return bool(session.execute(select(passkey | codes)).scalar_one())


def is_drawn_for_a_look(public_id: str, *, share: float) -> bool:
    """Whether a run published by rule is one of those looked at afterwards.

    Drawn from its random id, so that nobody can choose it and asking again answers the same.
    """
    drawn = int.from_bytes(hashlib.sha256(public_id.encode()).digest()[:8], "big")
    return drawn < share * 2**64


def _has_published_run(session: Session, *, appliance_id: int) -> bool:
    run = t.RunRow
    found = exists().where(run.appliance_id == appliance_id, run.state == RunState.PUBLISHED)
    return bool(session.execute(select(found)).scalar_one())
