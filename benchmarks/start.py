"""Start to first answer of a web process, beside the smallest service of the same parts."""

import os
import socket
import statistics
import subprocess
import sys
import time
from pathlib import Path

from benchmarks.serving import ROOT, resident_mib, wait_ready
from benchmarks.table import Row

SMALLEST = """
import socket, sys
import uvicorn
from fastapi import FastAPI
from jinja2 import Environment
from sqlalchemy import create_engine, text
from sqlalchemy.orm import Session
app = FastAPI()
engine = create_engine("sqlite://")
page = Environment(autoescape=True).from_string("{{ n }}")
@app.get("/healthz")
def healthz():
    with Session(engine) as session:
        return {"n": page.render(n=session.execute(text("select 1")).scalar_one())}
uvicorn.Server(uvicorn.Config(app, log_level="warning")).run(
    sockets=[socket.socket(fileno=int(sys.argv[1]))])
"""


def measure(place: Path, repeats: int = 5) -> list[Row]:
    from server.settings import Settings
    from server.store.database import migrate

    settings = Settings(data=place / "start")
    settings.data.mkdir(parents=True, exist_ok=True)
    migrate(settings)
    environment = {**os.environ, "BENCHLEDGER_DATA": str(settings.data)}
    ours = [_first_answer(["-m", "server.commands.web"], environment) for _ in range(repeats)]
    floor = [_first_answer(["-c", SMALLEST], environment) for _ in range(repeats)]
    wall = statistics.median(t for t, _ in ours)
    return [
        Row("start to first answer", wall, "s", 1.5, statistics.median(t for t, _ in floor)),
        Row("memory after the first answer", max(m for _, m in ours), "MiB", 100),
    ]


def _first_answer(arguments: list[str], environment: dict[str, str]) -> tuple[float, float]:
    listener = socket.create_server(("127.0.0.1", 0))
    listener.set_inheritable(True)
    start = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, *arguments, str(listener.fileno())],
        pass_fds=[listener.fileno()],
        env=environment,
        cwd=ROOT,
    )
    address = f"http://127.0.0.1:{listener.getsockname()[1]}"
    listener.close()
    try:
        wait_ready(address)
        return time.perf_counter() - start, resident_mib(child.pid)
    finally:
        child.terminate()
        child.wait(20)
