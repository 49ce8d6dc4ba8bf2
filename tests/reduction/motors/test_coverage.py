"""How far constants come out from what was put in, in their own standard uncertainties.

Motors that obey the laws exactly, instruments wrong within what they state, fresh for each run.
"""

from dataclasses import replace

import numpy as np
import pytest

from seed_data.draws import draw_motor
from seed_data.motors import InductionMotor, Line, Losses, Motor, SeriesMotor
from server.reduction.motors.describe import fit_motor
from tests.reduction.motors.bench import GOOD_RIG, on_bench

N_RUNS = 25
LIMITS = {"torque_nm": 0.003, "voltage_v": 0.003, "current_a": 0.003, "input_power_w": 0.005}


def lawful(family: str, rng: np.random.Generator) -> tuple[Motor, Line, dict[str, float]]:
    """A motor without what the laws leave out, with its constants by name."""
    motor, line = draw_motor(family, rng)
    if isinstance(motor, SeriesMotor):
        losses = Losses(coulomb_nm=2 * motor.losses.coulomb_nm,
                        windage_nms2=motor.losses.windage_nms2)  # fmt: skip
        drop = float(2 + 0.5 * rng.standard_normal())
        motor = replace(motor, iron_w=0.0, losses=losses, brush_drop_v=drop)
        return motor, line, {
            "resistance": motor.resistance_ohm,
            "reactance": motor.reactance_ohm,
            "field_constant": motor.k_sat_vs,
            "saturation_current": motor.knee_a,
            "brush_drop": drop,
            "friction_torque": losses.coulomb_nm,
            "windage": losses.windage_nms2,
        }  # fmt: skip
    assert isinstance(motor, InductionMotor)
    leakage = (motor.x1_ohm + motor.x2_ohm) / 2
    losses = Losses(coulomb_nm=2 * motor.losses.coulomb_nm)
    motor = replace(motor, x1_ohm=leakage, x2_ohm=leakage, losses=losses)
    return motor, line, {
        "stator_resistance": motor.r1_ohm,
        "rotor_resistance": motor.r2_ohm,
        "leakage_reactance": leakage,
        "magnetising_reactance": motor.xm_ohm,
        "core_conductance": 1 / motor.core_ohm,
        "friction_torque": losses.coulomb_nm,
    }  # fmt: skip


@pytest.mark.parametrize("family", ["series", "induction"])
def test_stated_uncertainties_are_as_large_as_the_errors(family: str) -> None:
    errors: dict[str, list[float]] = {}
    balance: list[float] = []
    for run in range(N_RUNS):
        rng = np.random.default_rng(5000 + run)
        motor, line, constants = lawful(family, rng)
        gains = {name: 1 + rng.uniform(-limit, limit) for name, limit in LIMITS.items()}
        points = tuple(
            replace(p, **{name: getattr(p, name) / gain for name, gain in gains.items()})
            for p in on_bench(motor, line, seed=run).points
        )
        plate = on_bench(motor, line).plate
        found = fit_motor(points, plate=plate, rig=GOOD_RIG)
        for name, value in constants.items():
            one = found.by_name[name]
            errors.setdefault(name, []).append((one.value - value) / one.standard_uncertainty)
        balance += [p.beyond_w / p.u_beyond_w for p in found.losses]
    for name, values in errors.items():
        spread = float(np.sqrt(np.mean(np.square(values))))
        assert 0.2 < spread < 1.35, name
        assert float(np.mean(np.abs(values) < 2)) >= 0.9, name
    assert 0.3 < float(np.sqrt(np.mean(np.square(balance)))) < 1.2
