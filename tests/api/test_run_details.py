"""What few runs state goes in with a bench and comes back: in JSON, on the page, in figures."""

import math

import pytest
from fastapi.testclient import TestClient

from tests.api.logs import BENCH, parts, small_log

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


def magnet_log() -> str:
    """A permanent magnet motor on 23.5 V: k 0.04 V s, 0.6 ohm, 0.02 N m lost."""
    lines = ["time [s],speed [rad/s],torque [N m],current [A],voltage [V]"]
    for step in range(400):
        time = step / 20
        speed = 560.0 - 22.0 * (step // 25)
        amperes = (23.5 - 0.04 * speed) / 0.6
        ripple = 1 + 1e-3 * math.sin(7.0 * time)
        torque = 0.04 * amperes - 0.02
        lines.append(f"{time:.3f},{speed * ripple:.3f},{torque * ripple:.5f},{amperes:.4f},23.5")
    return "\n".join(lines) + "\n"


def test_figures_are_carried_to_the_winding_temperature_that_is_stated(
    client: TestClient, sender
) -> None:
    stated = DETAILS | {
        "plate": {"voltage": "24 V", "supply": "DC", "motor_family": "permanent magnet"},
        "rig": BENCH["rig"],
        "run": DETAILS["run"] | {"reference_temperature": "75 °C"},
    }
    warm, plain = (
        client.post(RUNS, files=parts(magnet_log(), bench), headers=sender).json()
        for bench in (stated, stated | {"run": DETAILS["run"]})
    )
    assert warm["reference_temperature"] == pytest.approx(348.15)
    assert plain["reference_temperature"] is None
    assert warm["results"]["metrics"] == plain["results"]["metrics"]
    carried = warm["results"]["motor"]["normalised"]
    assert carried
    assert [one["winding_temperature"] for one in carried] == pytest.approx([348.15] * len(carried))
    assert {one["basis"] for one in carried} == {"normalised"}
    assert {one["winding_temperature"] for one in plain["results"]["motor"]["normalised"]} == {None}
    page = client.get(f"/runs/{warm['id']}").text.replace("\u00a0", " ")
    assert "Normalised to plate voltage and windings at 75 °C" in page


def test_every_key_of_a_run_may_stand_in_the_address_of_a_raw_body(
    client: TestClient, sender
) -> None:
    made = client.post(RUNS, files=parts(), headers=sender).json()
    ids = {"appliance": made["appliance"]["id"], "rig": made["rig"]["id"]}
    words = {"cold_resistance": "2 ohm", "hot_resistance": "2.5 ohm", "ambient": "21 °C"}
    answer = client.post(
        RUNS,
        params=ids | words | {"reference_temperature": "75 °C"},
        content=small_log(),
        headers=sender | {"Content-Type": "text/csv"},
    )
    assert answer.status_code == 201, answer.text
    assert answer.json()["cold_resistance"] == 2.0
    assert answer.json()["reference_temperature"] == pytest.approx(348.15)


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
