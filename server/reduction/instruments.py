"""First-order standard uncertainties from the instruments' limits of error."""

import math
from dataclasses import dataclass

from server.model.bench import Instrument, Rig
from server.model.words import Channel
from server.reduction.uncertainty.components import away_k


@dataclass(frozen=True, slots=True)
class Limits:
    """Standard uncertainties of one channel: relative gain, and offset in the channel's unit."""

    gain: float = 0.0
    offset: float = 0.0

    def relative(self, value: float) -> float:
        """Relative standard uncertainty of a reading of this size."""
        if value == 0.0:
            return self.gain
        return math.hypot(self.gain, self.offset / abs(value))


def channel_limits(rig: Rig, channel: Channel, ambient_k: float | None = None) -> Limits:
    """Turn "% of reading + % of range + digits" into one gain and one offset for the run.

    Model:  u_gain^2 = a^2 / 3 + (c dt)^2 / 3;
            u_offset^2 = (b range)^2 / 3 + (d r)^2 / 3 + r^2 / 12

    with a "of reading", b "of range", d digits, r the resolution, c the temperature
    coefficient and dt how far the ambient is from its reference (0 where the ambient is not known).
    The gain error is one for the whole run, and so is the offset; the two are independent.

    Sources
    -------
    Rectangular distribution of a limit of error: JCGM 100:2008, 4.3.7; resolution F.2.2.1.
    """
    for instrument in rig.instruments:
        if instrument.channel is channel:
            return _limits(instrument, ambient_k)
    return Limits()


def torque_limits(rig: Rig, torque_channel: Channel, ambient_k: float | None = None) -> Limits:
    """Limits of the torque at the sensor, of the force sensor times the arm where that is used."""
    limits = channel_limits(rig, torque_channel, ambient_k)
    if torque_channel is Channel.FORCE and (arm_m := rig.effective_arm_m) is not None:
        return Limits(limits.gain, limits.offset * arm_m)
    return limits


def _limits(instrument: Instrument, ambient_k: float | None) -> Limits:
    resolution = instrument.resolution or 0.0
    warmth = (instrument.temperature_coefficient_per_k or 0.0) * away_k(instrument, ambient_k)
    parts = [
        (instrument.of_range or 0.0) * (instrument.range or 0.0) / math.sqrt(3),
        (instrument.digits or 0.0) * resolution / math.sqrt(3),
        resolution / math.sqrt(12),
    ]
    return Limits(
        gain=math.hypot(instrument.of_reading or 0.0, warmth) / math.sqrt(3),
        offset=math.sqrt(sum(p**2 for p in parts)),
    )
