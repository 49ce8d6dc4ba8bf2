"""What a first load, repeated at the end of a run, says about warming."""

from collections.abc import Sequence

import numpy as np

from server.model.motor import Warming
from server.model.results import LoadPoint

SAME_TORQUE = 0.02  # of the run's highest torque
SAME_VOLTAGE = 0.01  # relative
LEAST_APART = 3  # dwells in between


def repeat_of_the_first(points: Sequence[LoadPoint]) -> Warming | None:
    """Compare the first loaded dwell of a run with the last one at the same torque and voltage.

    Model:  change = x_last / x_first - 1,  u^2 = (u_last / x_last)^2 + (u_first / x_first)^2
            and for the speed what its slope over torque makes of the difference of the torques

    Parameters
    ----------
    points : load points in any order; dwells alone count.

    Returns
    -------
    Warming, or None where the run does not end where it began.

    Notes
    -----
    Same instruments both times: their gain errors drop out. The slope of speed over torque is
    that between the dwells next to the first in torque.
    """
    dwells = sorted((p for p in points if p.is_dwell), key=lambda p: p.start_s)
    if len(dwells) < LEAST_APART + 2:
        return None
    first, last = dwells[0], dwells[-1]
    highest = max(abs(p.torque_nm) for p in dwells)
    if abs(last.torque_nm - first.torque_nm) > SAME_TORQUE * highest:
        return None
    if any(abs(p.torque_nm - first.torque_nm) <= SAME_TORQUE * highest for p in dwells[1:-1]):
        return None
    volts = [p.voltage_v for p in (first, last) if p.voltage_v]
    if len(volts) == 2 and abs(volts[1] / volts[0] - 1) > SAME_VOLTAGE:
        return None
    slope = _slope(dwells, first)
    expected = first.speed_rad_s + slope * (last.torque_nm - first.torque_nm)
    u_torque = float(np.hypot(first.u_torque_nm or 0.0, last.u_torque_nm or 0.0))
    u_speed = float(np.hypot(first.u_speed_rad_s or 0.0, last.u_speed_rad_s or 0.0))
    current = u_current = None
    if first.current_a and last.current_a:
        current = last.current_a / first.current_a - 1
        u_current = float(
            np.hypot(
                (first.u_current_a or 0.0) / first.current_a,
                (last.u_current_a or 0.0) / last.current_a,
            )
        )
    return Warming(
        after_s=last.start_s - first.start_s,
        speed_rel=last.speed_rad_s / expected - 1,
        u_speed_rel=float(np.hypot(u_speed, slope * u_torque)) / expected,
        current_rel=current,
        u_current_rel=u_current,
    )


def _slope(dwells: Sequence[LoadPoint], first: LoadPoint) -> float:
    """Speed over torque about the first load, from the dwell nearest in torque between the two."""
    others = sorted(dwells[1:-1], key=lambda p: abs(p.torque_nm - first.torque_nm))
    near = others[0]
    return (near.speed_rad_s - first.speed_rad_s) / (near.torque_nm - first.torque_nm)
