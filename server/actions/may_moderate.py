"""Who may decide on what: the one place where an own or a tied maker's matter is refused."""

from collections.abc import Collection

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotAllowed
from server.model.people import MAINTAIN, ConcernKind
from server.model.views import Tester
from server.store import tables as t


def check_may_moderate(
    session: Session,
    *,
    maintainer: Tester,
    maker_keys: Collection[str] = (),
    owner_ids: Collection[int | None] = (),
    run_id: int | None = None,
    not_for_id: int | None = None,
) -> None:
    """Refuse a maintainer's act on a matter of their own. Every act of moderation asks here.

    Parameters
    ----------
    maintainer : who acts; an administrator is bound alike.
    maker_keys : the makers whose appliances the act touches.
    owner_ids : whose runs, words or appliances it touches; None: nobody's.
    run_id : the run decided on: whoever returned it does not decide again once that is contested.
    not_for_id : the one who may not decide on a concern.

    Raises
    ------
    NotAllowed: no maintainer, their own run or words, a maker they have ties with, or a contest of
        their own decision.
    """
    reason = why_not(
        session,
        maintainer=maintainer,
        maker_keys=maker_keys,
        owner_ids=owner_ids,
        run_id=run_id,
        not_for_id=not_for_id,
    )
    if reason is not None:
        raise NotAllowed(reason)


def why_not(
    session: Session,
    *,
    maintainer: Tester,
    maker_keys: Collection[str] = (),
    owner_ids: Collection[int | None] = (),
    run_id: int | None = None,
    not_for_id: int | None = None,
) -> str | None:
    """Why a maintainer may not decide, in words for them; None where they may."""
    if MAINTAIN not in maintainer.scopes:
        return "Only maintainers decide on this."
    if maintainer.id in owner_ids:
        return "This is your own. Another maintainer decides on it."
    makers = ties_of(session, tester_id=maintainer.id)
    tied = [makers[key] for key in maker_keys if key in makers]
    if tied:
        return f"You have ties with {tied[0]}. Another maintainer decides on it."
    if not_for_id == maintainer.id or _is_contested(session, run_id, maintainer):
        return "Your decision on this is contested. Another maintainer decides on it."
    return None


def ties_of(session: Session, *, tester_id: int) -> dict[str, str]:
    """The makers somebody has ties with or speaks for: key to name."""
    tie = t.MakerTieRow
    rows = session.execute(select(tie.maker_key, tie.maker).where(tie.tester_id == tester_id))
    return {row.maker_key: row.maker for row in rows}


def _is_contested(session: Session, run_id: int | None, maintainer: Tester) -> bool:
    if run_id is None:
        return False
    concern = t.ConcernRow
    found = session.execute(
        select(concern.id)
        .where(
            concern.run_id == run_id,
            concern.kind == ConcernKind.CONTEST,
            concern.not_for_id == maintainer.id,
        )
        .limit(1)
    )
    return found.first() is not None
