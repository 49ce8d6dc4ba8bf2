"""How surely a fit that knows a simulated motor's own equations finds its highest power.

The equations are those of `tests/reduction/simulate.py`, with every constant free. Cramér and Rao's
limit of a fit to current, torque and input power at the dwells: no fit that does not know the
constants themselves is surer.
"""

import math
from collections.abc import Callable

import numpy as np

from tests.reduction.simulate import Case, Motor

Floats = np.ndarray
Constants = dict[str, float]
# Speed -> torque, current, input power.
Equations = Callable[[Constants, Floats], tuple[Floats, Floats, Floats]]
STEP = 1e-4
REACH = 0.02  # of the speed: where power is taken as a parabola of fourth order


def u_of_highest_speed(case: Case, speed: Floats, n_rows: float) -> float:
    """Standard uncertainty (rad/s) of the speed of highest power, of scatter alone.

    Parameters
    ----------
    speed : (n,) of the dwells, rad/s. n_rows : samples in each.
    """
    motor = case.motor
    equations, constants = known(motor)
    names, n = list(constants), speed.size
    torque, current, power = equations(constants, speed)
    slopes = [(b - a) / (2 * STEP) for a, b in _moved(equations, constants, speed)]
    by_speed = [
        (b - a) / (2 * STEP * speed)
        for a, b in zip(
            equations(constants, speed * (1 - STEP)),
            equations(constants, speed * (1 + STEP)),
            strict=True,
        )
    ]
    top = float(motor.torque.max())
    noise = (
        np.hypot(case.torque_noise * torque, 0.2 * case.torque_noise * top),
        case.electric_noise * current,
        case.electric_noise * power,
    )
    scatter = [
        np.hypot(own, rate * case.speed_noise * speed) / math.sqrt(n_rows)
        for own, rate in zip(noise, by_speed, strict=True)
    ]
    sigma = np.concatenate(scatter)
    design = np.array([s.ravel() for s in slopes]).T / sigma[:, None]
    assert design.shape == (3 * n, len(names))
    size = np.sqrt(np.sum(design**2, axis=0))
    covariance = np.linalg.pinv((design / size).T @ (design / size), rcond=1e-14)
    by_constant = _place_slopes(equations, constants, float(speed.min()), float(speed.max()))
    scaled = by_constant / size
    return float(np.sqrt(scaled @ covariance @ scaled))


def _moved(
    equations: Equations, constants: Constants, speed: Floats
) -> list[tuple[Floats, Floats]]:
    """Everything (3, n) with each constant a little lower and higher, relative."""
    found = []
    for name, value in constants.items():
        low, high = (
            np.array(equations(constants | {name: value * by}, speed))
            for by in (1 - STEP, 1 + STEP)
        )
        found.append((low, high))
    return found


def _place_slopes(equations: Equations, constants: Constants, low: float, high: float) -> Floats:
    w = np.linspace(low, high, 2001)
    start = float(w[np.argmax(equations(constants, w)[0] * w)])
    around = np.linspace(-REACH, REACH, 41)

    def place(c: Constants) -> float:
        speed = start * (1 + around)
        fit = np.polynomial.Polynomial.fit(around, equations(c, speed)[0] * speed, 6)
        roots = fit.deriv().roots()
        near = roots[np.argmin(np.abs(roots))]
        return start * (1 + float(near.real))

    return np.array(
        [
            (place(constants | {n: v * (1 + STEP)}) - place(constants | {n: v * (1 - STEP)}))
            / (2 * STEP)
            for n, v in constants.items()
        ]
    )


def known(motor: Motor) -> tuple[Equations, Constants]:
    """The equations of a motor of `MOTORS`, with the constants it has there."""
    made = {"series": _series, "permanent magnet": _magnet, "induction": _induction}
    equations, constants = made[motor.family.value]()
    at = np.linspace(0.5, 0.9, 20) * motor.free_speed
    for own, table in zip(
        equations(constants, at), (motor.torque, motor.current, motor.power), strict=True
    ):
        assert np.allclose(own, motor.read(at, table), rtol=1e-4), motor.family
    return equations, constants


def _series() -> tuple[Equations, Constants]:
    volts, watts, free = 120.0, 600.0, 24000.0 * math.pi / 30
    peak_a = 2.8 * watts / volts
    ohms = volts / peak_a
    c = {"r": 0.36 * ohms, "x": 0.38 * ohms, "knee": 0.3 * peak_a, "brushes": 2.0}
    loss = 0.3 * watts / free
    i_free = 0.25 * peak_a
    emf = math.sqrt(volts**2 - (c["x"] * i_free) ** 2) - c["r"] * i_free - 2.0
    flux = i_free / math.sqrt(1 + (i_free / c["knee"]) ** 2)
    c |= {"k": emf / flux / free, "friction": 0.3 * loss, "windage": 0.7 * loss / free**2}
    iron = 0.25 * watts / peak_a**2
    c |= {"iron": iron / free, "iron at rest": 0.5 * iron}

    def equations(c: Constants, speed: Floats) -> tuple[Floats, Floats, Floats]:
        i = np.linspace(0.04, 1.6, 6000) * peak_a
        flux = i / np.sqrt(1 + (i / c["knee"]) ** 2)
        emf = np.sqrt(np.maximum(volts**2 - (c["x"] * i) ** 2, 0)) - c["r"] * i - c["brushes"]
        turns = emf / (c["k"] * flux)
        order = np.argsort(turns)
        current = _smooth_read(speed, turns[order], i[order])
        flux = current / np.sqrt(1 + (current / c["knee"]) ** 2)
        gross = c["k"] * flux * current
        iron = flux**2 * (c["iron"] * speed + c["iron at rest"]) / speed
        torque = gross - c["friction"] - c["windage"] * speed**2 - iron
        return torque, current, c["r"] * current**2 + c["brushes"] * current + gross * speed

    return equations, c


def _smooth_read(at: Floats, x: Floats, y: Floats) -> Floats:
    from scipy.interpolate import CubicSpline

    return np.asarray(CubicSpline(x, y)(at))


def _magnet() -> tuple[Equations, Constants]:
    volts, free = 24.0, 6000.0 * math.pi / 30
    k = volts / free
    c = {"r": volts / 40.0, "k": k, "friction": 0.8 * k, "drag": 0.8 * k / free}

    def equations(c: Constants, speed: Floats) -> tuple[Floats, Floats, Floats]:
        current = (volts - c["k"] * speed) / c["r"]
        torque = c["k"] * current - c["friction"] - c["drag"] * speed
        return torque, current, volts * current

    return equations, c


def _induction() -> tuple[Equations, Constants]:
    volts, watts = 230.0, 550.0
    sync = math.pi * 50.0
    z = volts**2 / watts
    c = {"r1": 0.055 * z, "x1": 0.07 * z, "r2": 0.05 * z, "x2": 0.07 * z}
    c |= {"xm": 1.3 * z, "iron": 1 / (18 * z), "friction": 0.015 * watts / sync}

    def equations(c: Constants, speed: Floats) -> tuple[Floats, Floats, Floats]:
        s = 1 - speed / sync
        rotor = c["r2"] / s + 1j * c["x2"]
        across = 1 / (1 / (1j * c["xm"]) + c["iron"])
        both = rotor * across / (rotor + across)
        i1 = volts / (c["r1"] + 1j * c["x1"] + both)
        torque = np.abs(i1 * both / rotor) ** 2 * c["r2"] / s / sync - c["friction"]
        return torque, np.abs(i1), np.real(volts * np.conj(i1))

    return equations, c
