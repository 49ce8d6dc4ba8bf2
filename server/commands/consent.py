"""Consent to the data licence, and ties to a maker: asked once, recorded with the account."""

import hashlib
import json
import sys
from pathlib import Path
from typing import Any

from server.commands.sending import Line, checked, retried
from server.commands.spool import write_durably
from server.errors import BenchledgerError

LICENCE = "CC BY 4.0"
_ME = "/api/v1/testers/me"


def see_to_consent(line: Line, spool: Path, *, is_given: bool, ties: list[str]) -> None:
    """Ask on a terminal or take what the command line says, tell the server, and remember it.

    Without a terminal and without a word on the command line nothing is asked: whether such a
    sender's runs are taken is the server's to say.

    Raises
    ------
    BenchledgerError: the asked one does not agree.
    """
    known = spool / "consents.json"
    told = _known(known)
    account = hashlib.sha256(line.token.encode()).hexdigest()[:16]
    place = f"{line.server} {account}"
    is_said = is_given or bool(ties)
    if not is_said and (place in told or not sys.stdin.isatty()):
        return
    me = checked(retried(line, lambda: line.client.get(_ME, headers=line.headers)), "")
    if is_said or me.get("consented_licence") != LICENCE:
        _record(line, ties if is_given else [*ties, *_asked()])
    write_durably(known, json.dumps({**told, place: LICENCE}).encode())


def _known(path: Path) -> dict[str, Any]:
    try:
        return dict(json.loads(path.read_bytes()))
    except (FileNotFoundError, ValueError):
        return {}  # then the server is asked, which knows


def _asked() -> list[str]:
    if not sys.stdin.isatty():
        raise BenchledgerError("Ties go with your consent: add --consent.")
    sys.stderr.write(
        f"What you send is published under {LICENCE}: anybody may use it, with your name.\n"
        "Do you agree, for this and every later run? [y/N] "
    )
    sys.stderr.flush()
    if sys.stdin.readline().strip().casefold() not in {"y", "yes"}:
        raise BenchledgerError("Nothing was sent. Without that licence a run can't be published.")
    sys.stderr.write(
        "Makers you work for or are paid by, with commas between them (Enter for none): "
    )
    sys.stderr.flush()
    return [maker.strip() for maker in sys.stdin.readline().split(",") if maker.strip()]


def _record(line: Line, ties: list[str]) -> None:
    body = {"licence": LICENCE, "ties": ties}
    post = lambda: line.client.post(f"{_ME}/consent", json=body, headers=line.headers)  # noqa: E731
    checked(retried(line, post), "consent")
