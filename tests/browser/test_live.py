"""A test watched on a phone: it keeps itself up to date, and asks for little."""

import httpx
import pytest
from playwright.sync_api import expect

from tests.api.logs import BENCH, parts
from tests.browser.conftest import Ledger
from tests.browser.test_pages import axe_faults

pytestmark = pytest.mark.browser


def readings(power_w: float) -> dict[str, object]:
    return {
        "at_s": 10.0,
        "n_lines": 100,
        "now": {"shaft_power": power_w, "torque": 0.3, "speed": 1300.0},
        "highest": {"shaft_power": 455.0, "torque": 0.33, "speed": 2000.0},
        "trace_s": [float(i) for i in range(200)],
        "trace": {"shaft_power": [400.0 + i % 50 for i in range(200)]},
    }


def test_a_test_is_watched_at_390_px(ledger: Ledger, open_page) -> None:
    client = httpx.Client(
        base_url=ledger.address, headers={"Authorization": f"Bearer {ledger.token}"}
    )
    address = client.post("/api/v1/live", json={"title": "Millbeck WD-30"}).json()["address"]
    live = f"/api/v1/live/{address}"
    page = open_page(f"/live/{address}", width=390)
    expect(page.get_by_text("No readings have come yet")).to_be_visible()
    client.put(live, json=readings(402.0))
    expect(page.get_by_role("cell", name="402 W")).to_be_visible(timeout=5000)
    expect(page.locator("svg.chart")).to_be_visible()
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390
    page.locator("summary").click()
    client.put(live, json=readings(431.0))
    expect(page.get_by_role("cell", name="431 W")).to_be_visible(timeout=5000)
    assert page.locator("details").get_attribute("open") is not None
    statuses: list[int] = []
    page.on("response", lambda r: statuses.append(r.status) if "/live/" in r.url else None)
    page.wait_for_timeout(3500)
    assert set(statuses) == {304}
    assert len(statuses) <= 4
    client.put(live, json={"has_ended": True})
    expect(page.get_by_text("The test is over")).to_be_visible(timeout=5000)
    page.wait_for_timeout(500)
    statuses.clear()
    page.wait_for_timeout(2500)
    assert statuses == []
    client.close()


def test_it_can_be_read_without_a_script(ledger: Ledger, open_page) -> None:
    sender = {"Authorization": f"Bearer {ledger.token}"}
    opened = httpx.post(f"{ledger.address}/api/v1/live", json={}, headers=sender)
    address = opened.json()["address"]
    httpx.put(f"{ledger.address}/api/v1/live/{address}", json=readings(402.0), headers=sender)
    page = open_page(f"/live/{address}", width=390, has_scripts=False)
    expect(page.get_by_role("cell", name="402 W")).to_be_visible()
    expect(page.get_by_role("link", name="Load it again")).to_be_visible()


@pytest.mark.parametrize("width", [360, 390, 1280])
def test_my_bench_fits_every_width(ledger: Ledger, open_page, width: int) -> None:
    cell = {"channel": "torque", "of_reading": "0.5 %", "name": "Cell 5"}
    sent = httpx.post(
        f"{ledger.address}/api/v1/runs",
        files=parts(bench={**BENCH, "instrument": [{**cell, "calibrated": "2025-10-01"}]}),
        headers={"Authorization": f"Bearer {ledger.token}", "Idempotency-Key": "for my bench"},
    )
    assert sent.status_code in {200, 201}, sent.text
    page = open_page("/sign-in?next=/my-bench", width=width)
    page.get_by_label("Token").fill(ledger.token)
    page.get_by_role("button", name="Sign in").first.click()
    page.wait_for_url("**/my-bench")
    expect(page.get_by_role("heading", name="My bench", level=1)).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert axe_faults(page) == []
    months = {360: "6", 390: "24", 1280: "36"}[width]
    page.get_by_label("From one calibration to the next").select_option(months)
    page.get_by_role("button", name="Keep this interval").click()
    page.wait_for_url("**/my-bench#calibrations")
    page.goto("/my-bench")
    expect(page.get_by_label("From one calibration to the next")).to_have_value(months)
