"""Motors scaled from per-unit values: parts of rated voltage, current, speed and torque."""

import numpy as np

from seed_data.motors import RPM, InductionMotor, Losses, MagnetMotor, SeriesMotor


def series(
    volts: float,
    amperes: float,
    rpm: float,
    *,
    r: float = 0.11,
    x: float = 0.24,
    knee: float = 1.0,
    iron: float = 0.05,
    coulomb: float = 0.02,
    windage: float = 0.06,
) -> SeriesMotor:
    """Turns at `rpm` when it takes `amperes`; losses as parts of the power made there."""
    base, speed = volts / amperes, rpm * RPM
    emf = np.sqrt(volts**2 - (x * volts) ** 2) - r * volts - 2.0
    torque = emf * amperes / speed
    return SeriesMotor(
        k_sat_vs=float(emf / speed * np.hypot(1.0, knee)),
        knee_a=amperes * knee,
        resistance_ohm=base * r,
        reactance_ohm=base * x,
        brush_drop_v=2.0,
        iron_w=float(emf * amperes * iron),
        iron_speed=speed,
        losses=Losses(
            coulomb_nm=float(torque * coulomb), windage_nms2=float(torque * windage / speed**2)
        ),
    )


def magnet(
    volts: float,
    amperes: float,
    rpm: float,
    *,
    r: float = 0.14,
    iron: float = 0.03,
    coulomb: float = 0.02,
    viscous: float = 0.01,
    windage: float = 0.01,
) -> MagnetMotor:
    """Turns at `rpm` on `volts` direct current when it takes `amperes`."""
    speed = rpm * RPM
    k = (volts - r * volts - 2.0) / speed
    torque = k * amperes
    return MagnetMotor(
        k_vs=k,
        resistance_ohm=volts / amperes * r,
        brush_drop_v=2.0,
        iron_w=volts * amperes * iron,
        iron_speed=speed,
        losses=Losses(torque * coulomb, torque * viscous / speed, torque * windage / speed**2),
    )


def induction(
    volts: float,
    amperes: float,
    hertz: float,
    poles: int,
    *,
    r1: float = 0.065,
    x1: float = 0.08,
    r2: float = 0.08,
    x2: float = 0.08,
    xm: float = 2.0,
    core: float = 25.0,
    coulomb: float = 0.02,
    windage: float = 0.02,
    backward: bool = True,
) -> InductionMotor:
    """Impedances as parts of volts / amperes."""
    base, sync = volts / amperes, 4 * np.pi * hertz / poles
    torque = volts * amperes * 0.6 / sync
    return InductionMotor(
        poles=poles,
        r1_ohm=base * r1,
        x1_ohm=base * x1,
        r2_ohm=base * r2,
        x2_ohm=base * x2,
        xm_ohm=base * xm,
        core_ohm=base * core,
        losses=Losses(coulomb_nm=torque * coulomb, windage_nms2=torque * windage / sync**2),
        backward=backward,
    )
