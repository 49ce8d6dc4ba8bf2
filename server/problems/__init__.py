"""Refusals as RFC 9457 problem documents for the API, as a page for people. One map for both."""

import logging
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from http import HTTPStatus
from urllib.parse import quote, urlsplit

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlalchemy.exc import OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException
from starlette.routing import Match

from server import errors
from server.problems.kinds import KINDS, KINDS_ADDRESS, ProblemKind

_log = logging.getLogger("benchledger")

MEDIA_TYPE = "application/problem+json"


@dataclass(frozen=True, slots=True)
class ProblemReply:
    """One refusal, ready to be sent as JSON or shown on a page."""

    kind: ProblemKind
    detail: str
    problems: tuple[errors.Problem, ...] = ()
    headers: Mapping[str, str] = field(default_factory=dict)
    request_id: str | None = None

    @property
    def status(self) -> int:
        return self.kind.status

    @property
    def title(self) -> str:
        return self.kind.title


_BY_ERROR: tuple[tuple[type[errors.BenchledgerError], str], ...] = (
    (errors.UnusableLog, "unusable-log"),
    (errors.UnusableBench, "unusable-bench"),
    (errors.Unusable, "invalid-input"),
    (errors.TooLarge, "too-large"),
    (errors.UnitError, "invalid-input"),
    (errors.InvalidSignal, "unusable-log"),
    (errors.NotFound, "not-found"),
    (errors.NotAllowed, "not-allowed"),
    (errors.SignInNeeded, "sign-in-needed"),
    (errors.ProofNeeded, "sign-in-needed"),
    (errors.LinkOver, "over"),
    (errors.Conflict, "conflict"),
    (errors.TooMany, "too-many"),
    (errors.Unavailable, "unavailable"),
    (errors.BenchledgerError, "invalid-input"),
)
_BY_STATUS = {
    400: "malformed",
    401: "sign-in-needed",
    403: "not-allowed",
    404: "not-found",
    405: "method-not-allowed",
    409: "conflict",
    410: "over",
    413: "too-large",
    415: "unsupported-media-type",
    422: "invalid-input",
    429: "too-many",
    503: "unavailable",
}


def problem_for(error: errors.BenchledgerError) -> ProblemReply:
    """What a domain error says over HTTP."""
    word = next(word for kind, word in _BY_ERROR if isinstance(error, kind))
    problems = tuple(error.problems) if isinstance(error, errors.Unusable) else ()
    detail = str(error) or KINDS[word].meaning
    return ProblemReply(
        kind=KINDS[word], detail=detail, problems=problems, headers=_headers_for(error)
    )


def _headers_for(error: errors.BenchledgerError) -> dict[str, str]:
    if isinstance(error, errors.SignInNeeded):
        return {"WWW-Authenticate": "Bearer"}
    if isinstance(error, errors.TooMany):
        return {"Retry-After": str(error.retry_after_s)}
    return {"Retry-After": "5"} if isinstance(error, errors.Unavailable) else {}


def _for_http(error: HTTPException) -> ProblemReply:
    word = _BY_STATUS.get(error.status_code)
    kind = KINDS[word] if word else _plain_kind(error.status_code)
    usual = error.detail == HTTPStatus(error.status_code).phrase
    detail = kind.meaning if usual or not error.detail else str(error.detail)
    return ProblemReply(kind=kind, detail=detail, headers=dict(error.headers or {}))


def _plain_kind(status: int) -> ProblemKind:
    """A status that has no kind of its own: RFC 9457's `about:blank`."""
    phrase = HTTPStatus(status).phrase
    return ProblemKind("about:blank", status, phrase, phrase)


def _for_validation(error: RequestValidationError) -> ProblemReply:
    problems = []
    for fault in error.errors():
        where, *place = fault["loc"]
        message = str(fault["msg"])
        problems.append(
            errors.Problem(
                message=message[:1].upper() + message[1:] + ".",
                remedy=f"Correct it in the {where}; /api/v1/openapi.json shows what is taken.",
                field=".".join(str(part) for part in place) or None,
            )
        )
    detail = " · ".join(str(problem) for problem in problems)
    return ProblemReply(kind=KINDS["invalid-input"], detail=detail, problems=tuple(problems))


def problem_document(problem: ProblemReply) -> dict[str, object]:
    """The RFC 9457 members, and ours: `problems` and `request_id`."""
    word = problem.kind.word
    document: dict[str, object] = {
        "type": word if word == "about:blank" else f"{KINDS_ADDRESS}/{word}",
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
        "problems": [asdict(one) for one in problem.problems],
    }
    if problem.request_id:
        document["request_id"] = problem.request_id
    return document


def wants_page(request: Request) -> bool:
    """Whether a refusal is told as a page: every address but the API's and the machine's."""
    path = request.url.path
    if path.startswith("/api/") or path in {"/api", "/healthz"}:
        return False
    accept = request.headers.get("accept", "*/*")
    return "json" not in accept or "html" in accept


def send_problem(request: Request, problem: ProblemReply) -> Response:
    problem = replace(problem, request_id=request.scope.get("state", {}).get("request_id"))
    if wants_page(request):
        from server.pages.errors import render_problem

        response: Response = render_problem(request, problem)
        response.headers.update(problem.headers)
    else:
        response = JSONResponse(
            problem_document(problem),
            status_code=problem.status,
            headers=dict(problem.headers),
            media_type=MEDIA_TYPE,
        )
    response.headers.setdefault("Cache-Control", "no-store")
    return response


def install_problem_handlers(app: FastAPI) -> None:
    """Every refusal, ours or the framework's, leaves through `send_problem`.

    A defect of ours too, by the middleware `DefectsAnswered`.
    """
    app.add_exception_handler(errors.BenchledgerError, answer_refusal)
    app.add_exception_handler(HTTPException, _on_http_error)
    app.add_exception_handler(RequestValidationError, _on_validation_error)
    app.add_exception_handler(OperationalError, _on_database_away)
    app.add_exception_handler(PoolTimeout, _on_database_away)


def answer_refusal(request: Request, error: Exception) -> Response:
    assert isinstance(error, errors.BenchledgerError)
    if isinstance(error, errors.Moved):
        return RedirectResponse(_moved_to(request, error.location), status_code=308)
    if isinstance(error, errors.AlreadySent) and wants_page(request):
        return RedirectResponse(f"/runs/{error.run_id}", 303)
    if isinstance(error, errors.SignInNeeded) and wants_page(request) and request.method == "GET":
        back = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/sign-in?next={quote(back, safe='')}", status_code=303)
    if isinstance(error, errors.ProofNeeded) and wants_page(request):
        return RedirectResponse(f"/prove?next={quote(_asked_page(request), safe='')}", 303)
    return send_problem(request, problem_for(error))


def _asked_page(request: Request) -> str:
    """The page that was asked for, or the one whose form was sent."""
    if request.method == "GET":
        return request.url.path + (f"?{request.url.query}" if request.url.query else "")
    came_from = urlsplit(request.headers.get("referer", ""))
    is_ours = came_from.netloc == request.headers.get("host") and came_from.path.startswith("/")
    return came_from.path if is_ours else "/account"


def _moved_to(request: Request, location: str) -> str:
    """The same part of the API about what a merged thing became; for a page its new page."""
    old_id = request.path_params.get("appliance_id")
    if wants_page(request) or old_id is None:
        return location
    new_id = location.rsplit("/", 1)[-1].split("-", 1)[0]
    path = request.url.path.replace(f"/{old_id}", f"/{new_id}", 1)
    return path + (f"?{request.url.query}" if request.url.query else "")


def _on_http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    problem = _for_http(error)
    if error.status_code == 405:
        problem = replace(problem, headers={"Allow": ", ".join(_taken_methods(request))})
    return send_problem(request, problem)


def _taken_methods(request: Request) -> list[str]:
    """All that the address takes: the framework names only what its first route takes."""
    app: FastAPI = request.app
    taken = [
        method
        for method in ("GET", "POST", "PUT", "PATCH", "DELETE")
        if any(
            route.matches({**request.scope, "method": method})[0] is Match.FULL
            for route in app.routes
        )
    ]
    return [*taken, "HEAD"] if "GET" in taken else taken


def _on_validation_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    return send_problem(request, _for_validation(error))


def _on_database_away(request: Request, error: Exception) -> Response:
    """Not reachable, or busy for longer than we wait. Nothing was stored."""
    _log.error("the database does not answer", exc_info=error)
    kind = KINDS["unavailable"]
    return send_problem(
        request, ProblemReply(kind=kind, detail=kind.meaning, headers={"Retry-After": "5"})
    )


def answer_defect(request: Request, error: Exception) -> Response:
    request_id = request.scope.get("state", {}).get("request_id")
    _log.error("request %s failed", request_id, exc_info=error)
    detail = "The fault is ours and has been written down. Try again; nothing was half stored."
    return send_problem(request, ProblemReply(kind=KINDS["defect"], detail=detail))
