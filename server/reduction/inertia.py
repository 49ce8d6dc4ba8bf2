"""The moment of inertia of what turns, from run-downs."""

from dataclasses import dataclass

import numpy as np

from server.model.bench import Rig
from server.model.measured import Metric
from server.model.words import Channel, MetricName
from server.reduction.arrays import Floats
from server.reduction.coasting import Pieces, fit_added, fit_known_drag
from server.reduction.first_order import Part, figure, scatter
from server.reduction.torque import drag_torque
from server.reduction.uncertainty.components import Component, RigErrors

M = MetricName
STEP = 1e-3


@dataclass(frozen=True, slots=True)
class Inertia:
    """Moment of inertia of all that turned, and what is known of it."""

    value: float
    parts: list[Part]


def find_inertia(
    pieces: Pieces,
    rig: Rig,
    errors: RigErrors,
    *,
    top_rad_s: float,
    added: float | None,
    groups: tuple[Pieces, Pieces] | None,
) -> tuple[Inertia | None, dict[MetricName, Metric]]:
    """Inertia of what turned: from an inertia added to it, as given, or from the known drag."""
    name = M.ROTOR_INERTIA
    if added is not None:
        return _from_added(added, groups, errors)
    given = rig.inertia_kg_m2 if rig.inertia_kg_m2 is not None else rig.rotor_inertia_kg_m2
    if given:
        parts: list[Part] = [] if errors.inertia is None else [(errors.inertia, given)]
        reason = "the inertia of what turned is given, so the drag comes out instead"
        return Inertia(given, parts), {name: Metric.missing(name, reason)}
    if not rig.drag:
        reason = "neither the drag of what turned nor its inertia is given"
        return None, {name: Metric.missing(name, reason)}
    fit = fit_known_drag(pieces, lambda speed: drag_torque(speed, rig))
    if fit is None:
        reason = "the drag that is given does not slow anything in this run"
        return None, {name: Metric.missing(name, reason)}

    def moved(gain: float, offset: float) -> float:
        other = [(t, w * (1 + gain) + offset) for t, w in pieces]
        again = fit_known_drag(other, lambda speed: drag_torque(speed, rig))
        return again.inertia if again is not None else fit.inertia

    of_speed = errors.of(Channel.SPEED)
    per_gain = (moved(STEP, 0.0) - fit.inertia) / STEP
    step = STEP * top_rad_s
    per_offset = (moved(0.0, step) - fit.inertia) / step
    parts = [(scatter(fit.u_inertia, fit.degrees_of_freedom), 1.0)]
    parts += [(c, per_gain) for c in of_speed.gain] + [(c, per_offset) for c in of_speed.offset]
    if errors.drag is not None:
        parts.append((errors.drag, fit.inertia))
    if fit.u_shape:
        parts.append((Component("shape of the drag given", fit.u_shape), 1.0))
    curved = fit_known_drag(pieces, lambda speed: _curved_drag(speed, rig))
    if curved is not None and curved.inertia != fit.inertia:
        apart = Component.within(
            "between the pairs of the drag given", curved.inertia - fit.inertia
        )
        parts.append((apart, 1.0))
    return Inertia(fit.inertia, parts), {name: figure(name, fit.inertia, parts)}


def _from_added(
    added: float, groups: tuple[Pieces, Pieces] | None, errors: RigErrors
) -> tuple[Inertia | None, dict[MetricName, Metric]]:
    """Inertia from how much slower the same drag slows the shaft with a known one added.

    Model:  J = J_added r / (1 - r),  u(J) = J_added u(r) / (1 - r)^2
    """
    name = M.ROTOR_INERTIA
    if groups is None:
        reason = "run-downs with the added inertia and without it are needed, both in the file"
        return None, {name: Metric.missing(name, reason)}
    ratio = fit_added(*groups)
    if ratio is None:
        reason = "the run-downs compared give no ratio of inertias between 0 and 1"
        return None, {name: Metric.missing(name, reason)}
    inertia = added * ratio.value / (1 - ratio.value)
    by_ratio = added / (1 - ratio.value) ** 2
    compared = scatter(ratio.u, ratio.degrees_of_freedom, "scatter of the run-downs compared")
    parts: list[Part] = [(compared, by_ratio)]
    if errors.inertia is not None:
        parts.append((errors.inertia, inertia))
    return Inertia(inertia, parts), {name: figure(name, inertia, parts)}


def _curved_drag(speed_rad_s: Floats, rig: Rig) -> Floats:
    """The rig's drag by a monotone curve through its pairs, not by straight lines."""
    from scipy.interpolate import PchipInterpolator

    at = np.abs([s for s, _ in sorted(rig.drag)])
    lost = np.abs([t for _, t in sorted(rig.drag)])
    if at.size < 3:
        return drag_torque(speed_rad_s, rig)
    return np.asarray(PchipInterpolator(at, lost)(np.clip(speed_rad_s, at[0], at[-1])))
