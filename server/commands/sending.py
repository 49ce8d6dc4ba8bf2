"""Asking a server: again while the network or the server is at fault; what its answers say."""

import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any

import httpx
from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TransferSpeedColumn

from server.errors import BenchledgerError, Problem, UnusableLog

WAIT_S = 600.0
PATIENCE_S = 30.0
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 0.5, 30.0
# The server can't just now; the same request may do later.
LATER = frozenset({408, 425, 429})
_CONSENT = " With this command: add --consent, and --tie MAKER for each maker you have ties with."

Tell = Callable[[str], None]


class NotNow(BenchledgerError):
    """It stays in the spool. `is_for_all`: the next one would fare no better."""

    def __init__(self, message: str, *, is_for_all: bool = True) -> None:
        self.is_for_all = is_for_all
        super().__init__(message)


class RefusedRun(BenchledgerError):
    """The server will not take this file; trying again would change nothing."""


@dataclass(frozen=True, slots=True)
class Line:
    """How to reach a server and how long to keep trying."""

    client: httpx.Client
    server: str
    token: str
    patience_s: float = PATIENCE_S
    tell: Tell = print

    @property
    def headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}"}


def open_client(server: str) -> httpx.Client:
    return httpx.Client(base_url=server, timeout=httpx.Timeout(30, read=WAIT_S))


def progress_bar() -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        DownloadColumn(),
        TransferSpeedColumn(),
        console=Console(stderr=True),
    )


def retried(
    line: Line, ask: Callable[[], httpx.Response], *, later: frozenset[int] = LATER
) -> httpx.Response:
    """An answer that is final, asked for again after pauses that double (or as the server says).

    `later`: the answers, beside the server's own faults, that are not final.

    Raises
    ------
    NotNow: still no such answer when the patience is over.
    """
    deadline = time.monotonic() + line.patience_s
    pause = _FIRST_PAUSE_S
    while True:
        told = None
        try:
            response = ask()
            if response.status_code < 500 and response.status_code not in later:
                return response
            why = f"{line.server} answered {response.status_code}"
            told = _retry_after_s(response)
        except httpx.HTTPError as error:
            why = f"{line.server} can't be reached: {error}"
        # Not all of those that were turned away come back at the same moment.
        wait = told if told is not None else pause * random.uniform(0.7, 1.3)  # noqa: S311
        if time.monotonic() + wait > deadline:
            raise NotNow(f"{why}. Try again later.")
        line.tell(f"{why}; trying again in {wait:.0f} s.")
        time.sleep(wait)
        pause = min(2 * pause, _LONGEST_PAUSE_S)


def _retry_after_s(response: httpx.Response) -> float | None:
    """Seconds of a Retry-After header, a number or a date (RFC 9110, 10.2.3)."""
    told = response.headers.get("retry-after", "").strip()
    if told.isdigit():
        return float(told)
    try:
        at = parsedate_to_datetime(told)
    except ValueError:
        return None
    at = at if at.tzinfo is not None else at.replace(tzinfo=UTC)
    return max((at - datetime.now(UTC)).total_seconds(), 0.0)


def checked(response: httpx.Response, name: str) -> dict[str, Any]:
    """The JSON of a good answer. Raises UnusableLog, RefusedRun or NotNow."""
    if response.is_success:
        return dict(response.json())
    if "json" not in response.headers.get("content-type", ""):
        raise NotNow(f"The server answered {response.status_code}.")
    problem = response.json()
    if response.status_code == 422 and problem.get("problems"):
        raise UnusableLog(name, [_problem(told) for told in problem["problems"]])
    reason = str(problem.get("detail") or problem.get("title"))
    if response.status_code == httpx.codes.UNAUTHORIZED:
        raise NotNow(f"{reason} Give a good one with --token, or sign in with `benchledger login`.")
    if response.status_code == httpx.codes.FORBIDDEN:
        raise NotNow(reason + _CONSENT if "consent" in reason else reason)
    raise RefusedRun(reason)


def _problem(told: dict[str, Any]) -> Problem:
    return Problem(
        message=str(told.get("message", "")),
        remedy=str(told.get("remedy", "")),
        row=told.get("row"),
        column=told.get("column"),
        field=told.get("field"),
    )


def until_done(line: Line, answer: dict[str, Any]) -> dict[str, Any]:
    """A large log is answered at once with a status address; wait there for its figures."""
    deadline = time.monotonic() + WAIT_S
    while answer.get("state") == "working":
        if time.monotonic() > deadline:
            raise BenchledgerError("The figures are not there yet; look at the run's page later.")
        time.sleep(0.5)
        answer = run_of(line, str(answer["id"]))
    return answer


def run_of(line: Line, run_id: str) -> dict[str, Any]:
    ask = lambda: line.client.get(f"/api/v1/runs/{run_id}", headers=line.headers)  # noqa: E731
    return checked(retried(line, ask), "")
