"""Components of uncertainty: their size, their distribution, and draws from it."""

import math
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from server.model.bench import REFERENCE_K, Instrument, Rig
from server.model.words import Channel
from server.reduction.arrays import Floats


class Distribution(StrEnum):
    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    ARCSINE = "arcsine"
    STUDENT_T = "t"
    COSINE = "cosine"


# Half-width of the limits over standard deviation.
LIMITS_OVER_U: dict[Distribution, float] = {
    Distribution.RECTANGULAR: math.sqrt(3.0),  # JCGM 100:2008, 4.3.7
    Distribution.TRIANGULAR: math.sqrt(6.0),  # JCGM 100:2008, 4.3.9
    Distribution.ARCSINE: math.sqrt(2.0),  # JCGM 101:2008, 6.4.6
}


@dataclass(frozen=True, slots=True)
class Component:
    """One independent source of error with mean zero.

    `standard_uncertainty` is in the unit of what it is added to, or relative where said so.
    `degrees_of_freedom`: infinite for a limit taken as exactly known. For `STUDENT_T` the
    standard uncertainty is s / sqrt(n), the scale of the t-distribution, as in JCGM 101, 6.4.9.
    For `COSINE`, `angle` is (angle, its standard uncertainty), rad: see `cosine`.
    """

    name: str
    standard_uncertainty: float
    distribution: Distribution = Distribution.NORMAL
    degrees_of_freedom: float = math.inf
    angle: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def cosine(cls, name: str, angle_rad: float, u_rad: float) -> "Component":
        """Relative error of a cosine whose angle is normal about `angle_rad`, about its own mean.

        Model:  e = cos(a + d) / (cos(a) exp(-u^2 / 2)) - 1,  d normal with standard deviation u;
                var e = (1 - q) (1 - q cos 2a) / (2 q cos^2 a),  q = exp(-u^2)

        Notes
        -----
        About a = 0 it is one-sided and of second order: u(e) = u^2 / sqrt(2).

        Sources
        -------
        JCGM 100:2008, F.2.4.4 (an angle in one plane).
        """
        q, less = math.exp(-(u_rad**2)), -math.expm1(-(u_rad**2))
        twice = math.cos(2 * angle_rad)
        variance = less * (2 * math.sin(angle_rad) ** 2 + twice * less)
        variance /= 2 * q * math.cos(angle_rad) ** 2
        return cls(name, math.sqrt(variance), Distribution.COSINE, angle=(angle_rad, u_rad))

    @classmethod
    def within(
        cls,
        name: str,
        half_width: float,
        distribution: Distribution = Distribution.RECTANGULAR,
        degrees_of_freedom: float = math.inf,
    ) -> "Component":
        """A component known by its limits +- half_width."""
        u = abs(half_width) / LIMITS_OVER_U[distribution]
        return cls(name, u, distribution, degrees_of_freedom)

    def draw(self, rng: np.random.Generator, n: int) -> Floats:
        """n independent errors (JCGM 101:2008, table 1)."""
        u = self.standard_uncertainty
        match self.distribution:
            case Distribution.RECTANGULAR:
                limit = u * LIMITS_OVER_U[Distribution.RECTANGULAR]
                return rng.uniform(-limit, limit, n)
            case Distribution.TRIANGULAR:
                limit = u * LIMITS_OVER_U[Distribution.TRIANGULAR] / 2
                return rng.uniform(-limit, limit, n) + rng.uniform(-limit, limit, n)
            case Distribution.ARCSINE:
                limit = u * LIMITS_OVER_U[Distribution.ARCSINE]
                return np.asarray(limit * np.sin(rng.uniform(-math.pi, math.pi, n)))
            case Distribution.COSINE:
                angle, spread = self.angle
                mean = math.cos(angle) * math.exp(-(spread**2) / 2)
                return np.asarray(np.cos(angle + spread * rng.standard_normal(n)) / mean - 1)
            case Distribution.STUDENT_T if math.isfinite(self.degrees_of_freedom):
                return np.asarray(u * rng.standard_t(self.degrees_of_freedom, n))
            case _:
                return np.asarray(u * rng.standard_normal(n))


@dataclass(frozen=True, slots=True)
class ChannelErrors:
    """What one instrument adds to one channel.

    Model:  error = reading * sum(gain) + sum(offset) + resolution

    `gain` (relative) and `offset` (the channel's unit) are one for the whole run; `resolution`
    is another for each reading.
    """

    gain: tuple[Component, ...] = ()
    offset: tuple[Component, ...] = ()
    resolution: Component | None = None

    @property
    def u_gain(self) -> float:
        return math.hypot(*(c.standard_uncertainty for c in self.gain), 0.0)

    @property
    def u_offset(self) -> float:
        return math.hypot(*(c.standard_uncertainty for c in self.offset), 0.0)


@dataclass(frozen=True, slots=True)
class RigErrors:
    """Everything common to all points of a run. All are relative but `pivot`, a torque, N m."""

    channels: dict[Channel, ChannelErrors] = field(default_factory=dict)
    arm: Component | None = None
    inertia: Component | None = None
    drag: Component | None = None
    arm_angle: Component | None = None
    pivot: Component | None = None
    leads: Component | None = None

    def of(self, channel: Channel) -> ChannelErrors:
        return self.channels.get(channel, ChannelErrors())


def instrument_errors(instrument: Instrument, ambient_k: float | None = None) -> ChannelErrors:
    """Turn an accuracy statement into independent components of Type B.

    Model:  "% of reading" a: a gain within +- a;  "% of range" b: an offset within +- b range;
            d digits: an offset within +- d r;  resolution r: within +- r / 2 at each reading;
            temperature coefficient c: a gain within +- c |t_ambient - t_reference|

    Parameters
    ----------
    instrument : as stated. With nothing more said the figures are limits of a rectangular
        distribution; with distribution "normal" they are expanded uncertainties, divided by the
        coverage factor (2 where none is given). A temperature coefficient is a limit always.
    ambient_k : temperature of the instruments, K; unknown, the coefficient gives no component.

    Returns
    -------
    ChannelErrors. Parts that are not stated, or zero, give no component.

    Notes
    -----
    The parts are independent of one another: half-widths add only where a maker states a sum.

    Sources
    -------
    JCGM 100:2008: 4.3.3 (certificate with k), 4.3.7 (limits), F.2.2.1 (resolution).
    """
    channel = instrument.channel.value
    resolution = instrument.resolution or 0.0
    stated = {
        f"{channel}: % of reading": instrument.of_reading or 0.0,
        f"{channel}: % of range": (instrument.of_range or 0.0) * (instrument.range or 0.0),
        f"{channel}: digits": (instrument.digits or 0.0) * resolution,
    }
    of_reading, *offset = (_stated(name, value, instrument) for name, value in stated.items())
    gain = (of_reading, _warmth(instrument, ambient_k))
    rounding = Component.within(f"{channel}: resolution", resolution / 2)
    return ChannelErrors(
        gain=tuple(c for c in gain if c is not None),
        offset=tuple(c for c in offset if c is not None),
        resolution=rounding if resolution > 0 else None,
    )


def rig_errors(rig: Rig, ambient_k: float | None = None) -> RigErrors:
    """Every component that a rig's description states, the first instrument of each channel."""
    channels: dict[Channel, ChannelErrors] = {}
    for instrument in rig.instruments:
        channels.setdefault(instrument.channel, instrument_errors(instrument, ambient_k))
    return RigErrors(
        channels=channels,
        arm=_relative("arm length", rig.arm_uncertainty_rel),
        inertia=_relative("moment of inertia", rig.inertia_uncertainty_rel),
        drag=_relative("drag before the sensor", rig.drag_uncertainty_rel),
        arm_angle=_arm_angle(rig),
        pivot=_pivot(rig),
        leads=_relative("lead resistance", rig.lead_resistance_uncertainty_rel),
    )


def away_k(instrument: Instrument, ambient_k: float | None) -> float:
    """How far the ambient is from where the accuracy is stated; 0 where it is not known."""
    if ambient_k is None:
        return 0.0
    return abs(ambient_k - (instrument.reference_temperature_k or REFERENCE_K))


def _warmth(instrument: Instrument, ambient_k: float | None) -> Component | None:
    limit = (instrument.temperature_coefficient_per_k or 0.0) * away_k(instrument, ambient_k)
    if limit <= 0:
        return None
    return Component.within(f"{instrument.channel.value}: temperature coefficient", limit)


def _stated(name: str, value: float, instrument: Instrument) -> Component | None:
    if value <= 0:
        return None
    if instrument.distribution == Distribution.NORMAL:
        return Component(name, value / (instrument.coverage_factor or 2.0))
    distribution = Distribution(instrument.distribution or Distribution.RECTANGULAR)
    return Component.within(name, value, distribution)


def _arm_angle(rig: Rig) -> Component | None:
    if not rig.arm_angle_uncertainty_rad:
        return None
    return Component.cosine("arm angle", rig.arm_angle_rad or 0.0, rig.arm_angle_uncertainty_rad)


def _pivot(rig: Rig) -> Component | None:
    """Friction of the cradle's bearings holds the torque back, either way: no zero shows it."""
    return (
        Component.within("pivot friction", rig.pivot_friction_nm) if rig.pivot_friction_nm else None
    )


def _relative(name: str, u: float | None) -> Component | None:
    return Component(name, u) if u else None
