"""Hot pages over a large ledger, each beside the same answer from constants and the raw query."""

from pathlib import Path

import httpx
from rich.console import Console

from benchmarks.many import multiply
from benchmarks.serving import Timed, service, timings_in_turns
from benchmarks.table import Row

N_REQUESTS = 200
# As it is served, and every answer made anew, as the first reader after a change finds it.
WAYS = {"asked again": {}, "made anew": {"BENCHLEDGER_KEPT_BYTES": "0"}}


def measure(place: Path, *, n_appliances: int = 20_000) -> list[Row]:
    data = place / f"ledger-{n_appliances}"
    if not (data / "whole").exists():
        fill(data, n_appliances)
        (data / "whole").touch()
    n_runs = n_appliances * 5
    rows = []
    for way, settings in WAYS.items():
        with (
            service(data, settings=settings) as address,
            httpx.Client(base_url=address, timeout=60) as client,
        ):
            size = f"{n_runs:,} runs, {way}"
            rows += [*_catalogue(client, size), *_side_by_side(client, size)]
            rows += _unchanged(client, way)
    return rows


def fill(data: Path, n_appliances: int) -> None:
    """The demonstration, then its copies."""
    from server.commands.demo import load
    from server.settings import Settings
    from server.store.database import make_engine

    settings = Settings(data=data)
    load(settings, Console(quiet=True))
    engine = make_engine(settings)
    multiply(engine, n_appliances=n_appliances)
    engine.dispose()


def _compared(what: str, ours: Timed, floor: Timed, goal: float) -> Row:
    note = f"p99 {ours[1]:.1f} ms, floor's {floor[1]:.1f} ms"
    return Row(f"{what}: p50", ours[0], "ms", goal, floor[0], note)


def _catalogue(client: httpx.Client, size: str) -> list[Row]:
    html, found = "/appliances", "/appliances?text=wet&sort=ratio"
    api = "/api/v1/appliances"
    client.get(found)
    client.get(html)  # the floor draws what was asked for last
    floor = "/floor/page/catalogue.html"
    asked = [html, floor, found, f"{floor}?text=wet", api, "/floor/api"]
    page, page_floor, search, search_floor, rows, rows_floor = timings_in_turns(
        client, [(a, {}) for a in asked], N_REQUESTS
    )
    return [
        _compared(f"catalogue page, {size}", page, page_floor, 1.5),
        _compared(f"catalogue page, search and sort, {size}", search, search_floor, 1.5),
        _compared(f"catalogue API, {size}", rows, rows_floor, 1.5),
    ]


def _side_by_side(client: httpx.Client, size: str) -> list[Row]:
    ids = with_curves(client)
    page = f"/side-by-side?{'&'.join(f'appliance={i}' for i in ids)}"
    client.get(page)
    asked = [page, f"/floor/page/side_by_side.html?ids={','.join(ids)}"]
    ours, floor = timings_in_turns(client, [(a, {}) for a in asked], N_REQUESTS // 2)
    return [_compared(f"side by side of 6, {size}", ours, floor, 2.0)]


def with_curves(client: httpx.Client, n: int = 6) -> list[str]:
    """Appliances whose runs keep their curves, so that a comparison has something to draw."""
    found: list[str] = []
    cursor: str | None = None
    while len(found) < n:
        params = {"limit": 200, **({"cursor": cursor} if cursor else {})}
        answer = client.get("/api/v1/appliances", params=params).json()
        for item in answer["items"]:
            curves = client.get(f"/api/v1/runs/{item['run']}/curves").json() if item["run"] else {}
            if curves.get("items"):
                found.append(item["id"])
            if len(found) == n:
                return found
        cursor = answer["next"]
    return found


def _unchanged(client: httpx.Client, way: str) -> list[Row]:
    (first,) = client.get("/api/v1/appliances", params={"limit": 1}).json()["items"]
    address = f"/api/v1/appliances/{first['id']}"
    etag = client.get(address).headers["etag"]
    asked = [(address, {"If-None-Match": etag}), ("/floor/dict", {})]
    ours, floor = timings_in_turns(client, asked, N_REQUESTS)
    return [_compared(f"304 for an unchanged appliance (API), {way}", ours, floor, 1.5)]
