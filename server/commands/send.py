"""`benchledger send`: hand a log and its bench file to a server, then show what it made of them."""

import hashlib
import io
import json
import time
import tomllib
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

import httpx
from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TransferSpeedColumn

from server.commands.inputs import bench_bytes, check_log, read_bench_file
from server.commands.report import print_report
from server.errors import BenchledgerError, Problem, UnusableLog

WAIT_S = 600.0


def send(log: Path, *, bench: Path | None, server: str, token: str | None, as_json: bool) -> None:
    """Send and wait for the figures. Sending the same again gives the same run.

    Raises
    ------
    UnusableLog, UnusableBench: the file can't be used (found here or by the server).
    BenchledgerError: not reachable, no token, or refused.
    """
    check_log(log)
    read_bench_file(bench)  # refuses a bench file that can't be used before anything is sent
    if token is None:
        raise BenchledgerError("A token is needed: --token, or BENCHLEDGER_TOKEN.")
    content = bench_bytes(bench)
    described = tomllib.loads(content.decode("utf-8-sig"))
    headers = {"Authorization": f"Bearer {token}", "Idempotency-Key": _key(log, content)}
    try:
        with httpx.Client(base_url=server, timeout=httpx.Timeout(30, read=WAIT_S)) as client:
            answer = _upload(client, log, described, headers)
            answer = _until_done(client, answer, headers)
    except httpx.HTTPError as error:
        raise BenchledgerError(f"{server} can't be reached: {error}. Try again later.") from error
    if as_json:
        print(json.dumps(answer, ensure_ascii=False, indent=2))
        return
    console = Console()
    print_report(console, answer["results"])
    if answer.get("page"):
        console.print(f"\nThe run's page: {urljoin(server, answer['page'])}")


def _key(log: Path, bench: bytes) -> str:
    digest = hashlib.sha256()
    with log.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    digest.update(hashlib.sha256(bench).digest())
    return digest.hexdigest()


class _Watched(io.BufferedReader):
    """A file that moves a progress bar while it is read."""

    def __init__(self, path: Path, progress: Progress) -> None:
        super().__init__(io.FileIO(path))
        self._progress = progress
        self._task = progress.add_task(path.name, total=path.stat().st_size)

    def read(self, size: int | None = -1, /) -> bytes:
        block = super().read(size)
        self._progress.advance(self._task, len(block))
        return block


def _upload(
    client: httpx.Client, log: Path, described: dict[str, Any], headers: dict[str, str]
) -> dict[str, Any]:
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        DownloadColumn(),
        TransferSpeedColumn(),
        console=Console(stderr=True),
    )
    with bar, _Watched(log, bar) as file:
        bench = json.dumps(described, default=_plain).encode()
        response = client.post(
            "/api/v1/runs",
            files={
                "bench": (None, bench, "application/json"),
                "file": (log.name, file, "application/octet-stream"),
            },
            headers=headers,
        )
    return _checked(response, log.name)


def _plain(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{value!r} has no place in a bench file")


def _checked(response: httpx.Response, name: str) -> dict[str, Any]:
    if response.is_success:
        return dict(response.json())
    if "json" not in response.headers.get("content-type", ""):
        raise BenchledgerError(f"The server answered {response.status_code}.")
    problem = response.json()
    if response.status_code == 422 and problem.get("problems"):
        raise UnusableLog(
            name,
            [
                Problem(
                    message=str(p.get("message", "")),
                    remedy=str(p.get("remedy", "")),
                    row=p.get("row"),
                    column=p.get("column"),
                    field=p.get("field"),
                )
                for p in problem["problems"]
            ],
        )
    raise BenchledgerError(str(problem.get("detail") or problem.get("title")))


def _until_done(
    client: httpx.Client, answer: dict[str, Any], headers: dict[str, str]
) -> dict[str, Any]:
    """A large log is answered at once with a status address; wait there for its figures."""
    deadline = time.monotonic() + WAIT_S
    while answer.get("state") == "working":
        if time.monotonic() > deadline:
            raise BenchledgerError("The figures are not there yet; look at the run's page later.")
        time.sleep(0.5)
        answer = _checked(client.get(f"/api/v1/runs/{answer['id']}", headers=headers), "")
    return answer
