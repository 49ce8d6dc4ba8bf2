"""The energy balance of a run: how shaft power rises with input power."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.model.bench import Plate
from server.model.results import LoadPoint
from server.reduction.arrays import Floats

LEAST_RISE = 0.04  # of the largest input power; less says nothing
LEAST_RISE_IN_U = 6.0
# The balance is taken up to this share of the highest shaft power, on the rising branch.
UPPER_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class Balance:
    """`slope`: gain of shaft power over gain of input power, with its standard uncertainty.

    `kind` says what input power is: "power" (real), "apparent" (volts times amperes) or
    "reactive part left out" (apparent, its no-load part taken off in quadrature).
    """

    slope: float
    u: float
    kind: str


def energy_balance(points: Sequence[LoadPoint], input_w: Floats, kind: str) -> Balance | None:
    """Compare what the shaft gains with what the input gains, from the least load upwards.

    Model:  slope = (P_shaft,2 - P_shaft,1) / (P_in,2 - P_in,1),  1 the least loaded point,
            2 the first that reaches 60 % of the highest shaft power

    Returns
    -------
    Balance, or None where the input gains too little to tell (under 4 % of its largest value or
    six standard uncertainties).

    Notes
    -----
    Losses that stay the same (iron, magnetising current, friction, a drag left out of the rig's
    table, a zero that is off) cancel in the difference, so a shaded-pole motor of 10 % efficiency
    still gains 0.4 to 0.9 W at the shaft per watt at the input, a series motor 0.7 to 1.5 W (its
    windage falls with its speed).
    """
    shaft = np.array([p.shaft_power_w for p in points])
    order = np.argsort(shaft, kind="stable")
    top = float(shaft.max())
    speed = np.array([p.speed_rad_s for p in points])
    fastest = int(np.argmax(speed))
    low = np.array([fastest])
    rising = [i for i in order.tolist() if shaft[i] >= UPPER_SHARE * top]
    if not rising:
        return None
    # Among the points above the share, those of the fast (rising) branch.
    upper = max(rising, key=lambda i: speed[i])
    gain_in = float(input_w[upper] - input_w[low].mean())
    gain_shaft = float(shaft[upper] - shaft[low].mean())
    u_in = float(np.hypot(points[upper].u_input_power_w or 0, points[fastest].u_input_power_w or 0))
    u_in = max(u_in, 1e-3 * float(np.max(np.abs(input_w))))
    u_shaft = float(
        np.hypot(points[upper].u_shaft_power_w or 0, points[fastest].u_shaft_power_w or 0)
    )
    if gain_in < max(LEAST_RISE * float(np.max(input_w)), LEAST_RISE_IN_U * u_in):
        return None
    slope = gain_shaft / gain_in
    return Balance(slope, float(np.hypot(u_shaft, slope * u_in) / gain_in), kind)


def input_series(points: Sequence[LoadPoint], plate: Plate) -> tuple[Floats, str] | None:
    """Input power of each point for the balance: real, else apparent, else plate volts x amperes.

    On AC without real power the least loaded point's apparent power is taken off in quadrature,
    since most of it is magnetising power.
    """
    real = [p.input_power_w for p in points]
    if all(v is not None for v in real):
        return np.array(real, dtype=np.float64), "power"
    apparent = _apparent(points, plate)
    if apparent is None:
        return None
    least = float(apparent[int(np.argmax([p.speed_rad_s for p in points]))])
    return np.sqrt(np.maximum(apparent**2 - least**2, 0.0)), "reactive part left out"


def _apparent(points: Sequence[LoadPoint], plate: Plate) -> Floats | None:
    values = [p.apparent_power_va for p in points]
    if all(v is not None for v in values):
        return np.array(values, dtype=np.float64)
    current = [p.current_a for p in points]
    if plate.voltage_v is None or any(c is None for c in current):
        return None
    return np.array(current, dtype=np.float64) * plate.voltage_v
