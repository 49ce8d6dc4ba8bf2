"""Whatever is sent: metrics with reasons, never an exception but InvalidSignal, never NaN."""

import json
import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import InvalidSignal
from server.model.bench import Instrument, Plate, Rig
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import Channel, MotorFamily, RunKind, Supply
from server.reduction import reduce_run
from server.wording.contract import reduction_to_json

CHANNELS = [
    Channel.SPEED,
    Channel.TORQUE,
    Channel.FORCE,
    Channel.CURRENT,
    Channel.VOLTAGE,
    Channel.POWER,
    Channel.POWER_FACTOR,
    Channel.APPARENT_POWER,
]


def draw_column(rng: np.random.Generator, n: int) -> np.ndarray:
    shape = rng.integers(6)
    if shape == 0:
        values = rng.normal(size=n)
    elif shape == 1:
        values = np.zeros(n)
    elif shape == 2:
        values = np.full(n, rng.normal())
    elif shape == 3:
        values = np.linspace(*rng.normal(size=2), n)
    elif shape == 4:
        values = np.repeat(rng.normal(size=n // 10 + 1), 10)[:n]
    else:
        values = np.abs(np.sin(np.arange(n) * rng.uniform(0.001, 3)))
    values = values * 10 ** rng.uniform(-6, 6)
    if rng.random() < 0.4:
        values = np.where(rng.random(n) < rng.uniform(0, 0.9), np.nan, values)
    return values.astype(np.float32)


def draw_recording(rng: np.random.Generator) -> Recording:
    n = int(rng.integers(2, 600))
    kind = rng.integers(4)
    if kind == 0:
        time = np.arange(n) * 10 ** rng.uniform(-4, 1)
    elif kind == 1:
        time = np.cumsum(rng.exponential(0.05, n))
    elif kind == 2:
        time = np.floor(np.arange(n) / 7.0)
    else:
        time = rng.uniform(0, 100, n)
    chosen = [c for c in CHANNELS if c is Channel.SPEED or rng.random() < 0.6]
    return Recording(time, {c: draw_column(rng, n) for c in chosen})


@settings(max_examples=120, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_random_arrays(seed: int) -> None:
    rng = np.random.default_rng(seed)
    plate = Plate(
        voltage_v=[None, 120.0][int(rng.integers(2))],
        current_a=[None, 1.0][int(rng.integers(2))],
        frequency_hz=[None, 50.0][int(rng.integers(2))],
        supply=[None, Supply.AC, Supply.DC][int(rng.integers(3))],
        motor_family=list(MotorFamily)[int(rng.integers(4))],
    )
    rig = Rig(
        arm_m=[None, 0.1][int(rng.integers(2))],
        inertia_kg_m2=[None, 1e-4][int(rng.integers(2))],
        drag=[(), ((0.0, 0.01), (300.0, 0.02))][int(rng.integers(2))],
        instruments=(
            Instrument(Channel.TORQUE, of_reading=0.01, range=1.0, of_range=0.01),
            Instrument(
                Channel.POWER, temperature_coefficient_per_k=[None, 1e-3][int(rng.integers(2))]
            ),
        ),
        arm_angle_rad=[None, 0.2, -1.5][int(rng.integers(3))],
        arm_angle_uncertainty_rad=[None, 0.1, 2.0][int(rng.integers(3))],
        pivot_friction_nm=[None, 0.01][int(rng.integers(2))],
        lead_resistance_ohm=[None, 0.1, 1e4][int(rng.integers(3))],
        lead_resistance_uncertainty_rel=[None, 0.1][int(rng.integers(2))],
    )
    try:
        result = reduce_run(
            draw_recording(rng),
            kind=RunKind.BRAKE,
            plate=plate,
            rig=rig,
            options=ReductionOptions(
                tested_on="2026-05-01", ambient_k=[None, 310.0][int(rng.integers(2))]
            ),
        )
    except InvalidSignal:
        return
    # NaN and infinity are refused by strict JSON.
    assert json.dumps(reduction_to_json(result, (), ()), allow_nan=False)
    for metric in result.metrics.values():
        assert (metric.value is None) == (metric.reason is not None)
    for point in result.points:
        assert math.isfinite(point.shaft_power_w)
    for curve in result.curves:
        assert np.isfinite(curve.value).all()
        assert np.isfinite(curve.torque_nm).all()
