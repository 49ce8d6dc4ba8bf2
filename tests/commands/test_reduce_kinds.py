"""`benchledger reduce` on run kinds beside the brake run: bench words in, contract's JSON out."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from server.cli import app
from server.errors import UnusableLog
from server.model.words import Channel
from tests.reduction.simulate import universal
from tests.reduction.simulate_kinds import run_down, run_up

R_MIN = 30 / np.pi


def reduced(tmp_path: Path, log: str, bench: str, *more: str) -> dict:
    (tmp_path / "log.csv").write_text(log)
    (tmp_path / "bench.toml").write_text(bench)
    arguments = [str(tmp_path / "log.csv"), "--bench", str(tmp_path / "bench.toml"), "--json"]
    done = CliRunner().invoke(app, ["reduce", *arguments, *more])
    assert done.exit_code == 0, done.output
    results = json.loads(done.stdout)
    for metric in results["metrics"].values():
        assert (metric["value"] is None) == (metric["reason"] is not None)
        if metric["value"] is not None:
            assert metric["interval"]["low"] <= metric["value"] <= metric["interval"]["high"]
    return results


def table(header: str, *columns) -> str:
    rows = [",".join(f"{v:.6g}" for v in row) for row in zip(*columns, strict=True)]
    return "\n".join([header, *rows]) + "\n"


def run_down_log() -> str:
    made = run_down()
    return table(
        "time [s],speed [rpm],current [A]",
        made.time_s,
        made.channels[Channel.SPEED] * R_MIN,
        made.channels[Channel.CURRENT],
    )


def test_a_run_down_gives_drag_with_its_coefficients(tmp_path):
    results = reduced(
        tmp_path, run_down_log(), '[run]\nkind = "run-down"\n[rig]\ninertia = "1.2e-4 kg m^2"\n'
    )

    drag = results["drag"]
    c0, c1, c2 = drag["coefficients"]
    assert drag["value"] == pytest.approx(c0 + c1 * drag["speed"] + c2 * drag["speed"] ** 2)
    assert drag["value"] == pytest.approx(results["metrics"]["drag"]["value"])
    truth = 4e-3 + 2e-6 * 1500 + 3e-9 * 1500**2
    assert c0 + c1 * 1500 + c2 * 1500**2 == pytest.approx(truth, rel=0.01)
    assert results["rotor_inertia"]["value"] is None
    assert results["kind"] == "run_down"
    assert results["method_version"].startswith("run-down-")


def test_a_run_down_with_a_known_drag_gives_the_inertia(tmp_path):
    pairs = ", ".join(
        f'["{w} rad/s", "{4e-3 + 2e-6 * w + 3e-9 * w * w!r} N m"]' for w in range(0, 2400, 200)
    )
    bench = f'[run]\nkind = "run-down"\n[rig]\ndrag = [{pairs}]\ndrag_uncertainty = "5 %"\n'

    results = reduced(tmp_path, run_down_log(), bench)

    assert results["rotor_inertia"]["value"] == pytest.approx(1.2e-4, rel=0.01)
    assert results["rotor_inertia"]["standard_uncertainty"] == pytest.approx(6e-6, rel=0.1)
    assert results["drag"]["coefficients"] is None


def test_a_run_up_gives_its_highest_power(tmp_path):
    made, truth = run_up()
    log = table("t [s],n [rpm]", made.time_s, made.channels[Channel.SPEED] * R_MIN)

    results = reduced(tmp_path, log, '[run]\nkind = "run-up"\n[rig]\ninertia = "3e-4 kg m^2"\n')

    found = results["metrics"]["shaft_power_max_momentary"]
    assert found["value"] == pytest.approx(truth["power"], rel=0.015)


def hand_log() -> str:
    motor = universal()
    speed = np.linspace(0.25, 0.99, 14) * motor.free_speed
    return table(
        "load step,volts,amps,watts,torque (N·m),speed (rpm)",
        range(14),
        np.full(14, 120.0),
        motor.read(speed, motor.current),
        motor.read(speed, motor.power),
        motor.read(speed, motor.torque),
        speed * R_MIN,
    )


HAND = (
    '[run]\nkind = "hand readings"\n'
    '[plate]\nvoltage = "120 V"\nsupply = "AC"\nfrequency = "60 Hz"\ncurrent = "8 A"\n'
)


def test_readings_by_hand_give_the_brake_run_s_figures(tmp_path):
    motor = universal()
    truth = motor.truth(0.25 * motor.free_speed, 0.99 * motor.free_speed)

    results = reduced(tmp_path, hand_log(), HAND)

    metrics = results["metrics"]
    assert results["kind"] == "brake"
    assert metrics["shaft_power_max_steady"]["value"] == pytest.approx(truth["power"], rel=0.01)
    assert metrics["efficiency_max"]["value"] == pytest.approx(truth["efficiency_max"], abs=0.01)
    assert metrics["shaft_power_at_rated_current"]["value"] is not None
    assert "one by one" in metrics["shaft_power_max_momentary"]["reason"]


def test_in_use_is_placed_on_the_curve_of_a_brake_run(tmp_path):
    motor = universal()
    speed = 0.6 * motor.free_speed
    rows = [
        np.full(4, speed * R_MIN) * (1 + 1e-3 * np.arange(4)),
        np.full(4, 120.0),
        np.full(4, motor.read(speed, motor.power)),
    ]
    log = table("speed (rpm),volts,watts", *rows)
    (tmp_path / "brake.csv").write_text(hand_log())
    (tmp_path / "brake.toml").write_text(HAND)
    bench = '[run]\nkind = "in use"\n[plate]\nvoltage = "120 V"\nsupply = "AC"\n'
    curve = ("--curve", str(tmp_path / "brake.csv"), "--curve-bench", str(tmp_path / "brake.toml"))

    alone, placed = reduced(tmp_path, log, bench), reduced(tmp_path, log, bench, *curve)

    assert alone["operating_speed"]["value"] == pytest.approx(speed, rel=3e-3)
    assert alone["shaft_power_in_use"]["value"] is None
    assert "brake run" in alone["agreement_z"]["reason"]
    truth = float(motor.read(speed, motor.torque)) * speed
    assert placed["shaft_power_in_use"]["value"] == pytest.approx(truth, rel=0.02)
    assert abs(placed["agreement_z"]["value"]) < 3


def test_a_held_rotor_has_no_shaft_power(tmp_path):
    log = table(
        "volts,amps,watts,torque (mN·m)",
        [120.1, 120.0, 119.9],
        [31.2, 31.0, 30.9],
        [2210, 2200, 2195],
        [840, 835, 838],
    )

    metrics = reduced(tmp_path, log, '[run]\nkind = "locked rotor"\n[plate]\nsupply = "AC"\n')[
        "metrics"
    ]

    assert metrics["shaft_power_rotor_held"]["value"] == 0.0
    assert metrics["input_rotor_held"]["value"] == pytest.approx(2201.67, rel=1e-4)
    assert metrics["torque_rotor_held"]["value"] == pytest.approx(0.83767, rel=1e-4)
    assert metrics["power_factor_rotor_held"]["value"] == pytest.approx(0.591, rel=0.01)


@pytest.mark.parametrize(
    ("kind", "missing"),
    [("run-down", "speed"), ("run-up", "speed"), ("in use", "speed"), ("locked rotor", "current")],
)
def test_a_kind_names_the_channel_it_cannot_do_without(tmp_path, kind, missing):
    (tmp_path / "log.csv").write_text(table("time [s],volts", range(9), np.full(9, 120.0)))
    (tmp_path / "bench.toml").write_text(f'[run]\nkind = "{kind}"\n')

    done = CliRunner().invoke(
        app, ["reduce", str(tmp_path / "log.csv"), "--bench", str(tmp_path / "bench.toml")]
    )

    assert isinstance(done.exception, UnusableLog)
    assert f"no column is {missing}" in str(done.exception)


def test_a_run_down_without_times_is_refused_and_a_brake_log_is_told_of_hand_readings(tmp_path):
    for kind in ("run-down", "brake"):
        (tmp_path / "log.csv").write_text(table("speed (rpm),torque (N·m)", range(9), range(9)))
        (tmp_path / "bench.toml").write_text(f'[run]\nkind = "{kind}"\n')

        done = CliRunner().invoke(
            app, ["reduce", str(tmp_path / "log.csv"), "--bench", str(tmp_path / "bench.toml")]
        )

        assert isinstance(done.exception, UnusableLog)
        assert "no column is a time" in str(done.exception)
        assert "hand readings" in str(done.exception)
