"""A brake rig as equations: what its sensors show of the torque and speed there really are."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class BrakeRig:
    """Absorber, sensors and their faults. `arm_m` None: a torque sensor, else force on an arm.

    `drag_*` is torque lost before the sensor; `inertia` all that turns before it, the rotor
    included. Faults that no bench file states: zero off and creeping, gain, lag, noise.
    """

    name: str
    absorber: str
    inertia: float
    rotor_inertia: float
    arm_m: float | None = None
    drag_nm: float = 0.0
    drag_nms: float = 0.0
    drag_nms2: float = 0.0
    pulses_per_revolution: float | None = None
    torque_range_nm: float = 2.0
    torque_steps: int = 20_000  # resolution = range / steps
    zero_nm: float = 0.0
    zero_creep_nm: float = 0.0
    torque_gain: float = 0.0
    torque_noise_rel: float = 2e-4  # of range
    torque_lag_s: float = 0.0
    speed_noise_rel: float = 1e-4
    meter_gain: tuple[float, float, float] = (0.0, 0.0, 0.0)  # voltage, current, power
    meter_noise_rel: float = 3e-4
    meter_bandwidth: str = "5 kHz"

    def drag(self, speed):
        return np.where(
            np.asarray(speed) > 0,
            self.drag_nm + self.drag_nms * speed + self.drag_nms2 * np.square(speed),
            0.0,
        )

    def drag_table(self, top_speed: float, n: int = 9) -> list[tuple[float, float]]:
        speeds = np.linspace(0.0, top_speed, n)
        stated = self.drag_nm + self.drag_nms * speeds + self.drag_nms2 * speeds**2
        return [(float(s), float(t)) for s, t in zip(speeds, stated, strict=True)]


def show_torque(rig: BrakeRig, time, torque, rng):
    """What the torque sensor (or scale on the arm, times the arm) shows."""
    late = np.interp(time - rig.torque_lag_s, time, torque)
    ended = time / max(time[-1], 1e-9)
    shown = late * (1 + rig.torque_gain) + rig.zero_nm + rig.zero_creep_nm * ended
    shown = shown + rng.normal(0.0, rig.torque_noise_rel * rig.torque_range_nm, time.size)
    step = rig.torque_range_nm / rig.torque_steps
    return np.clip(np.round(shown / step) * step, -rig.torque_range_nm, rig.torque_range_nm)


def show_speed(rig: BrakeRig, time, speed, rng):
    """What the speed sensor shows: pulses counted from one row to the next, or a tachometer."""
    if rig.pulses_per_revolution is None:
        noise = rng.normal(0.0, rig.speed_noise_rel, time.size)
        return np.round(np.maximum(speed * (1 + noise), 0.0), 3)
    turned = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))))
    pulses = np.floor(turned / (2 * np.pi) * rig.pulses_per_revolution + rng.random())
    gate = np.diff(time, prepend=time[0] - (time[1] - time[0]))
    counted = np.diff(pulses, prepend=pulses[0])
    return 2 * np.pi * counted / rig.pulses_per_revolution / gate


def show_meter(rig: BrakeRig, values, position: int, rng):
    """What the electrical meter shows of voltage (0), current (1) or power (2)."""
    noise = rng.normal(0.0, rig.meter_noise_rel, values.size)
    return values * (1 + rig.meter_gain[position]) * (1 + noise)
