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
HURRIED = 2.5  # times shorter than the usual sweep bin


@dataclass(frozen=True, slots=True)
class Balance:
    """Gain of power over gain of input power, from the least loaded point to a loaded one.

    `shaft` is the gain of shaft power (drag and inertia in it) with its standard uncertainty,
    `brake` that of the brake's bare reading. `kind` says what input power is: "power" (real) or
    "reactive part left out" (apparent, its no-load part taken off in quadrature).
    """

    shaft: float
    u_shaft: float
    brake: float
    kind: str


def energy_balance(
    points: Sequence[LoadPoint], brake_w: Sequence[float], input_w: Floats, kind: str
) -> Balance | None:
    """Compare what the shaft gains with what the input gains, from the least load upwards.

    Model:  gain = (P_2 - P_1) / (P_in,2 - P_in,1),  1 the fastest point, 2 the fastest of those
            where the brake shows at least 60 % of its highest power

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
    keep = _unhurried(points)
    points = [points[i] for i in keep]
    brake, input_w = np.array(brake_w)[keep], input_w[keep]
    if brake.size == 0 or float(brake.max()) <= 0:
        return None
    speed = np.array([p.speed_rad_s for p in points])
    low = int(np.argmax(speed))
    loaded = np.flatnonzero(brake >= UPPER_SHARE * float(brake.max()))
    upper = int(loaded[np.argmax(speed[loaded])])
    gain_in = float(input_w[upper] - input_w[low])
    u_in = float(np.hypot(points[upper].u_input_power_w or 0, points[low].u_input_power_w or 0))
    largest = float(np.max(np.abs(input_w)))
    u_in = max(u_in, 1e-3 * largest)
    if gain_in <= 0 or gain_in < max(LEAST_RISE * largest, LEAST_RISE_IN_U * u_in):
        return None
    gain = (points[upper].shaft_power_w - points[low].shaft_power_w) / gain_in
    u = float(np.hypot(points[upper].u_shaft_power_w or 0, points[low].u_shaft_power_w or 0))
    return Balance(
        shaft=gain,
        u_shaft=float(np.hypot(u, gain * u_in) / gain_in),
        brake=float(brake[upper] - brake[low]) / gain_in,
        kind=kind,
    )


def _unhurried(points: Sequence[LoadPoint]) -> list[int]:
    """Dwells, and sweep bins that lasted: in a sudden move the inertia term is all there is."""
    length = np.array([0.0 if p.is_dwell else p.end_s - p.start_s for p in points])
    order = np.argsort(length)
    total = np.cumsum(length[order])
    # The length of the bin that holds the middle of the sweeping time.
    usual = float(length[order][np.searchsorted(total, total[-1] / 2)])
    return [i for i, p in enumerate(points) if p.is_dwell or length[i] >= usual / HURRIED]


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
