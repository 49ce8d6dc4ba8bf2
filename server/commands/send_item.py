"""One spooled file to the server: a small one whole, a large one in pieces that go on."""

import io
from pathlib import Path
from typing import Any

import httpx
from rich.progress import Progress

from server.commands.pieces import PIECE_BYTES, bring, forget, give_up
from server.commands.sending import Line, RefusedRun, checked, progress_bar, retried
from server.commands.spool import Item, folder_of
from server.errors import UnusableLog


def send_item(line: Line, spool: Path, item: Item) -> dict[str, Any]:
    """Send a spooled file; the server's answer.

    Raises
    ------
    UnusableLog, RefusedRun: refused; trying again would change nothing.
    NotNow: it could not be sent within the patience; the copy stays where it is.
    """
    folder = folder_of(spool, item)
    if (folder / "log").stat().st_size != item.n_bytes:
        raise RefusedRun(f"The copy in {folder} is damaged. Send the file itself again.")
    if item.n_bytes <= PIECE_BYTES:
        return checked(_send_whole(line, folder, item), item.name)
    answer = _send_brought(line, folder, item)
    if answer.status_code == httpx.codes.NOT_FOUND:  # forgotten by the server since it was brought
        forget(folder)
        answer = _send_brought(line, folder, item)
    try:
        return checked(answer, item.name)
    except (UnusableLog, RefusedRun):
        give_up(line, folder)
        raise


def _send_whole(line: Line, folder: Path, item: Item) -> httpx.Response:
    def post() -> httpx.Response:
        bar = progress_bar()
        with bar, _Watched(folder / "log", item, bar) as log:
            return _post(line, folder, item, file=(item.name, log, "application/octet-stream"))

    return retried(line, post)


def _send_brought(line: Line, folder: Path, item: Item) -> httpx.Response:
    upload_id = bring(line, folder, item)
    return retried(line, lambda: _post(line, folder, item, upload=(None, upload_id)))


def _post(line: Line, folder: Path, item: Item, **log: Any) -> httpx.Response:
    bench = (None, (folder / "bench.json").read_bytes(), "application/json")
    headers = {**line.headers, "Idempotency-Key": item.key}
    return line.client.post("/api/v1/runs", files={"bench": bench, **log}, headers=headers)


class _Watched(io.BufferedReader):
    """A file that moves a progress bar while it is read."""

    def __init__(self, path: Path, item: Item, progress: Progress) -> None:
        super().__init__(io.FileIO(path))
        self._progress = progress
        self._task = progress.add_task(item.name, total=item.n_bytes)

    def read(self, size: int | None = -1, /) -> bytes:
        block = super().read(size)
        self._progress.advance(self._task, len(block))
        return block
