"""A token of the demonstration, kept in a file that only its owner reads."""

import os
from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import Engine

from server.actions.issue_token import issue_token
from server.store.database import read_session, write_session
from server.store.people import tester_for_token


def keep_token(
    engine: Engine, path: Path, *, tester: str, scopes: Sequence[str], label: str
) -> str:
    """The token in the file if it still works, else a new one."""
    if path.exists():
        token = path.read_text(encoding="ascii").strip()
        with read_session(engine) as session:
            if tester_for_token(session, token=token) is not None:
                return token
    with write_session(engine) as session:
        token = issue_token(session, tester=tester, scopes=scopes, label=label).token
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(token + "\n")
    return token
