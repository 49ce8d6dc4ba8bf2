"""A large log over HTTP until its figures can be read; recomputing it; readers meanwhile."""

import statistics
import threading
import time
import tomllib
from pathlib import Path

import httpx

from benchmarks.logs import N_COLUMNS, child
from benchmarks.serving import service, timings
from benchmarks.table import Row, median_time

BENCH = """
[appliance]
maker = "Vornhallow"
model = "Bench Mule 1200"
category = "wet/dry vacuum"
[plate]
voltage = "120 V"
supply = "AC"
current = "10 A"
[rig]
inertia = "3e-4 kg m^2"
"""


def measure(place: Path, *, n_rows: int) -> list[Row]:
    from seed_data.large import write_large_log

    path = place / f"clean-{n_rows}.csv"
    if not path.exists():
        write_large_log(path, n_rows=n_rows, n_columns=N_COLUMNS, messy=False, seed=1)
    data = place / "upload"
    token = _token(data)
    with service(data, module="server.commands.web") as address:
        headers = {"Authorization": f"Bearer {token}"}
        with httpx.Client(base_url=address, timeout=120, headers=headers) as client:
            quiet = timings(client, "/api/v1/appliances?limit=1", 200)
            turns = [
                (
                    child("floor", path, messy=False)["wall_s"],
                    _send(client, path, as_parts=True),
                    _send(client, path, as_parts=False),
                )
                for _ in range(5)
            ]
            busy = _beside_an_upload(client, path)
    floor, sent, raw = (statistics.median(t) for t in zip(*turns, strict=True))
    label = f"upload of {n_rows:,} × {N_COLUMNS} until figures can be read"
    note = "floor: polars parses"
    light = "a light request beside an upload"
    return [
        Row(f"{label}, multipart", sent, "s", 4.0, floor, note),
        Row(f"{label}, raw body", raw, "s", 4.0, floor, note),
        Row(f"{light}: p99 against quiet", busy, "ms", 4.0, quiet[1]),
        Row(f"{light}: p99", busy, "ms", 20.0),
    ]


def _token(data: Path) -> str:
    from server.actions.issue_token import issue_token
    from server.settings import Settings
    from server.store.database import make_engine, migrate, write_session

    settings = Settings(data=data)
    data.mkdir(parents=True, exist_ok=True)
    migrate(settings)
    engine = make_engine(settings)
    with write_session(engine) as session:
        token = issue_token(session, tester="Benchmark").token
    engine.dispose()
    return token


_sent = 0


def _send(client: httpx.Client, path: Path, *, as_parts: bool) -> float:
    """Seconds from the first byte sent to figures read. A changed note makes each a new run.

    The client streams the file from the disk in small blocks, as one on another machine would; here
    it takes a twentieth of a second of processor time that the server then lacks.
    """
    global _sent
    _sent += 1
    bench = {**tomllib.loads(BENCH), "run": {"notes": f"number {_sent}"}}
    ids = {} if as_parts else _ids(client)  # who sends a body by itself knows them
    start = time.perf_counter()
    with path.open("rb") as file:
        import json

        if as_parts:
            parts = {
                "bench": (None, json.dumps(bench), "application/json"),
                "file": ("log.csv", file),
            }
            answer = client.post("/api/v1/runs", files=parts)
        else:
            answer = client.post(
                "/api/v1/runs", params={**ids, "name": "log.csv"}, content=file,
                headers={"Content-Type": "text/csv"},
            )  # fmt: skip
    assert answer.status_code == 201, answer.text
    metrics = client.get(f"/api/v1/runs/{answer.json()['id']}/metrics")
    assert metrics.status_code == 200, metrics.text
    return time.perf_counter() - start


def _ids(client: httpx.Client) -> dict[str, str]:
    (run,) = client.get("/api/v1/runs", params={"limit": 1}).json()["items"]
    whole = client.get(f"/api/v1/runs/{run['id']}").json()
    return {name: whole[name]["id"] for name in ("appliance", "specimen", "rig")}


def _beside_an_upload(client: httpx.Client, path: Path) -> float:
    """p99 of a light request while logs are sent and reduced."""
    done = threading.Event()

    def send() -> None:
        with httpx.Client(base_url=client.base_url, headers=client.headers, timeout=120) as other:
            for _ in range(3):
                _send(other, path, as_parts=True)
        done.set()

    sender = threading.Thread(target=send)
    sender.start()
    taken = []
    while not done.is_set():
        start = time.perf_counter()
        client.get("/api/v1/appliances?limit=1")
        taken.append((time.perf_counter() - start) * 1e3)
        time.sleep(0.005)
    sender.join()
    taken.sort()
    return taken[int(0.99 * len(taken))]


def measure_recompute(place: Path, *, n_rows: int) -> list[Row]:
    """The reduction of a stored recording beside its first, file included."""
    from seed_data.large import write_large_log
    from server.actions.keep_recording import keep_recording
    from server.actions.prepare_run import prepare_run
    from server.actions.reduce_log import limits_of, reduce_described
    from server.intake import load_recording, read_bench
    from server.settings import Settings

    path = place / f"clean-{n_rows}.csv"
    if not path.exists():
        write_large_log(path, n_rows=n_rows, n_columns=N_COLUMNS, messy=False, seed=1)
    settings = Settings(data=place / "recompute")
    bench = read_bench(BENCH, name="bench")
    settings.files.mkdir(parents=True, exist_ok=True)

    def first():  # type: ignore[no-untyped-def]
        return prepare_run(path, file_name="log.csv", bench=bench, limits=limits_of(settings))

    prepared = first()
    recording, sha256 = prepared.log.recording, prepared.recording_sha256
    kept = keep_recording(recording, sha256=sha256, files=settings.files)
    floor = median_time(first, 3)
    ours = median_time(lambda: reduce_described(load_recording(kept), bench=bench), 3)
    return [
        Row(
            f"recompute a stored run of {n_rows:,} rows",
            ours,
            "s",
            0.35,
            floor,
            "floor: first reduction",
        )
    ]
