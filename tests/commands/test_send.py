"""`benchledger send`: folders, a spool that loses nothing, and each run stored once."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select

from server.store import tables as t
from server.store.database import read_session
from tests.api.logs import small_log
from tests.commands.serving import ROOT, answering, command, free_port, served

BENCH = """
[appliance]
maker = "Millbeck"
model = "WD-30"
category = "wet/dry vacuum"
[plate]
voltage = "120 V"
supply = "AC"
current = "10.2 A"
[rig]
name = "Bench one"
arm = "100 mm"
[run]
tested_on = 2026-11-02
"""
N_KILLS = 12
NOBODY = "http://127.0.0.1:9"


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    """A folder: two logs under its bench.toml, one below with a file of its own, and no logs."""
    folder = tmp_path / "logs"
    (folder / "below").mkdir(parents=True)
    (folder / "one.csv").write_text(small_log(dwell_s=1.5))
    (folder / "two.csv").write_text(small_log(dwell_s=2.0))
    (folder / "bench.toml").write_text(BENCH)
    (folder / "below" / "three.txt").write_text(small_log(dwell_s=2.5))
    (folder / "below" / "three.toml").write_text(BENCH.replace("WD-30", "WD-31"))
    (folder / "notes.txt").write_text("no log, and nothing describes it")
    (folder / ".hidden.csv").write_text("no log")
    return folder


def n_runs(engine: Engine) -> int:
    with read_session(engine) as session:
        return session.scalar(select(func.count()).select_from(t.RunRow)) or 0


def left_in(spool: Path, state: str) -> list[str]:
    return sorted(p.name for p in (spool / state).iterdir())


def rows_of(done: subprocess.CompletedProcess[str]) -> dict[str, dict[str, str]]:
    return {row["name"]: row for row in json.loads(done.stdout)}


def test_a_folder_waits_without_a_network_and_is_sent_later(ledger, logs, tmp_path) -> None:
    settings, engine, token = ledger
    port, spool = free_port(), tmp_path / "spool"
    more = ("--server", f"http://127.0.0.1:{port}", "--token", token, "--spool", spool)
    done = command("send", logs, *more, "--patience", 0, "--json")
    assert done.returncode == 1
    assert {row["state"] for row in rows_of(done).values()} == {"waiting"}
    assert set(rows_of(done)) == {"one.csv", "two.csv", "three.txt"}
    assert "can't be reached" in done.stderr
    assert "--waiting" in done.stderr
    with served(settings, port=port):
        done = command("send", "--waiting", *more, "--json")
        assert done.returncode == 0, done.stderr
        assert {row["state"] for row in rows_of(done).values()} == {"sent"}
        assert n_runs(engine) == 3
        assert left_in(spool, "waiting") == []
        again = command("send", "--waiting", *more)
        assert again.stdout.strip() == "Nothing waits."
        # The same folder once more: the same runs.
        same = command("send", logs, *more, "--json")
        assert {n: r["run"] for n, r in rows_of(same).items()} == {
            n: r["run"] for n, r in rows_of(done).items()
        }
        assert n_runs(engine) == 3


def test_one_log_is_reported_as_before(ledger, logs, tmp_path) -> None:
    settings, engine, token = ledger
    with served(settings) as address:
        more = ("--server", address, "--token", token, "--spool", tmp_path / "spool")
        done = command("send", logs / "one.csv", "--bench", logs / "bench.toml", *more)
        assert done.returncode == 0, done.stderr
        assert "Method brake-" in done.stdout
        assert "The run's page: http" in done.stdout
        answer = json.loads(command("send", logs / "one.csv", *more, "--json").stdout)
        assert answer["results"]["metrics"]["shaft_power_max_steady"]["value"] > 0
    assert n_runs(engine) == 1


def test_a_log_that_nothing_describes_is_left_out(ledger, logs, tmp_path) -> None:
    (logs / "bench.toml").unlink()
    spool = tmp_path / "spool"
    done = command("send", logs, "--later", "--spool", spool, "--json")
    states = {name: row["state"] for name, row in rows_of(done).items()}
    assert states["three.txt"] == "waiting"
    assert states[str(logs / "one.csv")] == "left out"
    assert len(left_in(spool, "waiting")) == 1


def test_a_refused_one_is_kept_aside_and_not_sent_again(ledger, logs, tmp_path) -> None:
    settings, engine, token = ledger
    (logs / "one.csv").write_text("time [s],colour\n0,red\n1,blue\n2,green\n")
    spool = tmp_path / "spool"
    with served(settings) as address:
        more = ("--server", address, "--token", token, "--spool", spool)
        done = command("send", logs, *more)
        assert done.returncode == 2
        assert "refused: one.csv: no column is speed" in done.stderr
        assert n_runs(engine) == 2
        assert len(left_in(spool, "refused")) == 1
        listed = command("send", "--waiting", *more, "--json")
        assert rows_of(listed)["one.csv"]["state"] == "refused"
        assert "speed" in rows_of(listed)["one.csv"]["reason"]
        (logs / "one.csv").write_text(small_log(dwell_s=1.5))
        assert command("send", logs / "one.csv", *more).returncode == 0
        assert n_runs(engine) == 3


def test_a_busy_server_is_asked_again_when_it_says(logs, tmp_path) -> None:
    answers = [(503, {}, {}), (429, {"Retry-After": "1"}, {}), (201, {}, {"id": "a" * 10})]
    with answering(lambda *_: answers.pop(0)) as told:
        started = time.monotonic()
        more = ("--server", told.address, "--token", "t", "--spool", tmp_path / "spool")
        done = command("send", logs, *more, "--json", "--patience", 20)
        assert done.returncode != 0  # the second file meets a server that has no more to say
        took = time.monotonic() - started
    first, second, third, *_ = told.asked
    keys = {asked[2]["Idempotency-Key"] for asked in (first, second, third)}
    assert len(keys) == 1
    assert took >= 1.0


def test_a_refused_token_stops_all_and_loses_nothing(logs, tmp_path) -> None:
    refusal = (401, {"Content-Type": "application/problem+json"}, {"detail": "Unknown token."})
    with answering(lambda *_: refusal) as told:
        more = ("--server", told.address, "--token", "t", "--spool", tmp_path / "spool")
        done = command("send", logs, *more)
    assert done.returncode == 1
    assert "Unknown token." in done.stderr
    assert "benchledger login" in done.stderr
    assert len(told.asked) == 1
    assert len(left_in(tmp_path / "spool", "waiting")) == 3


def test_two_at_once_send_each_file_once(ledger, logs, tmp_path) -> None:
    settings, engine, token = ledger
    with served(settings) as address:
        arguments = [sys.executable, "-m", "server.cli", "send", str(logs), "--server", address,
                     "--token", token, "--spool", str(tmp_path / "spool"), "--json"]  # fmt: skip
        both = [
            subprocess.Popen(arguments, cwd=ROOT, stdout=subprocess.PIPE, text=True)
            for _ in range(2)
        ]
        outputs = [json.loads(one.communicate(timeout=120)[0]) for one in both]
    runs = [{row["name"]: row["run"] for row in rows} for rows in outputs]
    assert runs[0] == runs[1]
    assert n_runs(engine) == 3


@pytest.mark.parametrize("nth", range(N_KILLS))
def test_killed_at_any_moment_each_file_is_stored_once(ledger, logs, tmp_path, nth) -> None:
    """Killed while it copies, while it sends, before it heard the answer, before the receipt."""
    settings, engine, token = ledger
    spool = tmp_path / "spool"
    with served(settings) as address:
        more = ["--server", address, "--token", token, "--spool", str(spool)]
        process = subprocess.Popen(
            [sys.executable, "-m", "server.cli", "send", str(logs), *more],
            cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        # The first request of a fresh web process takes a second or two more than the others.
        time.sleep(0.3 + 2.7 * (nth + random.Random(nth).random()) / N_KILLS)
        process.send_signal(signal.SIGKILL)
        process.wait()
        waited = left_in(spool, "waiting") if spool.exists() else []
        assert n_runs(engine) + len(waited) <= 4  # the one whose answer was not heard counts twice
        done = command("send", "--waiting", *more)
        assert done.returncode == 0, done.stderr
        assert left_in(spool, "waiting") == []
        done = command("send", logs, *more, "--json")
        assert done.returncode == 0, done.stderr
        assert {row["state"] for row in rows_of(done).values()} == {"sent"}
    assert n_runs(engine) == 3


def test_consent_is_told_once_and_remembered(logs, tmp_path) -> None:
    def say(method: str, path: str) -> tuple[int, dict[str, str], object]:
        if path.startswith("/api/v1/testers/me"):
            return (200, {}, {"id": "b" * 10})
        return (201, {}, {"id": "a" * 10, "state": "published", "results": {}})

    with answering(say) as told:
        more = ("--server", told.address, "--token", "t", "--spool", tmp_path / "spool", "--json")
        log = logs / "one.csv"
        assert command("send", log, *more, "--consent", "--tie", "Millbeck").returncode == 0
        assert command("send", log, *more).returncode == 0
    paths = [(asked[0], asked[1]) for asked in told.asked]
    assert paths.count(("POST", "/api/v1/testers/me/consent")) == 1
    body = json.loads(next(a[3] for a in told.asked if a[1].endswith("consent")))
    assert body == {"licence": "CC BY 4.0", "ties": ["Millbeck"]}


def test_what_login_kept_is_used(logs, tmp_path) -> None:
    kept = tmp_path / "config" / "benchledger"
    kept.mkdir(parents=True)
    environment = {"XDG_CONFIG_HOME": str(tmp_path / "config"), "BENCHLEDGER_TOKEN": ""}
    missing = command("send", logs / "one.csv", environment=environment)
    assert missing.returncode == 1
    assert "benchledger login" in missing.stderr
    with answering(lambda *_: (201, {}, {"id": "a" * 10, "results": {}})) as told:
        (kept / "tokens.json").write_text(json.dumps({told.address: "kept-token"}))
        more = ("--server", told.address + "/", "--spool", tmp_path / "spool", "--json")
        assert command("send", logs / "one.csv", *more, environment=environment).returncode == 0
    assert told.asked[0][2]["Authorization"] == "Bearer kept-token"


def test_the_spool_lies_where_the_desktop_says(logs, tmp_path) -> None:
    environment = {**os.environ, "XDG_STATE_HOME": str(tmp_path / "state")}
    done = command("send", logs, "--later", environment=environment)
    assert done.returncode == 0, done.stderr
    spool = tmp_path / "state" / "benchledger"
    assert len(left_in(spool, "waiting")) == 3
    assert (spool / "waiting").stat().st_mode & 0o077 == 0
    item = json.loads(next((spool / "waiting").glob("*/item.json")).read_text())
    assert set(item) >= {"key", "sha256", "n_bytes", "server"}


def test_who_never_agreed_is_told_how_to(logs, tmp_path) -> None:
    detail = "… agrees to once: … or with POST /api/v1/testers/me/consent …."
    refusal = (403, {"Content-Type": "application/problem+json"}, {"detail": detail})
    with answering(lambda *_: refusal) as told:
        more = ("--server", told.address, "--token", "t", "--spool", tmp_path / "spool")
        done = command("send", logs / "one.csv", *more)
    assert done.returncode == 1
    assert "add --consent" in done.stderr
    assert "It waits in the spool" in done.stderr
    assert len(left_in(tmp_path / "spool", "waiting")) == 1
