"""A figure with its first-order uncertainty, interval and budget, from named components."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from server.model.kind_metrics import METRICS_OF
from server.model.measured import Metric
from server.model.words import Channel, MetricName, RunKind
from server.reduction.uncertainty.budget import combined, make_budget
from server.reduction.uncertainty.components import Component, RigErrors
from server.reduction.uncertainty.propagate import coverage_factor

# A component and the sensitivity of the figure to it.
Part = tuple[Component, float]

SCATTER = "scatter of the readings"
MANY = 1e9  # degrees of freedom; more are said to be too many to matter


def figure(
    name: MetricName, value: float, parts: Iterable[Part], *, lower_bound: bool = False
) -> Metric:
    """Make a figure from its value and the independent components of its uncertainty.

    Model:  u^2 = sum (c_i u_i)^2,  interval = value +- t_0.95(nu) u,  nu by Welch-Satterthwaite

    Parameters
    ----------
    parts : (component, sensitivity) pairs, independent of one another. Several parts of the same
        component are added with their signs first: they are one error.

    Returns
    -------
    Metric. A value or an uncertainty that is not finite gives a metric without value.

    Sources
    -------
    JCGM 100:2008, 5.1.2, G.4.1.
    """
    joined: dict[str, Part] = {}
    for component, sensitivity in parts:
        before = joined.get(component.name)
        joined[component.name] = (component, sensitivity + (before[1] if before else 0.0))
    components = [component for component, _ in joined.values()]
    sensitivities = [sensitivity for _, sensitivity in joined.values()]
    u, freedom = combined(components, sensitivities)
    if not (math.isfinite(value) and math.isfinite(u)):
        return Metric.missing(name, "the fit gives no finite value")
    half = coverage_factor(freedom) * u
    return Metric(
        name=name,
        value=value,
        standard_uncertainty=u,
        lower_bound=lower_bound,
        interval_low=value - half,
        interval_high=value + half,
        degrees_of_freedom=freedom if freedom < MANY else None,
        method="gum",
        budget=make_budget(components, sensitivities),
    )


def scatter(u: float, degrees_of_freedom: float = math.inf, name: str = SCATTER) -> Component:
    return Component(name, u, degrees_of_freedom=max(degrees_of_freedom, 1.0))


def reading_parts(errors: RigErrors, channel: Channel, value: float, by: float = 1.0) -> list[Part]:
    """What the instrument of one channel adds to a figure.

    Parameters
    ----------
    value : of the channel, SI. by : derivative of the figure with respect to it.
    """
    of = errors.of(channel)
    parts: list[Part] = [(component, by * value) for component in of.gain]
    parts += [(component, by) for component in of.offset]
    if of.resolution is not None:
        # A steady reading is rounded alike each time: averaging does not take it away.
        parts.append((of.resolution, by))
    return parts


def complete(
    kind: RunKind, metrics: Mapping[MetricName, Metric], reason: str
) -> dict[MetricName, Metric]:
    """Every figure that runs of this kind have, those not made with the reason why."""
    made: dict[MetricName, Metric] = {}
    for name in METRICS_OF[kind]:
        metric = metrics.get(name, Metric.missing(name, reason))
        if metric.value is not None and not math.isfinite(metric.value):
            metric = Metric.missing(name, "the fit gives no finite value")
        u = metric.standard_uncertainty
        if u is not None and not math.isfinite(u):
            metric = replace(metric, standard_uncertainty=None)
        made[name] = metric
    return made
