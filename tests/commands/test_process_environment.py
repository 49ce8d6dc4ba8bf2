"""What a process of the service runs with, and that the operator's word goes before it."""

import subprocess
import sys
import threading

import pytest

from server.actions.give_way import give_way
from server.commands.process_environment import process_environment


def test_the_operator_and_the_settings_go_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", "4")
    monkeypatch.delenv("GLIBC_TUNABLES", raising=False)
    found = process_environment({"BENCHLEDGER_PORT": "8123"})
    assert found["OMP_NUM_THREADS"] == "4"
    assert found["BENCHLEDGER_PORT"] == "8123"
    assert "glibc.malloc.arena_max=1" in found["GLIBC_TUNABLES"].split(":")


def test_the_libraries_understand_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """An allocator that doesn't know a word says so at its start."""
    for name in ("GLIBC_TUNABLES", "_RJEM_MALLOC_CONF"):
        monkeypatch.delenv(name, raising=False)
    read = "import polars; polars.read_csv(b'0', has_header=False)"
    done = subprocess.run(
        [sys.executable, "-c", read],
        env=process_environment({}),
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""


@pytest.mark.skipif(sys.platform != "linux", reason="a niceness for each thread")
def test_a_thread_that_gives_way_leaves_the_others_alone() -> None:
    import os

    def niceness() -> int:
        return os.getpriority(os.PRIO_PROCESS, threading.get_native_id())

    def work() -> None:
        give_way()
        seen.append(niceness())

    seen: list[int] = []
    before = niceness()
    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert seen[0] > before
    assert niceness() == before


@pytest.mark.skipif(sys.platform != "linux", reason="a niceness for each thread")
def test_threads_that_parse_give_way() -> None:
    """What the library started before its first log is read stays as it is for good."""
    watched = """
import os, polars
from server.dependencies.threads import start_parsers

start_parsers()
polars.read_csv(b"1,2\\n" * 200_000, has_header=False)
for thread in os.listdir("/proc/self/task"):
    stat = open(f"/proc/self/task/{thread}/stat").read().rpartition(")")[2].split()
    print(thread, os.getpriority(os.PRIO_PROCESS, int(thread)), int(stat[11]) + int(stat[12]))
"""
    done = subprocess.run(
        [sys.executable, "-c", watched], capture_output=True, text=True, check=True
    )
    threads = [line.split() for line in done.stdout.splitlines()]
    main, *others = sorted(threads, key=lambda one: int(one[0]))
    assert main[1] == "0"
    worked = [niceness for _, niceness, ticks in others if int(ticks) > 0]
    assert set(worked) <= {"10"}
    assert "10" in {niceness for _, niceness, _ in others}
