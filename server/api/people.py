"""Who a token belongs to, and one's own tokens."""

from datetime import datetime

from fastapi import Request, Response
from pydantic import Field

from server.actions.revoke_token import revoke_token
from server.api.conditional import answer
from server.api.openapi import api_router, needs_token, refusals
from server.api.run_shapes import MeOut
from server.api.shapes import ListOut, Out, PublicId
from server.dependencies import ReadSession, Signed, WriteSession
from server.store.journal import by
from server.store.tokens import list_tokens

router = api_router(tags=["people"])


class TokenOut(Out):
    """A token of one's own. The token itself is shown once, when it is made, and never again."""

    id: str
    label: str
    scopes: list[str]
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None
    used_at: datetime | None = Field(description="Last; written down once an hour at most")


@router.get(
    "/testers/me", response_model=MeOut, responses=refusals(401), openapi_extra=needs_token()
)
def read_me(request: Request, tester: Signed) -> Response:
    """Who the token belongs to, and what it may do."""
    me = MeOut(id=tester.public_id, name=tester.name, scopes=sorted(tester.scopes))
    return answer(request, me, is_own=True)


@router.get(
    "/tokens",
    response_model=ListOut[TokenOut],
    responses=refusals(401),
    openapi_extra=needs_token(),
)
def list_own_tokens(request: Request, session: ReadSession, tester: Signed) -> Response:
    """One's own tokens, newest first, ended ones too. None is shown in clear."""
    items = [
        TokenOut(
            id=one.public_id,
            label=one.label,
            scopes=list(one.scopes),
            created_at=one.created_at,
            expires_at=one.expires_at,
            revoked_at=one.revoked_at,
            used_at=one.used_at,
        )
        for one in list_tokens(session, tester=tester)
    ]
    return answer(request, ListOut[TokenOut](items=items), is_own=True)


@router.delete(
    "/tokens/{token_id}",
    status_code=204,
    responses=refusals(401, 404),
    openapi_extra=needs_token(),
)
def revoke_own_token(tester: Signed, session: WriteSession, token_id: PublicId) -> None:
    """End a token of one's own, and every sign-in made with it."""
    revoke_token(session, public_id=token_id, actor=by(tester))
