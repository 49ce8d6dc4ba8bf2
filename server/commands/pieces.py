"""A large spooled file to the server in pieces, going on from where a broken network stopped it."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx

from server.commands.sending import LATER, Line, checked, progress_bar, retried
from server.commands.spool import Item, write_durably

# Above this a file goes in pieces, each of at most so much.
PIECE_BYTES = 8 << 20
_CONFLICT, _GONE = 409, 404
_UPLOADS = "/api/v1/uploads"


def bring(line: Line, folder: Path, item: Item) -> str:
    """Have all of a spooled file on the server; the id of its upload.

    The id is kept beside the copy, so that another process goes on too.

    Raises
    ------
    UnusableLog, RefusedRun, NotNow: as `send_item`.
    """
    told = _stands(line, folder, item) or _begin(line, folder, item)
    upload_id = str(told["id"])
    piece_bytes = min(PIECE_BYTES, int(told["piece_bytes"]))
    with progress_bar() as bar, (folder / "log").open("rb") as log:
        task = bar.add_task(item.name, total=item.n_bytes)
        at = int(told["n_received"])
        while at < item.n_bytes:
            bar.update(task, completed=at)
            step = _piece(line, upload_id, log, at=at, piece_bytes=piece_bytes)
            answer = retried(line, step, later=LATER | {_CONFLICT})
            if answer.status_code == _GONE:  # nobody went on with it for too long
                told = _begin(line, folder, item)
                upload_id, at = str(told["id"]), 0
            else:
                at = int(checked(answer, item.name)["n_received"])
        bar.update(task, completed=at)
    return upload_id


def give_up(line: Line, folder: Path) -> None:
    """Let the server forget what was brought; where it can't be reached it does so in a day."""
    kept = folder / "upload"
    if kept.exists():
        with suppress(httpx.HTTPError):
            line.client.delete(f"{_UPLOADS}/{kept.read_text()}", headers=line.headers)
    forget(folder)


def forget(folder: Path) -> None:
    """Bring the file anew the next time."""
    (folder / "upload").unlink(missing_ok=True)


def _stands(line: Line, folder: Path, item: Item) -> dict[str, Any] | None:
    """Where an upload stands that was begun before; None where there is none of this file."""
    kept = folder / "upload"
    if not kept.exists():
        return None
    address = f"{_UPLOADS}/{kept.read_text()}"
    answer = retried(line, lambda: line.client.get(address, headers=line.headers))
    return None if answer.status_code == _GONE else checked(answer, item.name)


def _begin(line: Line, folder: Path, item: Item) -> dict[str, Any]:
    about = {"file_name": item.name, "n_bytes": item.n_bytes, "for_run": True}
    answer = retried(line, lambda: line.client.post(_UPLOADS, json=about, headers=line.headers))
    told = checked(answer, item.name)
    write_durably(folder / "upload", str(told["id"]).encode())
    return told


def _piece(
    line: Line, upload_id: str, log: Any, *, at: int, piece_bytes: int
) -> Callable[[], httpx.Response]:
    """Sends the piece at `at`; tried again it asks first how far the file is good."""
    address, is_known = f"{_UPLOADS}/{upload_id}", True

    def step() -> httpx.Response:
        nonlocal is_known
        if not is_known:
            stands = line.client.get(address, headers=line.headers)
            if stands.status_code != httpx.codes.OK or stands.json()["n_received"] != at:
                return stands
        is_known = False
        log.seek(at)
        return line.client.patch(
            address,
            content=log.read(piece_bytes),
            headers={
                **line.headers,
                "Upload-Offset": str(at),
                "Content-Type": "application/partial-upload",
            },
        )

    return step
