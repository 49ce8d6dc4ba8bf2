"""Cases drawn at random: every kind of run an honest tester might send."""

from __future__ import annotations

import numpy as np

from tests.reduction.simulate import Case, Motor, induction, permanent_magnet, universal


def draw_case(seed: int) -> Case:
    """One sound run: family, size, way of loading, logger and rig drawn from the seed."""
    rng = np.random.default_rng(seed)
    family = ("series", "permanent magnet", "induction")[seed % 3]
    motor, lowest = draw_motor(family, rng)
    mode = ("dwells", "dwells", "down", "both", "up")[int(rng.integers(5))]
    rate = float(np.exp(rng.uniform(np.log(5), np.log(1000))))
    dwell_s = float(rng.uniform(1.0, 5.0)) if rate > 20 else float(rng.uniform(2.0, 5.0))
    t_top = float(motor.torque[motor.speed > lowest * motor.free_speed].max())
    inertia = 10 ** rng.uniform(-1.3, -0.5) * t_top / motor.free_speed
    return Case(
        motor=motor,
        lowest_speed_share=lowest,
        mode=mode,
        n_dwells=int(rng.integers(6, 40)),
        dwell_s=dwell_s,
        move_s=float(rng.uniform(0.2, 1.0)),
        sweep_s=float(rng.uniform(8, 60)) if rate > 20 else float(rng.uniform(20, 90)),
        rate_hz=rate,
        torque_noise=float(rng.uniform(0.002, 0.02)),
        speed_noise=float(10 ** rng.uniform(-4, -2.7)),
        electric_noise=float(rng.uniform(0.001, 0.005)),
        ripple=float(rng.choice([0.0, 0.2])) if rate > 150 else 0.0,
        zero_nm=float(rng.uniform(-0.05, 0.05)) * t_top,
        drift_nm=float(rng.uniform(-0.005, 0.005)) * t_top,
        drag_share=float(rng.choice([0.0, 0.02, 0.05])),
        inertia=float(inertia),
        sag=float(rng.choice([0.0, 0.03])),
        has_idle=True,
        jitter=float(rng.choice([0.0, 0.5])),
        with_power=str(rng.choice(["power", "power", "pf"])) if motor.frequency_hz else "power",
        seed=seed,
    )


def draw_motor(family: str, rng: np.random.Generator) -> tuple[Motor, float]:
    if family == "series":
        volts, hz = ((120.0, 60.0), (230.0, 50.0))[int(rng.integers(2))]
        motor = universal(
            volts=volts,
            hz=hz,
            watts=float(rng.uniform(150, 1500)),
            free_rpm=float(rng.uniform(9e3, 32e3)),
        )
        return motor, float(rng.uniform(0.18, 0.26))
    if family == "permanent magnet":
        motor = permanent_magnet(
            volts=float(rng.choice([18.0, 160.0, 320.0])),
            stall_a=float(rng.uniform(10, 60)),
            free_rpm=float(rng.uniform(2e3, 2e4)),
        )
        return motor, float(rng.uniform(0.2, 0.4))
    motor = induction(watts=float(rng.uniform(60, 2200)), poles=int(rng.choice([2, 4])))
    return motor, float(rng.uniform(0.55, 0.68))
