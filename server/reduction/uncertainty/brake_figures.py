"""The error model of one worked brake run, and its figures with their uncertainty."""

import hashlib
import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from server.model.bench import Plate, Rig
from server.model.budget import PLACE, PLACE_BY_CURVE, PLACE_BY_LAW, RATED_BY_CURVE, RATED_POWER
from server.model.measured import Finding, JsonValue, Metric
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import Channel, FindingCode, MetricName, RunKind, Severity
from server.reduction.digest import input_digest
from server.reduction.leads import held_loss_w
from server.reduction.loadline import COORDINATES
from server.reduction.rated_figures import RATED
from server.reduction.states import State
from server.reduction.uncertainty.components import Component
from server.reduction.uncertainty.drawn_line import drawn_line
from server.reduction.uncertainty.judge_figures import MONTE_CARLO, Judged, judge_figures
from server.reduction.uncertainty.monte_carlo import seed_of
from server.reduction.uncertainty.point_table import point_table
from server.reduction.uncertainty.run_errors import run_errors
from server.reduction.uncertainty.run_model import RunModel, WindowPower
from server.reduction.worked import Worked

M = MetricName
FINGERPRINT_ROWS = 4096


def with_uncertainties(
    worked: Worked,
    recording: Recording,
    *,
    plate: Plate,
    rig: Rig,
    options: ReductionOptions,
) -> tuple[Worked, tuple[Finding, ...]]:
    """Give every figure of a brake run its uncertainty, interval and budget.

    Parameters
    ----------
    worked : the run with its figures; values stay as they are.
    recording : as stored; with plate, rig and options it decides the seed of the draws.

    Returns
    -------
    The run, and a finding that names the figures whose interval had to be drawn, and why.

    Notes
    -----
    docs/methods/uncertainty.md has the model, the components and their limits.

    Sources
    -------
    JCGM 100:2008; JCGM 101:2008, 7.9 and 8.1.
    """
    seed = seed_of_input(recording, plate=plate, rig=rig, options=options)
    # A run of nonsense divides by nothing: what is not finite is no uncertainty, and left out.
    with np.errstate(all="ignore"):
        judged = brake_uncertainties(
            worked, worked.metrics, plate=plate, rig=rig, seed=seed, ambient_k=options.ambient_k
        )
    metrics = {
        name: _judged_metric(metric, judged[name]) if name in judged else metric
        for name, metric in worked.metrics.items()
    }
    return replace(worked, metrics=metrics), drawn_finding(judged)


def drawn_finding(judged: Mapping[MetricName, Judged]) -> tuple[Finding, ...]:
    """Say which intervals are drawn ones, by the component that outweighs the others there."""
    drawn: list[JsonValue] = [
        {
            "figure": name.value,
            "component": one.budget[0].component if one.budget else None,
            "distribution": one.budget[0].distribution if one.budget else None,
            "share": one.budget[0].share if one.budget else None,
            "difference_over_tolerance": one.d_over_delta,
        }
        for name, one in judged.items()
        if one.method == MONTE_CARLO
    ]
    if not drawn:
        return ()
    return (Finding(FindingCode.INTERVAL_DRAWN, Severity.INFO, {"figures": drawn}),)


def brake_uncertainties(
    worked: Worked,
    metrics: Mapping[MetricName, Metric],
    *,
    plate: Plate,
    rig: Rig,
    seed: int,
    ambient_k: float | None = None,
) -> dict[MetricName, Judged]:
    """Uncertainty of every figure of a brake run that has a value."""
    values = {n: m.value for n, m in metrics.items() if m.value is not None}
    model = brake_model(worked, metrics, plate=plate, rig=rig, ambient_k=ambient_k)
    momentary = worked.momentary
    bias = {
        M.SHAFT_POWER_MAX_MOMENTARY: (-momentary.shaft_doubt_w, momentary.shaft_doubt_w),
        M.BRAKE_READING_WHILE_SLOWING: (0.0, momentary.brake_too_high_w),
    }
    return judge_figures(model, values, seed=seed, known_bias=bias)


def _judged_metric(metric: Metric, judged: Judged) -> Metric:
    return replace(
        metric,
        standard_uncertainty=judged.standard_uncertainty,
        interval_low=judged.low,
        interval_high=judged.high,
        degrees_of_freedom=judged.degrees_of_freedom,
        method=judged.method,
        budget=judged.budget,
    )


def brake_model(
    worked: Worked,
    metrics: Mapping[MetricName, Metric],
    *,
    plate: Plate,
    rig: Rig,
    ambient_k: float | None = None,
) -> RunModel:
    """The figures of a brake run as a function of the errors its rig states and its scatter."""
    signals = worked.signals
    used = [Channel.POWER]
    if signals.power is None:
        used = [Channel.VOLTAGE, Channel.CURRENT]
        used += [] if worked.is_dc else [Channel.POWER_FACTOR]
    elif signals.voltage is not None and signals.current is not None:
        used += [Channel.VOLTAGE]
    used += [Channel.CURRENT]
    errors = run_errors(
        rig, worked.zero, torque_channel=signals.torque_channel, used=used, ambient_k=ambient_k
    )
    if not worked.points:
        return RunModel(errors, None, None, windows=_windows(worked))
    table = point_table(
        worked.points,
        worked.brake_power_w,
        rig,
        torque_channel=signals.torque_channel,
        is_input_metered=signals.power is not None,
        is_dc=worked.is_dc,
    )
    has_line = worked.line is not None
    best = max(range(len(worked.points)), key=lambda i: worked.points[i].shaft_power_w)
    free = None if worked.free is None else worked.points.index(worked.free)
    has_rated = any(metrics[n].value is not None for n in RATED if n in metrics)
    line = None
    if worked.line is not None:
        line = drawn_line(worked.line, worked.points, table, worked.place)
    by_curve = Component.within(RATED_BY_CURVE, worked.rated_reach)
    errors = errors.with_own(_place_component(worked), PLACE)
    return RunModel(
        errors=errors.with_own(by_curve, RATED_POWER),
        table=table,
        line=line,
        rated_current_a=plate.current_a if has_rated else None,
        point=None if has_line else best,
        free=free,
        dwells=tuple(i for i, p in enumerate(worked.points) if p.is_dwell),
        power_by_line=_power_by_line(worked),
        windows=_windows(worked),
        input_held=_with_u(metrics, M.INPUT_ROTOR_HELD),
        held_loss_w=held_loss_w(worked.blocks, worked.states.is_(State.HELD), rig),
        alone={n: pair for n in (M.SUPPLY_SAG,) if (pair := _with_u(metrics, n)) is not None},
    )


def seed_of_input(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> int:
    """Seed of the draws: equal inputs give equal draws on any machine.

    Made from some rows of the recording, as stored, and everything else that decides the figures.
    Two recordings that share these rows share a seed, which does no harm.
    """
    n = int(recording.time_s.size)
    rows = np.unique(np.linspace(0, max(n - 1, 0), min(n, FINGERPRINT_ROWS)).astype(np.int64))
    digest = hashlib.sha256(str(n).encode())
    digest.update(np.ascontiguousarray(recording.time_s[rows], dtype="<f8").tobytes())
    for channel in sorted(recording.channels):
        digest.update(channel.value.encode())
        # Which way the rig turns, and which way its sensor counts, changes no figure.
        column = np.ascontiguousarray(np.abs(recording.channels[channel][rows]), dtype="<f4")
        digest.update(column.tobytes())
    # What figures are carried to changes none of those that are drawn.
    options = replace(options, winding=None)
    return seed_of(
        input_digest(digest.hexdigest(), kind=RunKind.BRAKE, plate=plate, rig=rig, options=options)
    )


def _place_component(worked: Worked) -> Component:
    """How surely the place of the highest power is known beside the readings' own errors."""
    if worked.place is not None:
        own = worked.place
        return Component(PLACE_BY_LAW, math.hypot(own.u_law, own.u_voltage))
    return Component.within(PLACE_BY_CURVE, worked.order_reach_rad_s)


def _power_by_line(worked: Worked) -> dict[int, float]:
    if worked.line is None:
        return {}
    read = COORDINATES[worked.line.coordinate]
    places = {i: read(p) for i, p in enumerate(worked.points) if p.is_dwell}
    return {i: float(worked.line.power.at(x)) for i, x in places.items() if x is not None}


def _windows(worked: Worked) -> dict[MetricName, WindowPower]:
    """The highest windows of the log, each with its parts."""
    m = worked.momentary
    found = {}
    if m.shaft_w is not None:
        found[M.SHAFT_POWER_MAX_MOMENTARY] = WindowPower(
            brake_w=m.shaft_w - m.drag_part_w - m.inertia_part_w,
            drag_w=m.drag_part_w,
            inertia_w=m.inertia_part_w,
            speed_rad_s=m.shaft_speed_rad_s,
            u_w=m.u_shaft_w or 0.0,
        )
    if m.brake_w is not None:
        found[M.BRAKE_READING_WHILE_SLOWING] = WindowPower(
            m.brake_w, 0.0, 0.0, m.brake_speed_rad_s, m.u_brake_w or 0.0
        )
    return found


def _with_u(metrics: Mapping[MetricName, Metric], name: MetricName) -> tuple[float, float] | None:
    metric = metrics.get(name)
    if metric is None or metric.value is None:
        return None
    return metric.value, metric.standard_uncertainty or 0.0
