"""Electrical figures of one steady state: mean, scatter and instruments."""

import math
from dataclasses import dataclass

import numpy as np

from server.model.measured import Metric
from server.model.words import Channel, MetricName
from server.reduction.arrays import Floats, Ints
from server.reduction.electrical import Electrical, input_parts
from server.reduction.first_order import Part, figure, reading_parts, scatter
from server.reduction.scatter import mean_and_u
from server.reduction.uncertainty.components import Component, RigErrors

NO_INPUT = "real input power was not measured"
NO_FACTOR = "real power, voltage and current were not all measured"


@dataclass(frozen=True, slots=True)
class Mean:
    """Mean over a state, its scatter, and the drift from one end to the other."""

    value: float
    parts: list[Part]


@dataclass(frozen=True, slots=True)
class StateMeans:
    """What one steady state draws; None where it was not logged."""

    voltage: Mean | None
    current: Mean | None
    input_power: Mean | None


def mean_of(
    values: Floats | None, run: Electrical, rows: Ints, *, is_rms: bool = False
) -> Mean | None:
    """Mean (root mean square) of a block quantity, with scatter and drift as components."""
    if values is None:
        return None
    part, weight = values[rows], run.blocks.n_rows[rows].astype(np.float64)
    finite = np.isfinite(part)
    if not finite.any():
        return None
    part, weight = part[finite], weight[finite]
    mean, u, n_effective = mean_and_u(part, weight)
    if is_rms:
        mean = math.sqrt(float(np.average(part**2, weights=weight)))
    drift = 0.0
    if part.size >= 3:
        t = np.arange(part.size) - (part.size - 1) / 2
        drift = abs(float(t @ part) / float(t @ t)) * (part.size - 1)
    parts: list[Part] = [(scatter(u, n_effective - 1), 1.0)]
    if drift > 2 * u:
        parts.append((Component.within("drift while it lasted", drift / 2), 1.0))
    return Mean(mean, parts)


def state_means(run: Electrical, rows: Ints) -> StateMeans:
    blocks = run.blocks
    return StateMeans(
        voltage=mean_of(blocks.voltage, run, rows, is_rms=True),
        current=mean_of(blocks.current, run, rows, is_rms=True),
        input_power=mean_of(run.input_w, run, rows),
    )


def channel_figure(
    name: MetricName, mean: Mean | None, errors: RigErrors, channel: Channel, reason: str
) -> Metric:
    if mean is None:
        return Metric.missing(name, reason)
    return figure(name, mean.value, [*mean.parts, *reading_parts(errors, channel, mean.value)])


def voltage_figure(
    name: MetricName, means: StateMeans, run: Electrical, errors: RigErrors, reason: str
) -> Metric:
    """Voltage of a state: at the motor on direct current, at the meter on alternating current."""
    voltage, current = means.voltage, means.current
    drop = run.lead_ohm * current.value if run.is_dc and current is not None else 0.0
    if voltage is None or current is None or not drop:
        return channel_figure(name, voltage, errors, Channel.VOLTAGE, reason)
    parts = [*voltage.parts, *reading_parts(errors, Channel.VOLTAGE, voltage.value + drop)]
    parts += reading_parts(errors, Channel.CURRENT, current.value, -run.lead_ohm)
    parts += [(errors.leads, -drop)] if errors.leads is not None else []
    return figure(name, voltage.value, parts)


def input_figure(name: MetricName, means: StateMeans, run: Electrical, errors: RigErrors) -> Metric:
    """Real input power of a state."""
    power = means.input_power
    if power is None:
        return Metric.missing(name, NO_INPUT)
    parts = input_parts(
        run,
        errors,
        power_w=power.value,
        voltage_v=means.voltage.value if means.voltage else None,
        current_a=means.current.value if means.current else None,
    )
    return figure(name, power.value, [*power.parts, *parts])


def factor_figure(
    name: MetricName, means: StateMeans, run: Electrical, errors: RigErrors
) -> Metric:
    """Power factor of a state: real power over volts times amperes.

    The three readings' scatter is taken as independent; an instrument that reads two of them has
    its error in both.
    """
    power, voltage, current = means.input_power, means.voltage, means.current
    if run.is_dc:
        return Metric.missing(name, "the supply is direct current")
    if power is None or voltage is None or current is None:
        return Metric.missing(name, NO_FACTOR)
    apparent = voltage.value * current.value
    if apparent <= 0:
        return Metric.missing(name, "no voltage or no current")
    value = power.value / apparent
    parts: list[Part] = []
    for mean, word, by in (
        (power, "power", 1 / apparent),
        (voltage, "voltage", -value / voltage.value),
        (current, "current", -value / current.value),
    ):
        for component, sensitivity in mean.parts:
            named = Component(
                f"{word}: {component.name}",
                component.standard_uncertainty,
                component.distribution,
                component.degrees_of_freedom,
            )
            parts.append((named, by * sensitivity))
    parts += [
        (c, by / apparent)
        for c, by in input_parts(
            run, errors, power_w=power.value, voltage_v=voltage.value, current_a=current.value
        )
    ]
    parts += reading_parts(errors, Channel.VOLTAGE, voltage.value, -value / voltage.value)
    parts += reading_parts(errors, Channel.CURRENT, current.value, -value / current.value)
    return figure(name, value, parts)
