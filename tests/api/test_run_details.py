"""What few runs state goes in with a bench and comes back: in JSON, on the page, in figures."""

import pytest
from fastapi.testclient import TestClient

from tests.api.logs import BENCH, parts

RUNS = "/api/v1/runs"
DETAILS = BENCH | {
    "rig": {
        "name": "Bench two",
        "arm": "100 mm",
        "arm_angle": "3 deg",
        "pivot_friction": "2 mN m",
        "lead_resistance": "0.15 ohm",
        "lead_resistance_uncertainty": "10 %",
    },
    "instrument": [{"channel": "power", "temperature_coefficient": "0.05 %/K"}],
    "run": {
        "tested_on": "2026-11-02",
        "ambient": "28 °C",
        "cold_resistance": "2 ohm",
        "hot_resistance": "2.5 ohm",
        "cold_temperature": "20 °C",
        "winding_standard": "IEC 60335",
    },
}


def test_they_come_back_with_their_figures_and_on_the_page(client: TestClient, sender) -> None:
    plain = client.post(RUNS, files=parts(), headers=sender).json()
    answer = client.post(RUNS, files=parts(bench=DETAILS), headers=sender)
    assert answer.status_code == 201
    run = answer.json()
    rig = run["rig"]
    assert rig["arm_angle"]["typed"] == "3 deg"
    assert rig["pivot_friction"] == {"value": 0.002, "unit": "N m", "typed": "2 mN m"}
    assert rig["lead_resistance"]["value"] == 0.15
    assert rig["lead_resistance_uncertainty"] == 0.1
    assert rig["instruments"][0]["temperature_coefficient"] == pytest.approx(5e-4)
    assert (run["cold_resistance"], run["hot_resistance"]) == (2.0, 2.5)
    winding = run["results"]["winding_temperature"]
    assert winding["temperature"] == pytest.approx(273.15 + 83.625)
    assert winding["rise"] == pytest.approx(55.625)
    assert (winding["constant"], winding["standard"]) == (234.5, "IEC 60335-1")
    assert plain["results"]["winding_temperature"] is None

    name = "input_power_at_max_steady_power"
    figure = run["results"]["metrics"][name]
    current = run["results"]["metrics"]["current_at_max_steady_power"]["value"]
    before = plain["results"]["metrics"][name]["value"]
    assert before - figure["value"] == pytest.approx(0.15 * current**2, rel=0.02)
    components = {line["component"] for line in figure["budget"]}
    assert {"lead resistance", "power: temperature coefficient"} <= components
    torque = run["results"]["metrics"]["torque_at_max_steady_power"]
    assert "pivot friction" in {line["component"] for line in torque["budget"]}

    page = client.get(f"/runs/{run['id']}").text.replace("\u00a0", " ")
    for words in ("83.6 °C", "234.5", "IEC 60335-1", "0.15 ohm", "0.05 %/K from 23 °C"):
        assert words in page, words
    again = client.get(f"{RUNS}/{run['id']}").json()
    assert again["results"] == run["results"]


def test_a_rig_that_states_more_is_another_revision_of_it(client: TestClient, sender) -> None:
    first = client.post(RUNS, files=parts(), headers=sender).json()["rig"]
    same = client.post(RUNS, files=parts(), headers=sender).json()["rig"]
    assert (same["id"], same["revision"]) == (first["id"], first["revision"])
    more = BENCH | {"rig": {**BENCH["rig"], "lead_resistance": "0.15 ohm"}}
    other = client.post(RUNS, files=parts(bench=more), headers=sender).json()["rig"]
    assert other["id"] == first["id"]
    assert other["revision"] == first["revision"] + 1
