"""Errors common to all points of a brake run, as factors and offsets on what was measured."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.model.bench import Rig
from server.model.budget import PLACE, RATED_POWER
from server.model.words import Channel
from server.reduction.arrays import Floats
from server.reduction.uncertainty.components import Component, Distribution, rig_errors
from server.reduction.zero import Zero

# Roles beside the channels' own "gain" and "offset".
ARM, INERTIA, DRAG, ZERO = "arm", "inertia", "drag", "zero"
ARM_ANGLE, PIVOT, LEADS = "arm angle", "pivot", "leads"
Role = tuple[str, Channel | None]
ELECTRICAL = (Channel.VOLTAGE, Channel.CURRENT, Channel.POWER, Channel.POWER_FACTOR)


@dataclass(frozen=True, slots=True)
class Factors:
    """(n,) per draw: what a measured quantity is multiplied by, and what is added to it.

    `torque` multiplies the brake's torque, `torque_offset` (N m at the shaft) adds to it; `leads`
    multiplies the resistance of the leads; `place` (rad/s) moves the highest power along the load;
    `rated` multiplies the shaft power at rated current;
    `gain` and `offset` of a channel are in `gains` and `offsets`.
    """

    torque: Floats
    torque_offset: Floats
    drag: Floats
    inertia: Floats
    leads: Floats
    place: Floats
    rated: Floats
    gains: dict[Channel, Floats]
    offsets: dict[Channel, Floats]


@dataclass(frozen=True, slots=True)
class RunErrors:
    """Independent components, each with its role; `offset_factor` brings a force to a torque."""

    components: tuple[Component, ...]
    roles: tuple[Role, ...]
    torque_channel: Channel
    offset_factor: float

    def with_own(self, component: Component, role: str) -> "RunErrors":
        """The same, and one of what is read off the line: `PLACE` or `RATED_POWER`."""
        if not component.standard_uncertainty > 0:
            return self
        return replace(
            self,
            components=(*self.components, component),
            roles=(*self.roles, (role, None)),
        )

    def draw(self, rng: np.random.Generator, n: int) -> Floats:
        """(K, n) errors."""
        errors = np.empty((len(self.components), n))
        for row, component in zip(errors, self.components, strict=True):
            row[:] = component.draw(rng, n)
        return errors

    def factors(self, errors: Floats) -> Factors:
        """What (K, n) errors do to the measured quantities."""
        n = errors.shape[1]
        summed: dict[Role, Floats] = {}
        for row, role in zip(errors, self.roles, strict=True):
            summed[role] = summed[role] + row if role in summed else row

        def of(name: str, channel: Channel | None = None) -> Floats:
            return summed.get((name, channel), np.zeros(n))

        gains = {c: 1.0 + of("gain", c) for c in (Channel.SPEED, *ELECTRICAL)}
        offsets = {c: of("offset", c) for c in (Channel.SPEED, *ELECTRICAL)}
        return Factors(
            torque=(1.0 + of(ARM))
            * (1.0 + of(ARM_ANGLE))
            * (1.0 + of("gain", self.torque_channel)),
            torque_offset=of("offset", self.torque_channel) * self.offset_factor
            + of(ZERO)
            + of(PIVOT),
            drag=1.0 + of(DRAG),
            inertia=1.0 + of(INERTIA),
            leads=1.0 + of(LEADS),
            place=of(PLACE),
            rated=1.0 + of(RATED_POWER),
            gains=gains,
            offsets=offsets,
        )


def run_errors(
    rig: Rig,
    zero: Zero,
    *,
    torque_channel: Channel,
    used: Sequence[Channel],
    ambient_k: float | None = None,
) -> RunErrors:
    """Collect the components that act on a brake run.

    Parameters
    ----------
    rig : its instruments and stated uncertainties.
    zero : the torque sensor's zero. Where it was read at rest, an additive offset of the torque
        sensor is taken off with it and is no component; its scatter and its drift are.
    torque_channel : torque or force; the arm counts with force only.
    used : electrical channels that figures are made from.
    ambient_k : temperature of the instruments, K, where it is known.

    Returns
    -------
    RunErrors, in a fixed order: the same rig gives the same draws.
    """
    stated = rig_errors(rig, ambient_k)
    is_force = torque_channel is Channel.FORCE
    found: list[tuple[Component, Role]] = []
    if is_force and stated.arm is not None:
        found.append((stated.arm, (ARM, None)))
    if is_force and stated.arm_angle is not None:
        found.append((stated.arm_angle, (ARM_ANGLE, None)))
    if stated.inertia is not None and rig.inertia_kg_m2:
        found.append((stated.inertia, (INERTIA, None)))
    if stated.drag is not None and rig.drag:
        found.append((stated.drag, (DRAG, None)))
    if stated.pivot is not None:
        found.append((stated.pivot, (PIVOT, None)))
    if stated.leads is not None and rig.lead_resistance_ohm:
        found.append((stated.leads, (LEADS, None)))
    found += [(c, (ZERO, None)) for c in zero_components(zero)]
    has_zero = zero.before_nm is not None or zero.after_nm is not None
    for channel in (torque_channel, Channel.SPEED, *(c for c in ELECTRICAL if c in used)):
        errors = stated.of(channel)
        found += [(c, ("gain", channel)) for c in errors.gain]
        if not (has_zero and channel is torque_channel):
            found += [(c, ("offset", channel)) for c in errors.offset]
    return RunErrors(
        components=tuple(c for c, _ in found),
        roles=tuple(role for _, role in found),
        torque_channel=torque_channel,
        offset_factor=(rig.effective_arm_m or 1.0) if is_force else 1.0,
    )


def zero_components(zero: Zero) -> tuple[Component, ...]:
    """Scatter of the readings at rest, and drift between them, rectangular over its width."""
    drift = abs(zero.drift_nm or 0.0)
    scatter = np.sqrt(max(zero.u_nm**2 - drift**2 / 12, 0.0))
    found = []
    if scatter > 1e-9 * max(zero.u_nm, 1e-12) and scatter > 0:
        found.append(Component("torque zero: scatter", float(scatter), Distribution.NORMAL))
    if drift > 0:
        found.append(Component.within("torque zero: drift", drift / 2))
    return tuple(found)
