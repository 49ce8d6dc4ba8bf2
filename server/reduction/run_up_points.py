"""A run-up cut into equal steps of speed: torque by local slopes, electrical means beside it."""

import math

import numpy as np

from server.model.bench import Rig
from server.model.results import LoadPoint
from server.reduction.arrays import FloatArray, Ints
from server.reduction.electrical import Electrical
from server.reduction.leads import at_terminals
from server.reduction.torque import drag_torque
from server.reduction.turning import Leg, Turning, equal_steps

BINS = 30
LEAST_IN_BIN = 4


def bin_points(run: Electrical, turning: Turning, leg: Leg, rig: Rig) -> tuple[LoadPoint, ...]:
    """Torque by local slopes, in equal steps of speed."""
    time, speed = turning.time_s[leg.rows], turning.speed[leg.rows]
    points = []
    for rows in _merged(equal_steps(speed, BINS)):
        t = time[rows] - time[rows].mean()
        spread = float(t @ t)
        slope = float(t @ speed[rows]) / spread
        mean = float(speed[rows].mean())
        drag = float(drag_torque(np.array([mean]), rig)[0])
        inertia = rig.inertia_kg_m2 or 0.0
        torque = inertia * slope + drag
        u_torque = inertia * turning.noise_rad_s / math.sqrt(spread)
        first = int(turning.row[leg.first + rows[0]])
        last = int(turning.row[leg.first + rows[-1]]) + 1
        measured = _electrical(run, slice(first, last))
        found = at_terminals(rig, **measured, is_dc=run.is_dc)
        voltage, current, input_w = found.voltage, found.current, found.power
        apparent = voltage * current if voltage is not None and current is not None else None
        points.append(
            LoadPoint(
                start_s=float(time[rows[0]]),
                end_s=float(time[rows[-1]]),
                is_dwell=False,
                n_samples=last - first,
                n_effective=float(rows.size),
                torque_nm=torque,
                speed_rad_s=mean,
                shaft_power_w=torque * mean,
                voltage_v=voltage,
                current_a=current,
                input_power_w=input_w,
                apparent_power_va=apparent,
                power_factor=input_w / apparent if input_w is not None and apparent else None,
                efficiency=torque * mean / input_w if input_w is not None and input_w > 0 else None,
                u_torque_nm=u_torque,
                u_speed_rad_s=turning.noise_rad_s / math.sqrt(rows.size),
                u_shaft_power_w=u_torque * mean,
                first_row=first,
                last_row=last - 1,
            )
        )
    return tuple(points)


def _merged(bins: list[Ints]) -> list[Ints]:
    """Bins of too few samples go together with those that follow."""
    merged: list[Ints] = []
    held = np.zeros(0, dtype=np.int64)
    for rows in bins:
        held = np.concatenate((held, rows))
        if held.size >= LEAST_IN_BIN:
            merged.append(held)
            held = np.zeros(0, dtype=np.int64)
    return merged


def _electrical(run: Electrical, rows: slice) -> dict[str, float | None]:
    """Voltage, current (rms) and real power over some rows, as measured."""
    signals = run.signals

    def mean(values: FloatArray | None) -> float | None:
        part = None if values is None else np.asarray(values[rows], dtype=np.float64)
        return None if part is None or not np.isfinite(part).all() else float(part.mean())

    def rms(values: FloatArray | None) -> float | None:
        square = mean(None if values is None else np.square(values, dtype=np.float64))
        return None if square is None else math.sqrt(square)

    voltage, current, power = rms(signals.voltage), rms(signals.current), mean(signals.power)
    if power is None and voltage is not None and current is not None:
        factor = 1.0 if run.is_dc else mean(signals.power_factor)
        power = None if factor is None else voltage * current * factor
    return {"voltage": voltage, "current": current, "power": power}
