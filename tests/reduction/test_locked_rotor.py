"""Locked rotor against Ohm's law and torque = k I."""

import numpy as np
import pytest

from server.model.bench import Instrument, Plate, Rig
from server.model.results import ReductionOptions
from server.model.words import Channel, MetricName, RunKind, Supply
from server.reduction import reduce_run
from tests.reduction.simulate_kinds import recording

M = MetricName
VOLTS, OHMS, K = 24.0, 0.5, 0.06


def reduced(made, rig: Rig | None = None, supply: Supply = Supply.DC):
    return reduce_run(
        made,
        kind=RunKind.LOCKED_ROTOR,
        plate=Plate(voltage_v=VOLTS, supply=supply, frequency_hz=60.0),
        rig=rig or Rig(),
        options=ReductionOptions(),
    )


def held(*, noise: float = 0.002, zero: float = 0.03, seed: int = 0, **extra):
    rng = np.random.default_rng(seed)
    time = np.arange(0, 4, 0.01)
    on = (time > 1) & (time < 3)
    amps = VOLTS / OHMS
    scatter = 1 + rng.normal(0, noise, (3, time.size))
    return recording(
        time,
        voltage=on * VOLTS * scatter[0],
        current=on * amps * scatter[1],
        torque=zero + on * K * amps * scatter[2],
        **extra,
    )


def test_what_is_drawn_and_the_torque_are_those_of_the_closed_form():
    reduction = reduced(held())

    metrics = reduction.metrics
    assert metrics[M.CURRENT_ROTOR_HELD].value == pytest.approx(VOLTS / OHMS, rel=1e-3)
    assert metrics[M.INPUT_ROTOR_HELD].value == pytest.approx(VOLTS**2 / OHMS, rel=1e-3)
    assert metrics[M.TORQUE_ROTOR_HELD].value == pytest.approx(K * VOLTS / OHMS, rel=1e-3)
    assert metrics[M.SHAFT_POWER_ROTOR_HELD].value == 0.0
    assert metrics[M.SHAFT_POWER_ROTOR_HELD].standard_uncertainty == 0.0
    assert metrics[M.POWER_FACTOR_ROTOR_HELD].value is None
    assert len(reduction.segments) == 1


def test_force_on_an_arm_and_its_instrument():
    made = held()
    force = made.channels[Channel.TORQUE] / 0.2
    rig = Rig(
        arm_m=0.2,
        arm_uncertainty_rel=0.01,
        instruments=(Instrument(channel=Channel.CURRENT, of_reading=0.01),),
    )
    plain = {c.value: v for c, v in made.channels.items() if c is not Channel.TORQUE}
    metrics = reduced(recording(made.time_s, force=force, **plain), rig).metrics

    torque, current = metrics[M.TORQUE_ROTOR_HELD], metrics[M.CURRENT_ROTOR_HELD]
    assert torque.value == pytest.approx(K * VOLTS / OHMS, rel=1e-3)
    assert torque.standard_uncertainty == pytest.approx(0.01 * torque.value, rel=0.02)
    assert current.standard_uncertainty == pytest.approx(0.01 * current.value / 3**0.5, rel=0.02)


def test_alternating_waveforms_give_root_mean_squares_and_power_factor():
    time = np.arange(0, 2, 1 / 3000)
    on = time > 0.5
    phase = 2 * np.pi * 60 * time
    made = recording(
        time,
        voltage=on * 120 * np.sqrt(2) * np.sin(phase),
        current=on * 30 * np.sqrt(2) * np.sin(phase - np.pi / 3),
    )

    metrics = reduced(made, supply=Supply.AC).metrics

    assert metrics[M.VOLTAGE_ROTOR_HELD].value == pytest.approx(120, rel=2e-3)
    assert metrics[M.CURRENT_ROTOR_HELD].value == pytest.approx(30, rel=2e-3)
    assert metrics[M.POWER_FACTOR_ROTOR_HELD].value == pytest.approx(0.5, rel=5e-3)
    assert metrics[M.TORQUE_ROTOR_HELD].reason == (
        "neither torque, nor force on an arm of known length"
    )


def test_a_winding_that_warms_widens_the_uncertainty():
    time = np.arange(0, 4, 0.01)
    fall = 1 - 0.1 * np.clip(time - 1, 0, 2) / 2
    on = (time > 1) & (time < 3)
    made = recording(time, voltage=on * VOLTS, current=on * 48 * fall)

    current = reduced(made).metrics[M.CURRENT_ROTOR_HELD]

    assert 43 < current.value < 48
    assert current.standard_uncertainty == pytest.approx(48 * 0.1 * 0.95 / 12**0.5, rel=0.1)


def test_rows_without_time_are_readings_of_one_state():
    made = recording(
        np.arange(3.0),
        notes={"rows_without_time": True},
        voltage=[24.0, 24.1, 23.9],
        current=[48.0, 48.4, 47.6],
        torque=[2.9, 3.0, 2.8],
    )

    reduction = reduced(made)

    assert reduction.metrics[M.CURRENT_ROTOR_HELD].value == pytest.approx(48.0, rel=1e-3)
    assert reduction.metrics[M.CURRENT_ROTOR_HELD].standard_uncertainty > 0.2
    assert len(reduction.segments) == 3
    assert reduction.trace is None


def test_a_rotor_that_turns_is_not_held():
    time = np.arange(0, 4, 0.01)
    on = (time > 1) & (time < 3)
    made = recording(time, speed=on * 800.0, voltage=on * VOLTS, current=on * 5.0)

    metrics = reduced(made).metrics

    assert all(m.value is None for m in metrics.values())
    assert "standing still" in metrics[M.INPUT_ROTOR_HELD].reason
