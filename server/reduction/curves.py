"""The load line as curves over torque, thinned to what a chart or a reader needs."""

import numpy as np

from server.model.results import Curve
from server.reduction.arrays import Floats
from server.reduction.loadline import LoadLine
from server.reduction.polynomial import Polynomial

CURVE_POINTS = 61


def draw_curves(line: LoadLine | None) -> tuple[Curve, ...]:
    """Speed, current, shaft power, input power, efficiency and power factor over torque.

    The points are equally spaced along the fit's own coordinate and never leave the data.
    """
    if line is None:
        return ()
    x = np.linspace(line.x_low, line.x_high, CURVE_POINTS)
    torque = line.torque_at(x)
    wanted: list[tuple[str, str, Polynomial | None]] = [
        ("speed", "rad/s", line.speed),
        ("current", "A", line.current),
        ("shaft_power", "W", line.power),
        ("input_power", "W", line.input_power),
        ("power_factor", "", line.power_factor),
    ]
    curves = [
        _curve(name, unit, torque, fit.at(x), fit.u_at(x), _words(line, fit))
        for name, unit, fit in wanted
        if fit is not None
    ]
    if line.input_power is not None:
        input_w = line.input_power.at(x)
        if float(input_w.min()) > 0:
            eta = line.power.at(x) / input_w
            u = np.hypot(line.power.u_at(x), eta * line.input_power.u_at(x)) / input_w
            words = f"shaft power over input power, each over {line.coordinate}"
            curves.append(_curve("efficiency", "", torque, eta, u, words))
    return tuple(curves)


def _words(line: LoadLine, fit: Polynomial) -> str:
    return (
        f"polynomial of order {fit.order} over {line.coordinate}, least squares through"
        f" {fit.n_points} points, order chosen by an information criterion (QAICc)"
    )


def _curve(name: str, unit: str, torque: Floats, value: Floats, u: Floats, fit: str) -> Curve:
    return Curve(
        quantity=name,
        unit=unit,
        torque_nm=tuple(torque.tolist()),
        value=tuple(value.tolist()),
        standard_uncertainty=tuple(u.tolist()),
        beyond=(False,) * torque.size,
        fit=fit,
    )
