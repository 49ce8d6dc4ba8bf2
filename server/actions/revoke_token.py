"""End a token before its time."""

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.store.journal import OPERATOR, Actor, now, record
from server.store.tables import ApiTokenRow, WebSessionRow


def revoke_token(session: Session, *, public_id: str, actor: Actor = OPERATOR) -> None:
    """Revoke a token and end every sign-in made with it. A revoked one stays so.

    Raises
    ------
    NotFound: no such token, or, for a tester, another's.
    """
    token = session.execute(
        select(ApiTokenRow)
        .where(ApiTokenRow.public_id == public_id)
        .with_for_update(key_share=True)
    ).scalar_one_or_none()
    if token is None or actor.tester_id not in (None, token.tester_id):
        raise NotFound(f"There is no token {public_id}.")
    if token.revoked_at is not None:
        return
    token.revoked_at = now()
    session.execute(delete(WebSessionRow).where(WebSessionRow.token_id == token.id))
    record(
        session,
        actor=actor,
        act="token revoked",
        subject_kind="tester",
        subject_id=token.tester_id,
        after={"token": token.public_id},
    )
