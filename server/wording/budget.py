"""An uncertainty budget in words: what each component is, its size, and what it adds."""

from math import floor, log10

from server.model.budget import (
    PLACE,
    PLACE_BY_CURVE,
    PLACE_BY_LAW,
    RATED_BY_CURVE,
    BudgetLine,
)
from server.model.measured import Metric
from server.model.words import CHANNEL_UNITS, Channel
from server.wording.figures import shown_scale
from server.wording.numbers import NB_SPACE, decimals_of, fixed, significant, with_unit
from server.wording.uncertainty_sentences import improve_first

# Components that are a factor on what was measured.
_FACTORS = (
    "% of reading",
    "arm length",
    "moment of inertia",
    "drag before the sensor",
    RATED_BY_CURVE,
)
_SUPERSCRIPTS = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
OFF_CENTRE = 0.25  # of the half-width
MANY = 1000.0  # degrees of freedom from which t is the normal distribution to three digits


def component_size(line: BudgetLine, metric: Metric) -> str:
    """The standard uncertainty of a component itself: relative for a factor, else in its unit."""
    u = line.standard_uncertainty
    if line.component.endswith(_FACTORS):
        return with_unit(scientific(100 * u), "%")
    unit, scale = shown_scale(_own_unit(line, metric), metric.name)
    return with_unit(scientific(u / scale), unit)


def _own_unit(line: BudgetLine, metric: Metric) -> str:
    channel = line.component.partition(":")[0]
    if channel in set(Channel):
        return CHANNEL_UNITS[Channel(channel)]
    if channel == PLACE:
        return CHANNEL_UNITS[Channel.SPEED]
    if "zero" in channel:
        return CHANNEL_UNITS[Channel.TORQUE]
    return metric.unit


def show_sensitivity(line: BudgetLine) -> str:
    return scientific(line.sensitivity)


def show_contribution(line: BudgetLine, metric: Metric) -> str:
    """What a component adds to the figure's standard uncertainty, in the figure's unit."""
    unit, scale = shown_scale(metric.unit, metric.name)
    return with_unit(scientific(line.contribution / scale, 2), unit)


def show_part(share: float) -> str:
    """A share of the variance: "62 %", "under 0.1 %"."""
    percent = 100 * share
    if percent < 0.1:
        return f"under{NB_SPACE}0.1{NB_SPACE}%"
    return with_unit(fixed(percent, 1 if percent < 10 else 0), "%")


def scientific(value: float, digits: int = 3) -> str:
    """A few significant digits; tiny and huge figures with a power of ten."""
    if value == 0 or 1e-3 <= abs(value) < 1e6:
        return significant(value, digits)
    exponent = floor(log10(abs(value)))
    power = str(exponent).translate(_SUPERSCRIPTS)
    return f"{significant(value / 10.0**exponent, digits)}{NB_SPACE}×{NB_SPACE}10{power}"


def interval_sentence(metric: Metric) -> str | None:
    """ "With a probability of 95 % it lies between 826 W and 850 W."."""
    low, high = metric.interval_low, metric.interval_high
    if low is None or high is None or high <= low:
        return None
    unit, scale = shown_scale(metric.unit, metric.name)
    place = decimals_of((high - low) / 2 / scale)
    ends = [with_unit(fixed(end / scale, place), unit) for end in (low, high)]
    words = f"95{NB_SPACE}% interval: {ends[0]} to {ends[1]}."
    return f"{words} The true figure may be higher." if metric.lower_bound else words


def bias_sentence(metric: Metric) -> str | None:
    """Why the interval lies below the figure, where it does."""
    value, low, high = metric.value, metric.interval_low, metric.interval_high
    if value is None or low is None or high is None:
        return None
    if value - (low + high) / 2 < OFF_CENTRE * (high - low) / 2:
        return None
    return (
        "The interval lies lower than the figure: the highest of several noisy values stands too "
        "high on average, and the interval carries that."
    )


def basis_sentence(metric: Metric) -> str | None:
    """Standard uncertainty and degrees of freedom."""
    u = metric.standard_uncertainty
    if u is None:
        return None
    unit, scale = shown_scale(metric.unit, metric.name)
    freedom = metric.degrees_of_freedom
    if freedom is None or freedom >= MANY:
        words = f"more than {fixed(MANY, 0)} degrees of freedom"
    else:
        words = f"{significant(freedom, 2)} degrees of freedom"
    return (
        f"Standard uncertainty {with_unit(significant(u / scale), unit)}, with {words}; what "
        "stands behind ± is twice that."
    )


_PLACES: dict[str, str] = {
    PLACE_BY_LAW: (
        "Where the power is highest was read off the motor's law fitted to all channels, bent a "
        "little to the torque; the figures there are those of the curves through the loads."
    ),
    PLACE_BY_CURVE: (
        "Where the power is highest was read off the curve through the loads, which knows no "
        "motor's law: a curve of another order would put it elsewhere, and the interval holds that."
    ),
    RATED_BY_CURVE: (
        "The shaft power at rated current was read off the curve through the loads: curves of "
        "other orders fit about as well and give another, and the interval holds that."
    ),
}


def place_sentence(metric: Metric) -> str | None:
    """What the place of the highest power, or the power at rated current, was read off, where the
    budget says it."""
    found = [_PLACES[line.component] for line in metric.budget if line.component in _PLACES]
    return found[0] if found else None


_MADE_BY: dict[str, str] = {
    "gum": "The interval was worked out to first order from the budget below (JCGM 100).",
    "monte carlo": (
        "The interval was made by drawing every error many times (JCGM 101): to first order it "
        "would have been off in its second digit."
    ),
}


def made_by_sentence(metric: Metric) -> str | None:
    """By which of the two methods the interval was made."""
    return _MADE_BY.get(metric.method or "")


def improve_sentence(metric: Metric) -> str | None:
    """What to improve first, and what halving it would do."""
    first = improve_first(metric.budget)
    return None if first is None else f"What to improve first: {first}."
