"""Random sound brake runs: a motor, a rig, a programme and a way of writing, from one seed.

What is drawn stays within what a competent tester would call a good run: the peak is bracketed,
instruments are better than 0.2 %, the stand rests before and after.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from seed_data.bench_file import bench_toml
from seed_data.brake import brake_run
from seed_data.dialects import Dialect, write_log
from seed_data.drawn_files import bench_parts, draw_writing
from seed_data.motors import (
    InductionMotor,
    Line,
    MagnetMotor,
    SeriesMotor,
    Truth,
    load_line,
    truth,
)
from seed_data.per_unit import induction, magnet, series
from seed_data.plans import along_the_line, dwells, sweep
from seed_data.rigs import BrakeRig

FAMILIES = ("series", "permanent magnet", "induction")

# Slips of unit by channel: both directions of each are tried.
SLIPS: dict[str, tuple[float, ...]] = {
    "torque": (8.850745791, 12.0, 16.0, 141.6119, 9.80665),
    "force": (9.80665, 16.0, 101.9716),
    "speed": (9.549296586,),
    "power": (1000.0, 745.6999),
    "current": (1000.0,),
    "voltage": (1000.0,),
}


@dataclass(frozen=True)
class Case:
    """One drawn run as files, with what was true."""

    seed: int
    family: str
    style: str  # dwells | sweep
    log_name: str
    log: bytes
    bench: str
    truth: Truth
    written: tuple[str, ...]  # channels in the log
    dialect: Dialect
    shown: dict[str, np.ndarray] = field(repr=False)  # what the sensors showed, SI


def draw_case(
    seed: int,
    *,
    family: str | None = None,
    style: str | None = None,
    slip: tuple[str, float] | None = None,
    dialect: Dialect | None = None,
) -> Case:
    """A run from `seed`. `slip` (channel, factor) writes that channel's values times factor;
    `dialect` writes it that way instead of the drawn one.
    """
    rng = np.random.default_rng(seed)
    drawn_family = FAMILIES[int(rng.integers(3))]
    drawn_style = "dwells" if rng.random() < 0.6 else "sweep"
    family, style = family or drawn_family, style or drawn_style
    motor, line = draw_motor(family, rng)
    rig = draw_rig(motor, line, rng)
    plan, rig = draw_plan(motor, line, rig, style, rng)
    readings = brake_run(motor, line, rig, plan, rng)
    channels, units, drawn_dialect = draw_writing(readings, rig, line, rng)
    dialect = dialect or drawn_dialect
    if rng.random() < 0.15:
        channels = jumbled(channels, rng)
    if slip is not None:
        channels = {**channels, slip[0]: channels[slip[0]] * slip[1]}
    order = ["time", *rng.permutation([name for name in units if name != "time"]).tolist()]
    log = write_log(channels, units, dialect, rng, order=order)
    return Case(
        seed=seed,
        family=family,
        style=style,
        log_name=f"run-{seed}.{'txt' if dialect.separator in (' ', chr(9)) else 'csv'}",
        log=log,
        bench=bench_toml(bench_parts(motor, line, rig, rng, force="force" in units)),
        truth=truth(motor, line, rig.drag),
        written=tuple(order),
        dialect=dialect,
        shown={name: channels[name] for name in order},
    )


def jumbled(channels: dict[str, np.ndarray], rng) -> dict[str, np.ndarray]:
    """A logger that now and then writes a row twice, or two rows in the wrong order."""
    rows = np.arange(channels["time"].size)
    swapped = 2 * rng.integers(1, rows.size // 2 - 1, size=5)
    rows[swapped], rows[swapped + 1] = rows[swapped + 1], rows[swapped]
    rows = np.repeat(rows, np.where(rng.random(rows.size) < 0.002, 2, 1))
    return {name: values[rows] for name, values in channels.items()}


def draw_motor(family: str, rng) -> tuple:
    """A motor of the family and its line, scaled from per-unit values."""
    volts, hertz = [(120.0, 60.0), (230.0, 50.0), (240.0, 50.0)][int(rng.integers(3))]
    source = {"resistance_ohm": rng.uniform(0.1, 0.4), "reactance_ohm": rng.uniform(0.02, 0.1)}
    volt_amperes = rng.uniform(350, 1500)
    amperes = volt_amperes / volts
    if family == "series":
        line = Line(volts * rng.uniform(0.985, 1.015), hertz, **source)
        return draw_series(rng, volts, amperes), line
    if family == "permanent magnet":
        if rng.random() < 0.5:
            line = Line(volts, hertz, **source)
        else:
            line = Line(volts, 0.0, resistance_ohm=source["resistance_ohm"])
        return draw_magnet(rng, volts * (0.9 if line.is_ac else 1.0), amperes), line
    line = Line(volts * rng.uniform(0.985, 1.015), hertz, **source)
    return draw_induction(rng, volts, amperes, hertz), line


def draw_series(rng, volts: float, amperes: float) -> SeriesMotor:
    return series(
        volts,
        amperes,
        rng.uniform(9000, 21000),
        r=rng.uniform(0.08, 0.14),
        x=rng.uniform(0.18, 0.3),
        knee=rng.uniform(0.6, 1.4),
        iron=rng.uniform(0.03, 0.07),
        coulomb=rng.uniform(0.01, 0.03),
        windage=rng.uniform(0.03, 0.09),
    )


def draw_magnet(rng, volts: float, amperes: float) -> MagnetMotor:
    return magnet(
        volts,
        amperes,
        rng.uniform(2500, 14000),
        r=rng.uniform(0.1, 0.18),
        iron=rng.uniform(0.02, 0.05),
        coulomb=rng.uniform(0.01, 0.03),
        viscous=rng.uniform(0.005, 0.02),
        windage=rng.uniform(0.005, 0.02),
    )


def draw_induction(rng, volts: float, amperes: float, hertz: float) -> InductionMotor:
    return induction(
        volts,
        amperes,
        hertz,
        int(rng.choice([2, 4])),
        r1=rng.uniform(0.05, 0.08),
        x1=rng.uniform(0.06, 0.1),
        r2=rng.uniform(0.06, 0.1),
        x2=rng.uniform(0.06, 0.1),
        xm=rng.uniform(1.6, 2.4),
        core=rng.uniform(18, 35),
        coulomb=rng.uniform(0.01, 0.03),
        windage=rng.uniform(0.01, 0.03),
        backward=bool(rng.random() < 0.6),
    )


def draw_rig(motor, line: Line, rng) -> BrakeRig:
    """A rig that suits the motor, with a zero that is off and drag before its sensor."""
    found = truth(motor, line)
    torque, free = found.torque_at_max, found.free_speed
    rotor = torque * rng.uniform(0.15, 0.5) / free
    drag = torque * rng.uniform(0.01, 0.05)
    share = rng.random()
    return BrakeRig(
        name="drawn",
        absorber=str(rng.choice(["eddy-current brake", "hysteresis brake", "friction brake"])),
        inertia=rotor * rng.uniform(1.2, 2.5),
        rotor_inertia=rotor,
        arm_m=float(rng.choice([0.1, 0.15, 0.2, 0.25])) if rng.random() < 0.5 else None,
        drag_nm=drag * share,
        drag_nms=drag * (1 - share) / found.speed_at_max,
        torque_range_nm=torque * 2,
        zero_nm=torque * rng.uniform(-0.08, 0.08),
        zero_creep_nm=torque * rng.uniform(-0.003, 0.003),
        torque_gain=rng.uniform(-0.0015, 0.0015),
        torque_noise_rel=rng.uniform(2e-4, 1e-3),
        torque_lag_s=float(rng.choice([0.0, 0.0, rng.uniform(0.05, 0.3)])),
        speed_noise_rel=rng.uniform(5e-5, 5e-4),
        meter_gain=tuple(rng.uniform(-0.001, 0.001, 3).tolist()),
        meter_noise_rel=rng.uniform(1e-4, 1e-3),
    )


def draw_plan(motor, line: Line, rig: BrakeRig, style: str, rng):
    """A programme that brackets the peak, and the rig with a speed sensor that suits it."""
    found = truth(motor, line, rig.drag)
    if motor.family == "induction":
        sync = motor.synchronous(line)
        lowest = sync - (sync - found.speed_at_max) * rng.uniform(1.25, 1.7)
    else:
        lowest = found.speed_at_max * rng.uniform(0.45, 0.75)
    interval = float(rng.choice([0.02, 0.05, 0.1]))
    idle = {"idle_before_s": rng.uniform(3, 6), "idle_after_s": rng.uniform(3, 6)}
    if style == "dwells":
        speeds = along_the_line(motor, line, rig, lowest, int(rng.integers(9, 15)))
        plan = dwells(
            speeds,
            hold_s=rng.uniform(3, 6),
            travel_s=rng.uniform(0.7, 1.5),
            interval_s=interval,
            free_s=rng.uniform(4, 6),
            **idle,
        )
    else:
        interval = min(interval, 0.05)
        plan = sweep(
            lowest,
            found.free_speed * 0.97,
            down_s=rng.uniform(12, 30),
            up_s=rng.uniform(12, 30),
            interval_s=interval,
            free_s=rng.uniform(4, 6),
            **idle,
        )
    if rng.random() < 0.6:
        wanted = 2 * np.pi / (found.free_speed * interval * rng.uniform(5e-4, 3e-3))
        steps = np.array([1, 2, 4, 6, 10, 20, 30, 60, 120, 360, 1024])
        pulses = float(steps[np.argmin(np.abs(np.log(steps / wanted)))])
        rig = replace(rig, pulses_per_revolution=pulses)
    speed, at = load_line(motor, line)
    most = at.torque_nm[speed >= lowest].max()
    return plan, replace(rig, torque_range_nm=_round_up(1.25 * most))


def _round_up(value: float) -> float:
    scale = 10.0 ** np.floor(np.log10(value))
    return float(next(m for m in (1, 1.5, 2, 3, 5, 7.5, 10) if m * scale >= value) * scale)
