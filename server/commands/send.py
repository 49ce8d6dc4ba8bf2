"""`benchledger send`: logs with their bench files into the spool, and from there to a server."""

import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

from rich.console import Console
from rich.markup import escape

from server.commands import spool as spooled
from server.commands.consent import see_to_consent
from server.commands.credentials import server_key, token_for
from server.commands.inputs import bench_bytes, read_bench_file
from server.commands.report import print_report
from server.commands.send_item import send_item
from server.commands.send_paths import Described, find_logs
from server.commands.sending import (
    Line,
    NotNow,
    RefusedRun,
    open_client,
    run_of,
    until_done,
)
from server.commands.spool import Item
from server.errors import BenchledgerError, Problem, Unusable, UnusableBench

Json = dict[str, Any]
_WAIT = "Another `benchledger send` is sending from this spool; waiting for it to end."


@dataclass(frozen=True, slots=True)
class Sending:
    """What the command line says, beside the files."""

    server: str
    token: str | None = None
    spool: Path | None = None
    patience_s: float = 30.0
    consent: bool = False
    ties: tuple[str, ...] = ()
    as_json: bool = False
    is_later: bool = False
    is_waiting: bool = False


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of one file. `answer`: the server's, where it was sent just now."""

    name: str
    state: str
    run: str | None = None
    page: str | None = None
    reason: str | None = None
    answer: Json | None = None


def send(paths: Sequence[Path], *, bench: Path | None, told: Sending) -> None:
    """Spool what is named, then send it and wait for the figures.

    Sending the same again gives the same run. With `is_later` it is only spooled; with
    `is_waiting` all that waits is sent.

    Raises
    ------
    UnusableLog, UnusableBench: a single file can't be used (found here or by the server), or some
        of several were refused.
    BenchledgerError: not reachable, no token, or refused; what was spooled stays there.
    """
    logs = find_logs(paths, bench=bench) if paths else []
    if not logs and not told.is_waiting:
        raise BenchledgerError("Name a log or a folder, or send what waits with --waiting.")
    named, left_out = [], []
    prepared = []
    for log in logs:
        if log.bench is None and log.is_from_folder:
            left_out.append(Sent(str(log.log), "left out", reason=_no_bench(log)))
        else:
            prepared.append((log, *_bench(log)))  # every bench file is read before anything is kept
    if not told.is_later:
        token = token_for(told.server, told.token)
    spool = spooled.open_spool(spooled.spool_folder(told.spool))
    server = server_key(told.server)
    for log, content, as_json in prepared:
        named.append(
            spooled.keep(spool, log.log, bench_file=content, bench_json=as_json, server=server)
        )
    if told.is_later:
        _show([*(_waits(item) for item in named), *left_out], told)
        return
    is_single = len(logs) == 1 and not logs[0].is_from_folder and not told.is_waiting
    results = _send_spooled(spool, named, told, token, is_single=is_single)
    if is_single:
        _show_single(results[0], told)
    else:
        _show([*results, *left_out], told)


def send_log(log: Path, *, bench: Path | None, told: Sending) -> Sent:
    """One log through the spool, its figures waited for. Raises as `send` does."""
    content, as_json = _bench(Described(log, bench))
    token = token_for(told.server, told.token)
    spool = spooled.open_spool(spooled.spool_folder(told.spool))
    server = server_key(told.server)
    item = spooled.keep(spool, log, bench_file=content, bench_json=as_json, server=server)
    return _send_spooled(spool, [item], told, token, is_single=True)[0]


def _send_spooled(
    spool: Path, named: list[Item], told: Sending, token: str, *, is_single: bool
) -> list[Sent]:
    tell = Console(stderr=True).print
    server = server_key(told.server)
    results: list[Sent] = []
    with open_client(server) as client, spooled.turn(spool, on_wait=_WAIT, tell=tell):
        line = Line(client, server, token, told.patience_s, tell)
        wanted = list(named)
        if told.is_waiting:
            known = {item.id for item in named}
            wanted += [i for i in spooled.items(spool) if i.server == server and i.id not in known]
        try:
            if wanted:
                see_to_consent(line, spool, is_given=told.consent, ties=list(told.ties))
            for item in wanted:
                results.append(_send_one(line, spool, item, is_single=is_single))
        except NotNow as fault:
            if is_single:
                raise NotNow(f"{fault} {_KEPT}") from fault
            done = len(results)
            results += [_waits(item, str(fault)) for item in wanted[done:]]
    if told.is_waiting:
        shown = {item.id for item in wanted}
        aside = spooled.items(spool, state=spooled.REFUSED)
        results += [
            Sent(i.name, "refused", reason=i.told)
            for i in aside
            if i.server == server and i.id not in shown
        ]
    return results


_KEPT = "It waits in the spool: `benchledger send --waiting` sends it."


def _without_name(refusal: Unusable | RefusedRun) -> str:
    """The reason alone: wherever it is shown the file's name stands before it."""
    if isinstance(refusal, Unusable):
        return " · ".join(str(problem) for problem in refusal.problems)
    return str(refusal)


def _send_one(line: Line, spool: Path, item: Item, *, is_single: bool) -> Sent:
    """One file, under the lock. A refusal of a single one is raised, of several it is listed."""
    receipt = spooled.receipt_of(spool, item.id)
    if spooled.find(spool, item.id) is None and receipt is not None:
        # The process we waited for has sent it.
        answer = run_of(line, str(receipt["run"]))
    else:
        try:
            answer = send_item(line, spool, item)
        except NotNow as fault:
            spooled.note_try(spool, item, told=str(fault))
            raise
        except (Unusable, RefusedRun) as refusal:
            reason = _without_name(refusal)
            spooled.put_aside(spool, item, reason=reason)
            if is_single:
                raise
            return Sent(item.name, "refused", reason=reason)
        spooled.mark_sent(spool, item, run_id=str(answer["id"]), page=answer.get("page"))
    if is_single:
        answer = until_done(line, answer)
    page = answer.get("page")
    return Sent(
        name=item.name,
        state="sent",
        run=str(answer["id"]),
        page=urljoin(line.server, page) if page else None,
        answer=answer,
    )


def _waits(item: Item, reason: str | None = None) -> Sent:
    return Sent(item.name, "waiting", reason=reason or item.told)


def _no_bench(log: Described) -> str:
    return f"no bench file: put {log.log.stem}.toml or bench.toml beside it, or name one (--bench)"


def _bench(log: Described) -> tuple[bytes, bytes]:
    """The bench file's bytes and the same as JSON. Raises UnusableBench before anything is kept."""
    read_bench_file(log.bench)
    content = bench_bytes(log.bench)
    described = tomllib.loads(content.decode("utf-8-sig"))
    return content, json.dumps(described, default=_plain).encode()


def _plain(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{value!r} has no place in a bench file")


def _show_single(sent: Sent, told: Sending) -> None:
    assert sent.answer is not None
    if told.as_json:
        print(json.dumps(sent.answer, ensure_ascii=False, indent=2))
        return
    console = Console()
    print_report(console, sent.answer["results"])
    if sent.page:
        console.print(f"\nThe run's page: {sent.page}")


def _show(results: list[Sent], told: Sending) -> None:
    """Every file and what became of it; then the exit code's refusal, if there is one."""
    if told.as_json:
        names = ("name", "state", "run", "page", "reason")
        rows = [{name: getattr(one, name) for name in names} for one in results]
        print(json.dumps(rows, ensure_ascii=False, indent=2))
    else:
        console = Console(soft_wrap=True)
        for one in results:
            beside = one.page or one.reason or ""
            console.print(f"{one.state:9} {escape(one.name)}  {escape(beside)}", highlight=False)
        if not results:
            console.print("Nothing waits.")
    refused = [one for one in results if one.state == "refused"]
    waiting = [one for one in results if one.state == "waiting"]
    if refused and not told.is_later:
        remedy = "Correct it and send it again; a copy is kept aside in the spool."
        raise UnusableBench(
            "refused", [Problem(f"{one.name}: {one.reason}", remedy) for one in refused]
        )
    if waiting and not told.is_later:
        raise BenchledgerError(f"{len(waiting)} not sent: {waiting[0].reason} {_KEPT}")
