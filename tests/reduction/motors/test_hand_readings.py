"""The motor's model from readings by hand: a small rounded table, the motor's equations known.

The simulator (`seed_data`) shares no code with the reduction. Its displays: 0.1 V, 0.01 A, 1 W,
0.001 N m, 1 r/min; its own steps are finer than any of them.
"""

import numpy as np
import pytest

from seed_data.motors import RPM, Line
from seed_data.other_kinds import noted
from seed_data.per_unit import magnet, series
from seed_data.rigs import BrakeRig
from server.model.bench import Instrument, Plate, Rig
from server.model.motor import MotorFit
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import Channel, MotorFamily, RunKind, Supply
from server.reduction import reduce_run

AC, DC = Line(120.0, 60.0), Line(120.0, 0.0)
SERIES = series(120, 9, 15000, knee=1.0, iron=0.01, coulomb=0.02, windage=0.0)
MAGNET = magnet(120, 9, 5000, iron=0.0, coulomb=0.02, viscous=0.0, windage=0.0)
STEPS = {"voltage": 0.1, "current": 0.01, "power": 1.0, "torque": 0.001, "speed": RPM}
RIG = Rig(
    instruments=(
        *(Instrument(c, of_reading=0.003) for c in (Channel.VOLTAGE, Channel.CURRENT)),
        Instrument(Channel.POWER, of_reading=0.005, resolution=1.0),
        Instrument(Channel.TORQUE, of_reading=0.003, resolution=0.001),
        Instrument(Channel.SPEED, of_reading=0.0005, resolution=RPM),
    )
)


def table(motor, line: Line, *, n: int = 10, seed: int = 1) -> dict[str, np.ndarray]:
    brake = BrakeRig(
        "by hand", "friction brake", 0.0, 0.0, None, torque_range_nm=8.0, torque_noise_rel=1e-4
    )
    made = noted(motor, line, brake, n, twice=True, rng=np.random.default_rng(seed))
    return {name: np.round(made.channels[name] / step) * step for name, step in STEPS.items()}


def fitted(rows: dict[str, np.ndarray], line: Line, family: MotorFamily) -> MotorFit:
    n = rows["speed"].size
    channels = {Channel(name): values.astype(np.float32) for name, values in rows.items()}
    reduction = reduce_run(
        Recording(np.arange(float(n)), channels, notes={"rows_without_time": True}),
        kind=RunKind.BRAKE,
        plate=Plate(
            voltage_v=120.0,
            supply=Supply.AC if line.is_ac else Supply.DC,
            frequency_hz=line.frequency_hz or None,
            motor_family=family,
        ),
        rig=RIG,
        options=ReductionOptions(rows_are_points=True),
    )
    assert reduction.motor is not None
    return reduction.motor


def assert_near(found: MotorFit, true: dict[str, float]) -> None:
    """Within three standard uncertainties, themselves within a tenth of the value."""
    assert found.reason is None
    told = {p.name: p for p in found.parameters}
    for name, value in true.items():
        one = told[name]
        assert abs(one.value - value) < 3 * one.standard_uncertainty, (name, one, value)
        assert one.standard_uncertainty < 0.1 * value, (name, one)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_series_motor_s_constants_come_out_of_a_table(seed: int) -> None:
    found = fitted(table(SERIES, AC, seed=seed), AC, MotorFamily.SERIES)
    assert_near(
        found,
        {
            "field_constant": SERIES.k_sat_vs,
            "saturation_current": SERIES.knee_a,
            "resistance": SERIES.resistance_ohm,
            "reactance": SERIES.reactance_ohm,
        },
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_magnet_motor_s_constants_come_out_of_a_table(seed: int) -> None:
    rows = {k: v for k, v in table(MAGNET, DC, seed=seed).items() if k != "power"}
    found = fitted(rows, DC, MotorFamily.PERMANENT_MAGNET)
    assert_near(found, {"field_constant": MAGNET.k_vs, "resistance": MAGNET.resistance_ohm})


def test_a_blank_cell_leaves_its_row_out() -> None:
    rows = table(SERIES, AC)
    rows["current"][4] = rows["power"][9] = np.nan
    found = fitted(rows, AC, MotorFamily.SERIES)
    assert_near(found, {"field_constant": SERIES.k_sat_vs, "resistance": SERIES.resistance_ohm})
    assert len(found.residuals[0].residual) == 20 - 2


def test_too_few_loads_have_their_reason() -> None:
    """The gate is a logged run's: six load points with current and input power."""
    rows = {name: values[:6] for name, values in table(SERIES, AC).items()}  # at rest, five loads
    few = fitted(rows, AC, MotorFamily.SERIES)
    assert few.model is None
    assert few.reason == "fewer than 6 load points"
    rows = table(SERIES, AC)
    rows["current"][4:] = np.nan
    blank = fitted(rows, AC, MotorFamily.SERIES)
    assert blank.reason == "current was logged at fewer than 6 load points"


def test_rows_without_times_name_no_seconds() -> None:
    """The first load is read again at the end: how long after is not known."""
    rows = table(SERIES, AC)
    loaded = np.flatnonzero(rows["torque"] > 0.15 * rows["torque"].max())  # begins where it ends
    rows = {name: values[loaded] for name, values in rows.items()}
    found = fitted(rows, AC, MotorFamily.SERIES)
    assert found.warming is not None
    assert found.warming.after_s is None
