"""Hot pages over a large ledger, each beside the same answer from constants and the raw query."""

from pathlib import Path

import httpx
from rich.console import Console

from benchmarks.many import multiply
from benchmarks.serving import service, timings
from benchmarks.table import Row

N_REQUESTS = 200


def measure(place: Path, *, n_appliances: int = 20_000) -> list[Row]:
    data = place / f"ledger-{n_appliances}"
    if not (data / "whole").exists():
        fill(data, n_appliances)
        (data / "whole").touch()
    n_runs = n_appliances * 5
    with service(data) as address, httpx.Client(base_url=address, timeout=60) as client:
        return [
            *_catalogue(client, f"{n_runs:,} runs"),
            *_side_by_side(client, f"{n_runs:,} runs"),
            *_unchanged(client),
        ]


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


def _compared(what: str, ours: tuple[float, float], floor: tuple[float, float], goal: float):  # type: ignore[no-untyped-def]
    note = f"p99 {ours[1]:.1f} ms, floor's {floor[1]:.1f} ms"
    return Row(what, ours[0], "ms", goal, floor[0], note)


def _catalogue(client: httpx.Client, size: str) -> list[Row]:
    html = timings(client, "/appliances", N_REQUESTS)
    html_floor = timings(client, "/floor/page/catalogue.html", N_REQUESTS)
    api = timings(client, "/api/v1/appliances", N_REQUESTS)
    api_floor = timings(client, "/floor/api", N_REQUESTS)
    found = timings(client, "/appliances?text=wet&sort=ratio", N_REQUESTS)
    return [
        _compared(f"catalogue page, {size}: p50", html, html_floor, 1.5),
        _compared(f"catalogue page, search and sort, {size}: p50", found, html_floor, 1.5),
        _compared(f"catalogue API, {size}: p50", api, api_floor, 1.5),
    ]


def _side_by_side(client: httpx.Client, size: str) -> list[Row]:
    ids = with_curves(client)
    query = "&".join(f"appliance={i}" for i in ids)
    html = timings(client, f"/side-by-side?{query}", N_REQUESTS // 2)
    floor = timings(client, f"/floor/page/side_by_side.html?ids={','.join(ids)}", N_REQUESTS // 2)
    return [_compared(f"side by side of 6, {size}: p50", html, floor, 2.0)]


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


def _unchanged(client: httpx.Client) -> list[Row]:
    (first,) = client.get("/api/v1/appliances", params={"limit": 1}).json()["items"]
    address = f"/api/v1/appliances/{first['id']}"
    etag = client.get(address).headers["etag"]
    ours = timings(client, address, N_REQUESTS, {"If-None-Match": etag})
    floor = timings(client, "/floor/dict", N_REQUESTS)
    return [_compared("304 for an unchanged appliance (API): p50", ours, floor, 1.5)]
