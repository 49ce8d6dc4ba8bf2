"""Who a token belongs to, and one's own tokens."""

from datetime import datetime
from typing import Annotated

from fastapi import Request, Response
from pydantic import BaseModel, ConfigDict, Field

from server.actions.record_consent import Consent, consent_of, record_consent
from server.actions.revoke_token import revoke_token
from server.api.conditional import answer
from server.api.openapi import api_router, needs_token, refusals
from server.api.shapes import ListOut, Out, PublicId
from server.dependencies import ReadSession, Signed, Writer, WriteSession
from server.model.views import Tester
from server.store.journal import by
from server.store.tokens import list_tokens

router = api_router(tags=["people"])


class MeOut(Out):
    """Who the token belongs to."""

    id: str
    name: str
    scopes: list[str]
    consented_licence: str | None = Field(
        None, description="Of the data, agreed to once; null: runs are refused until then"
    )
    ties: list[str] = Field([], description="Makers one works for or is paid by")


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
def read_me(request: Request, session: ReadSession, tester: Signed) -> Response:
    """Who the token belongs to, what it may do, and what its owner agreed to."""
    return answer(request, _me(tester, consent_of(session, tester=tester)), is_own=True)


def _me(tester: Tester, consent: Consent) -> MeOut:
    return MeOut(
        id=tester.public_id,
        name=tester.name,
        scopes=sorted(tester.scopes),
        consented_licence=consent.licence,
        ties=list(consent.ties),
    )


class ConsentIn(BaseModel):
    """The licence that what one sends is placed under, and one's ties to makers."""

    model_config = ConfigDict(extra="forbid")
    licence: str = Field(max_length=40, examples=["CC BY 4.0"])
    ties: list[Annotated[str, Field(max_length=100)]] = Field([], max_length=20)


@router.post(
    "/testers/me/consent",
    response_model=MeOut,
    responses=refusals(400, 401, 403, 413, 422),
    openapi_extra=needs_token(),
)
def give_consent(tester: Writer, session: WriteSession, sent: ConsentIn) -> MeOut:
    """Agree once to the data licence; makers that are named are added to one's ties."""
    consent = record_consent(session, tester=tester, licence=sent.licence, ties=sent.ties)
    return _me(tester, consent)


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
