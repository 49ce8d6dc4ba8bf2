"""Load points of motors whose equations are known (those of the demonstration), with scatter.

Their physics differ a little from the fitted models': iron loss grows with speed to the 1.4 and
windage is apart from it, so that exact agreement of every constant is not asked for.
"""

from dataclasses import dataclass, fields, is_dataclass
from enum import Enum

import numpy as np

from seed_data.draws import draw_motor
from seed_data.motors import Line, Motor, Truth, truth
from server.model.bench import Instrument, Plate, Rig
from server.model.measured import Metric
from server.model.results import LoadPoint
from server.model.words import Channel, MetricName, MotorFamily, Supply

M = MetricName
GOOD_RIG = Rig(
    instruments=tuple(
        Instrument(channel, of_reading=limit)
        for channel, limit in (
            (Channel.TORQUE, 0.003),
            (Channel.VOLTAGE, 0.003),
            (Channel.CURRENT, 0.003),
            (Channel.POWER, 0.005),
        )
    )
)


@dataclass(frozen=True)
class OnBench:
    motor: Motor
    line: Line
    points: tuple[LoadPoint, ...]
    plate: Plate
    truth: Truth

    @property
    def metrics(self) -> dict[MetricName, Metric]:
        """What a perfect bench would have found on this line."""
        t = self.truth
        values = {
            M.SHAFT_POWER_MAX_STEADY: t.shaft_power_max_steady,
            M.SPEED_AT_MAX_STEADY_POWER: t.speed_at_max,
            M.TORQUE_AT_MAX_STEADY_POWER: t.torque_at_max,
            M.EFFICIENCY_MAX: t.efficiency_max,
        }
        return {name: Metric(name, v, 0.001 * v) for name, v in values.items()}


def drawn(family: str, seed: int, *, n: int = 20, noise: float = 2e-3) -> OnBench:
    motor, line = draw_motor(family, np.random.default_rng(seed))
    return on_bench(motor, line, n=n, noise=noise, seed=seed)


def on_bench(
    motor: Motor, line: Line, *, n: int = 20, noise: float = 2e-3, seed: int = 1
) -> OnBench:
    """`n` load points from near free running to well below the speed of highest power."""
    found = truth(motor, line)
    if motor.family == "induction":
        sync = motor.synchronous(line)
        speed = np.linspace(sync - 1.5 * (sync - found.speed_at_max), found.free_speed, n)
    else:
        speed = np.linspace(0.6 * found.speed_at_max, 0.97 * found.free_speed, n)
    at = motor.operate(speed, line.voltage_v, line)
    rng = np.random.default_rng(seed)
    u_torque = noise * float(at.torque_nm.max())
    torque = at.torque_nm + u_torque * rng.standard_normal(n)
    current = at.current_a * (1 + noise / 3 * rng.standard_normal(n))
    power = at.power_w * (1 + noise / 3 * rng.standard_normal(n))
    points = tuple(
        LoadPoint(
            start_s=5.0 * i,
            end_s=5.0 * i + 4,
            is_dwell=True,
            n_samples=200,
            n_effective=100.0,
            torque_nm=float(torque[i]),
            speed_rad_s=float(speed[i]),
            shaft_power_w=float(torque[i] * speed[i]),
            voltage_v=float(at.voltage_v[i]),
            current_a=float(current[i]),
            input_power_w=float(power[i]),
            u_torque_nm=u_torque,
            u_speed_rad_s=1e-5 * float(speed[i]),
            u_current_a=noise / 3 * float(current[i]),
            u_input_power_w=noise / 3 * float(power[i]),
        )
        for i in range(n)
    )
    plate = Plate(
        voltage_v=line.voltage_v,
        supply=Supply.AC if line.is_ac else Supply.DC,
        frequency_hz=line.frequency_hz or None,
        motor_family=MotorFamily(motor.family),
    )
    return OnBench(motor, line, points, plate, found)


def every_float(thing: object) -> list[float]:
    """All floats in nested dataclasses and tuples."""
    if isinstance(thing, bool | Enum | str | int) or thing is None:
        return []
    if isinstance(thing, float):
        return [thing]
    if is_dataclass(thing):
        return [v for f in fields(thing) for v in every_float(getattr(thing, f.name))]
    return [v for item in thing for v in every_float(item)]
