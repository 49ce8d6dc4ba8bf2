"""Bytes on the wire, brotli, of the page and of what it loads."""

import re
from pathlib import Path

import httpx
from rich.console import Console

from benchmarks.serving import service
from benchmarks.table import Row


def measure(place: Path) -> list[Row]:
    from server.commands.demo import load
    from server.settings import Settings
    from server.static_files import build_static

    build_static()
    data = place / "weight"
    load(Settings(data=data), Console(quiet=True))
    headers = {"Accept-Encoding": "br"}
    with (
        service(data, module="server.commands.web") as address,
        httpx.Client(base_url=address, headers=headers, timeout=60) as client,
    ):
        items = client.get("/api/v1/appliances", params={"sort": "ratio"}).json()["items"]
        ids = [item["id"] for item in items if item["run"]][:6]
        runs = client.get("/api/v1/runs", params={"limit": 200}).json()["items"]
        together = "&".join(f"appliance={i}" for i in ids)
        pages = {
            "heaviest appliance page": [f"/appliances/{item['id']}" for item in items],
            "heaviest run page": [f"/runs/{run['id']}" for run in runs],
            "side by side of 6": [f"/side-by-side?{together}"],
        }
        front = _page(client, "/", with_charts=False)
        rows = [Row("front page on the wire", front, "kB", 30)]
        for name, paths in pages.items():
            weight = max(_page(client, path, with_charts=True) for path in paths)
            rows.append(Row(f"{name} on the wire, chart library included", weight, "kB", 400))
    return rows


def _page(client: httpx.Client, path: str, *, with_charts: bool) -> float:
    """kB of the document, its style sheets, scripts (what they import too), pictures."""
    answer = client.get(path, follow_redirects=True)
    assert answer.status_code == 200, path
    total = _wire(answer)
    wanted = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', answer.text))
    if with_charts:
        wanted |= set(re.findall(r'data-plotly="([^"]+)"', answer.text))
    seen: set[str] = set()
    while wanted - seen:
        address = (wanted - seen).pop()
        seen.add(address)
        part = client.get(address)
        total += _wire(part)
        if "javascript" in part.headers.get("content-type", "") and "/vendor/" not in address:
            wanted |= {
                str(httpx.URL(f"http://x{address}").join(module).raw_path, "ascii")
                for module in _imported(part.text, page=answer.text)
            }
    return total / 1000


def _imported(script: str, *, page: str) -> list[str]:
    """The modules that a script imports at once, and the parts that the page has a place for."""
    at_once = re.findall(r"""from\s*["'](\.[^"']+)["']""", script)
    parts = re.findall(r"""\["\w*\[([\w-]+)\]", \(\) => import\("(\.[^"]+)"\)""", script)
    n_imports = len(re.findall(r"\bimport\(", script))
    assert len(parts) == n_imports, "an import that no place on the page stands for"
    return [*at_once, *(module for place, module in parts if f" {place}" in page)]


def _wire(answer: httpx.Response) -> int:
    return answer.num_bytes_downloaded
