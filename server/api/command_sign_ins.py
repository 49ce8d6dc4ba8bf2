"""`benchledger login`: begun by the command, approved in the browser, fetched by the command."""

from fastapi import Request, Response
from fastapi.responses import JSONResponse
from pydantic import Field

from server.actions.command_sign_in import (
    MINUTES,
    POLL_S,
    begin_command_sign_in,
    fetch_command_token,
)
from server.api.openapi import api_router, refusals
from server.api.shapes import In, Out
from server.dependencies import WriteSession
from server.dependencies.letters import site_origin
from server.dependencies.limits import Limited, client_address

router = api_router("/command-sign-ins", tags=["people"])
_NO_STORE = {"Cache-Control": "no-store"}


class CommandSignInIn(In):
    """What the command says of itself."""

    where: str = Field("", max_length=100, description="Name of its machine; shown to whom decides")


class CommandSignInOut(Out):
    """`secret` is the command's own; `code` is compared with what the page shows."""

    code: str
    secret: str
    address: str = Field(description="Where somebody signed in decides")
    expires_in_s: int
    poll_s: int


class CommandTokenIn(In):
    code: str = Field(max_length=20)
    secret: str = Field(max_length=100)


class CommandTokenOut(Out):
    """`token` is null while nobody has decided."""

    token: str | None


@router.post(
    "",
    status_code=201,
    response_model=CommandSignInOut,
    responses=refusals(400, 413, 422, 429),
    dependencies=[Limited("sign_in")],
)
def begin(request: Request, asked: CommandSignInIn, session: WriteSession) -> Response:
    """Ask for a token that somebody approves in the browser."""
    begun = begin_command_sign_in(session, where=asked.where, address=client_address(request))
    out = CommandSignInOut(
        code=begun.code,
        secret=begun.secret,
        address=f"{site_origin(request)}/account/command?code={begun.code}",
        expires_in_s=int(MINUTES * 60),
        poll_s=POLL_S,
    )
    return JSONResponse(out.model_dump(), status_code=201, headers=_NO_STORE)


@router.post("/token", response_model=CommandTokenOut, responses=refusals(400, 403, 410, 413, 422))
def fetch(asked: CommandTokenIn, session: WriteSession) -> Response:
    """The token, once it was approved; it is told once."""
    issued = fetch_command_token(session, code=asked.code, secret=asked.secret)
    out = CommandTokenOut(token=issued.token if issued is not None else None)
    return JSONResponse(out.model_dump(), headers=_NO_STORE)
