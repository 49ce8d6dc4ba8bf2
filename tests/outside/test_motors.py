"""Closed-form motors and textbook examples, sent through the reduction as logs.

Textbook numbers are from memory (Chapman, Electric Machinery Fundamentals; Theraja, A Textbook of
Electrical Technology, ch. 36), recomputed to the digits shown.
"""

import math

import numpy as np
import pytest

from server.model.bench import Plate, Rig
from server.model.recording import Recording
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, MetricName, MotorFamily, RunKind, Supply
from server.reduction import reduce_run

RPM = math.pi / 30


def reduce(time: np.ndarray, channels: dict[Channel, np.ndarray], plate: Plate) -> Reduction:
    return reduce_run(
        Recording(time, {c: v.astype(np.float32) for c, v in channels.items()}),
        kind=RunKind.BRAKE,
        plate=plate,
        rig=Rig(inertia_kg_m2=1e-5),
        options=ReductionOptions(),
    )


def dwells(values: dict[Channel, np.ndarray], *, rate_hz: float = 50.0, hold_s: float = 2.0):
    """Each column's values held in turn."""
    n = int(rate_hz * hold_s)
    columns = {c: np.repeat(v, n) for c, v in values.items()}
    return np.arange(n * len(next(iter(values.values())))) / rate_hz, columns


def test_a_permanent_magnet_motor_peaks_at_half_speed_with_a_quarter_of_stall_times_free() -> None:
    # READ: the 100 V, 100 A, 1425 r/min, 0.05 ohm machine: stall torque x free speed / 4 = V^2/4R.
    volts, ohms, free = 100.0, 0.05, 1500 * RPM
    k = volts / free
    speed = np.linspace(0.98, 0.25, 15) * free
    current = (volts - k * speed) / ohms
    torque = k * current
    time, columns = dwells(
        {
            Channel.SPEED: speed,
            Channel.TORQUE: torque,
            Channel.CURRENT: current,
            Channel.VOLTAGE: np.full_like(speed, volts),
        }
    )
    plate = Plate(
        voltage_v=volts, supply=Supply.DC, motor_family=MotorFamily.PERMANENT_MAGNET, current_a=100
    )
    metrics = reduce(time, columns, plate).metrics
    peak = metrics[MetricName.SHAFT_POWER_MAX_STEADY]
    assert peak.value == pytest.approx(volts**2 / (4 * ohms), rel=1e-4)
    assert not peak.lower_bound
    assert metrics[MetricName.SPEED_AT_MAX_STEADY_POWER].value == pytest.approx(free / 2, rel=2e-3)
    assert metrics[MetricName.EFFICIENCY_AT_MAX_STEADY_POWER].value == pytest.approx(0.5, abs=1e-3)
    # At 100 A: 1425 r/min and 63.661977 N m.
    assert metrics[MetricName.SPEED_AT_RATED_CURRENT].value == pytest.approx(1425 * RPM, rel=1e-4)
    assert metrics[MetricName.TORQUE_AT_RATED_CURRENT].value == pytest.approx(63.661977, rel=1e-3)


def test_the_efficiency_of_a_constant_loss_motor_peaks_where_the_formula_says() -> None:
    # eta_max = (1 - sqrt(I0 / Is))^2 for a constant loss torque.
    volts, ohms, free = 24.0, 0.6, 6000 * RPM
    k, stall_a, idle_a = volts / free, volts / ohms, 1.6
    current = np.linspace(idle_a, 0.8 * stall_a, 25)
    speed = (volts - ohms * current) / k
    time, columns = dwells(
        {
            Channel.SPEED: speed,
            Channel.TORQUE: k * (current - idle_a),
            Channel.CURRENT: current,
            Channel.VOLTAGE: np.full_like(speed, volts),
        }
    )
    plate = Plate(voltage_v=volts, supply=Supply.DC, motor_family=MotorFamily.PERMANENT_MAGNET)
    best = reduce(time, columns, plate).metrics[MetricName.EFFICIENCY_MAX]
    assert best.value == pytest.approx((1 - math.sqrt(idle_a / stall_a)) ** 2, abs=2e-3)
    assert not best.lower_bound


def test_a_universal_motor_on_alternating_current_from_its_waveforms() -> None:
    # From memory (Theraja): 220 V 50 Hz, 1 A, R = 20 ohm, L = 0.4 H, 2000 r/min and 1 A on DC:
    # X = 125.6637, E = 160.579 V, 1605.79 r/min, power factor 0.8208, 160.58 W, 0.95493 N m.
    volts, amperes, ohms, hz = 220.0, 1.0, 20.0, 50.0
    reactance = 2 * math.pi * hz * 0.4
    emf = math.sqrt(volts**2 - (amperes * reactance) ** 2) - amperes * ohms
    assert emf == pytest.approx(160.579, abs=5e-4)
    speed = 2000 * RPM * emf / (volts - amperes * ohms)
    assert speed / RPM == pytest.approx(1605.79, abs=0.01)
    power_factor = (emf + amperes * ohms) / volts
    time = np.arange(30_000) / 5000.0
    phase = 2 * math.pi * hz * time
    columns = {
        Channel.VOLTAGE: math.sqrt(2) * volts * np.sin(phase),
        Channel.CURRENT: math.sqrt(2) * amperes * np.sin(phase - math.acos(power_factor)),
        Channel.SPEED: np.full_like(time, speed),
        # Torque pulsates at twice the mains frequency.
        Channel.TORQUE: emf * amperes / speed * (1 - np.cos(2 * phase)),
    }
    plate = Plate(
        voltage_v=volts, supply=Supply.AC, frequency_hz=hz, motor_family=MotorFamily.SERIES
    )
    result = reduce(time, columns, plate)
    (point,) = result.points
    assert point.voltage_v == pytest.approx(volts, rel=1e-4)
    assert point.current_a == pytest.approx(amperes, rel=1e-4)
    assert point.power_factor == pytest.approx(0.8208, abs=1e-4)
    assert point.shaft_power_w == pytest.approx(160.58, abs=0.05)
    assert point.torque_nm == pytest.approx(0.95493, rel=2e-4)
    peak = result.metrics[MetricName.SHAFT_POWER_MAX_STEADY]
    assert peak.lower_bound
    assert peak.value == pytest.approx(160.58, abs=0.05)


def test_a_series_motor_on_direct_current() -> None:
    # From memory (Chapman): 250 V, 0.08 ohm, 50 A: E = 246 V, 3690 r/min, 12 300 W, 31.830989 N m.
    current = np.array([50.0])
    emf = 250 - 0.08 * current
    speed = np.array([3690 * RPM])
    torque = emf * current / speed
    assert torque[0] == pytest.approx(31.830989, abs=1e-6)
    time, columns = dwells(
        {
            Channel.SPEED: speed,
            Channel.TORQUE: torque,
            Channel.CURRENT: current,
            Channel.VOLTAGE: np.array([250.0]),
        },
        hold_s=4.0,
    )
    plate = Plate(voltage_v=250, supply=Supply.DC, motor_family=MotorFamily.SERIES)
    (point,) = reduce(time, columns, plate).points
    assert point.shaft_power_w == pytest.approx(12_300, rel=1e-5)
    assert point.efficiency == pytest.approx(246 / 250, rel=1e-5)
