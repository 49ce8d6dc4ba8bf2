"""Whose token the command uses: the given one, else what `benchledger login` kept."""

import json
import os
from pathlib import Path

from server.errors import BenchledgerError

_HINT = (
    "A token is needed: --token, or BENCHLEDGER_TOKEN, or sign in once with `benchledger login`."
)


def tokens_file() -> Path:
    """XDG_CONFIG_HOME/benchledger/tokens.json: tokens by the server's address, mode 0600."""
    config = os.environ.get("XDG_CONFIG_HOME")
    home = Path(config) if config else Path.home() / ".config"
    return home / "benchledger" / "tokens.json"


def server_key(server: str) -> str:
    return server.rstrip("/")


def stored_token(server: str) -> str | None:
    """What `benchledger login` kept for a server; None where it kept nothing."""
    path = tokens_file()
    try:
        kept = json.loads(path.read_bytes())
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise BenchledgerError(
            f"{path} can't be read ({error}). Sign in again with `benchledger login`."
        ) from error
    found = kept.get(server_key(server)) if isinstance(kept, dict) else None
    return found if isinstance(found, str) else None


def token_for(server: str, given: str | None) -> str:
    """The given token, else the stored one. Raises BenchledgerError where there is none."""
    token = given or stored_token(server)
    if not token:
        raise BenchledgerError(_HINT)
    return token
