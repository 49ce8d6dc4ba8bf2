"""Runs of other kinds than brake, and readings by hand: any arrays give figures or reasons."""

import json
from dataclasses import replace

import numpy as np
import pytest

from server.errors import InvalidSignal
from server.model.bench import Instrument, Plate, Rig
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import Channel, RunKind, Supply
from server.reduction import reduce_run
from server.wording.contract import reduction_to_json

KINDS = (
    RunKind.RUN_DOWN,
    RunKind.RUN_UP,
    RunKind.IN_USE,
    RunKind.LOCKED_ROTOR,
    RunKind.BRAKE,
)
CHANNELS = (
    Channel.SPEED,
    Channel.TORQUE,
    Channel.FORCE,
    Channel.CURRENT,
    Channel.VOLTAGE,
    Channel.POWER,
    Channel.POWER_FACTOR,
)
DRAGS = ((), ((0.0, 1e-3), (500.0, 2e-3)), ((0.0, 0.0), (100.0, 0.0)))


def drawn(rng: np.random.Generator, n: int) -> np.ndarray:
    shapes = (
        np.zeros(n),
        rng.normal(0, 1, n) * 10 ** rng.uniform(-3, 4),
        np.linspace(1000, 0, n),
        np.full(n, rng.uniform(-5, 500)),
        np.linspace(0, 900, n) ** 2 / 900,
        np.where(rng.random(n) < 0.5, np.nan, 7.0),
    )
    return shapes[int(rng.integers(len(shapes)))].astype(np.float32)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(3))
def test_any_arrays_give_figures_or_reasons(kind, seed):
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    n_reduced = 0
    for _ in range(40):
        n = int(rng.integers(2, 80))
        time = np.cumsum(rng.uniform(0, 1, n)) if rng.random() < 0.8 else rng.uniform(0, 5, n)
        made = Recording(
            time_s=time,
            channels={c: drawn(rng, n) for c in CHANNELS if rng.random() < 0.7},
            notes={"rows_without_time": True} if rng.random() < 0.2 else {},
        )
        rig = Rig(
            inertia_kg_m2=(None, 1e-4, 0.0)[int(rng.integers(3))],
            drag=DRAGS[int(rng.integers(3))],
            arm_m=(None, 0.2)[int(rng.integers(2))],
            inertia_uncertainty_rel=0.05,
            instruments=(
                Instrument(Channel.SPEED, of_reading=0.01, resolution=0.1),
                Instrument(Channel.POWER, of_reading=0.01),
            ),
        )
        if rng.random() < 0.5:
            rig = replace(
                rig,
                lead_resistance_ohm=(0.1, 1e4)[int(rng.integers(2))],
                lead_resistance_uncertainty_rel=0.1,
                arm_angle_rad=0.3,
                arm_angle_uncertainty_rad=0.1,
                pivot_friction_nm=0.01,
            )
        options = ReductionOptions(
            rows_are_points=kind is RunKind.BRAKE or bool(rng.random() < 0.3),
            added_inertia_kg_m2=1e-4 if rng.random() < 0.3 else None,
        )
        plate = Plate(supply=(None, Supply.AC, Supply.DC)[int(rng.integers(3))], voltage_v=120.0)
        try:
            reduction = reduce_run(made, kind=kind, plate=plate, rig=rig, options=options)
        except InvalidSignal:
            continue
        n_reduced += 1
        assert json.dumps(reduction_to_json(reduction, (), ()), allow_nan=False)
        for metric in reduction.metrics.values():
            assert (metric.value is None) == bool(metric.reason)
            assert metric.standard_uncertainty is None or metric.standard_uncertainty >= 0
    assert n_reduced > 20
