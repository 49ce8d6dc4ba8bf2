"""`benchledger login`: a token for this machine, approved in the browser, kept for its user."""

import json
import os
import platform
import time
from typing import Any

import httpx

from server.commands.credentials import server_key, tokens_file
from server.errors import BenchledgerError

_TIMEOUT_S = 20.0


def login(server: str) -> None:
    """Show a code, wait until it is approved, keep the token for `send` and `record`.

    Raises
    ------
    BenchledgerError: not reachable, refused, or nobody approved it in time.
    """
    with open_client(server) as client:
        asked = _ask(client, "/api/v1/command-sign-ins", {"where": platform.node()[:100]})
        print(f"Open   {asked['address']}")
        print(f"and approve it there, if the page shows   {asked['code']}", flush=True)
        token = _wait(client, asked)
    keep_token(server, token)
    print(f"Signed in to {server}. The token is kept in {tokens_file()}, for you alone.")


def open_client(server: str) -> httpx.Client:
    return httpx.Client(base_url=server, timeout=_TIMEOUT_S)


def _wait(client: httpx.Client, asked: dict[str, Any]) -> str:
    deadline = time.monotonic() + float(asked["expires_in_s"])
    said = {"code": asked["code"], "secret": asked["secret"]}
    while time.monotonic() < deadline:
        time.sleep(float(asked["poll_s"]))
        found = _ask(client, "/api/v1/command-sign-ins/token", said)["token"]
        if found:
            return str(found)
    raise BenchledgerError("Nobody approved it in time. Start `benchledger login` again.")


def _ask(client: httpx.Client, path: str, content: dict[str, Any]) -> dict[str, Any]:
    try:
        answer = client.post(path, json=content)
        told = answer.json()
    except (httpx.HTTPError, ValueError) as error:
        raise BenchledgerError(
            f"{client.base_url} does not answer as a ledger does ({error}). Check the address."
        ) from error
    if not answer.is_success:
        raise BenchledgerError(str(told.get("detail") or told.get("title")))
    return dict(told)


def keep_token(server: str, token: str) -> None:
    """Keep it beside those of other servers, readable by its user alone from the first byte on."""
    path = tokens_file()
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    try:
        kept = json.loads(path.read_bytes())
    except (FileNotFoundError, ValueError):
        kept = {}
    if not isinstance(kept, dict):
        kept = {}
    kept[server_key(server)] = token
    made = path.with_name(f".{path.name}-{os.getpid()}")
    opened = os.open(made, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(opened, "w") as file:
        json.dump(kept, file, indent=1)
        file.flush()
        os.fsync(file.fileno())
    made.rename(path)
