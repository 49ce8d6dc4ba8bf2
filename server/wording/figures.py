"""Figures as people read them: unit always there, value and 95 % uncertainty rounded together.

Inside, everything is SI; here W stay W, rad/s become r/min, fractions per cent. Horsepower stands
beside watts only where the claim is in horsepower.
"""

from dataclasses import dataclass
from functools import lru_cache

from server.model.bench import Claim
from server.model.measured import MeaningReading, Metric
from server.model.words import Meaning, MetricName
from server.wording.labels import (
    meaning_label,
    meaning_sentence,
    metric_help,
    metric_label,
)
from server.wording.numbers import (
    COVERAGE_FACTOR,
    NB_SPACE,
    fixed,
    round_together,
    short,
    significant,
    with_unit,
)

__all__ = [
    "ShownMetric",
    "claim_horsepower",
    "expanded",
    "meaning_label",
    "meaning_sentence",
    "metric_help",
    "metric_label",
    "show_claim",
    "show_meaning",
    "show_meaning_ratio",
    "show_metric",
    "show_power",
    "show_quantity",
    "show_ratio",
    "show_speed",
    "shown_scale",
    "value_with_uncertainty",
]

# SI units of one shown unit. Horsepowers: exact, from 550 ft·lbf/s, 75 kgf·m/s and 746 W.
WATTS_PER_HP: dict[str, float] = {
    "hp": 745.69987158227022,
    "metric hp": 735.49875,
    "electric hp": 746.0,
}
RAD_S_PER_R_MIN = 0.10471975511965978  # 2 pi / 60
ZERO_CELSIUS_K = 273.15  # exact

NOT_MEASURED = "not measured"
NOT_STATED = "not stated"
NOTHING_PRINTED = "nothing printed"

# SI unit -> (unit shown, SI per shown unit). Fractions are per cent but for the power factor.
_SHOWN: dict[str, tuple[str, float]] = {
    "W": ("W", 1.0),
    "VA": ("VA", 1.0),
    "A": ("A", 1.0),
    "V": ("V", 1.0),
    "s": ("s", 1.0),
    "Hz": ("Hz", 1.0),
    "N": ("N", 1.0),
    "N m": ("N·m", 1.0),
    "rad/s": ("r/min", RAD_S_PER_R_MIN),
    "kg m^2": ("kg·m²", 1.0),
    "J": ("J", 1.0),
    "rad/s^2": ("(r/min)/s", RAD_S_PER_R_MIN),
    "N m s/rad": ("µN·m·s/rad", 1e-6),
    "N m s^2/rad^2": ("nN·m·s²/rad²", 1e-9),
    "": ("%", 0.01),
}
_PLAIN_FRACTIONS = frozenset(
    name for name in MetricName if name.value.startswith(("power_factor", "agreement"))
)


@dataclass(frozen=True, slots=True)
class ShownMetric:
    """A figure in words. `text` is whole ("642 ± 14 W", "at least 690 W", "not measured").

    `unit`: the unit shown, empty where there is no value. `note`: why there is no value, or what
    the figure leaves open. `number`: the text without unit. `beside`: the same in horsepower.
    """

    text: str
    unit: str
    note: str | None = None
    number: str = ""
    beside: str | None = None
    is_missing: bool = False


def expanded(standard_uncertainty: float | None) -> float | None:
    """Expanded uncertainty, k = 2 (about 95 %)."""
    return None if standard_uncertainty is None else COVERAGE_FACTOR * standard_uncertainty


def value_with_uncertainty(value: float, u: float | None, unit: str) -> str:
    """`642 ± 14 W` from a value and its standard uncertainty, both in the unit shown."""
    return with_unit(number_with_uncertainty(value, u), unit)


@lru_cache(maxsize=8192)  # lists show the same figures again and again
def number_with_uncertainty(value: float, u: float | None) -> str:
    """`642 ± 14` from a value and its standard uncertainty."""
    if u is None or u <= 0:
        return significant(value)
    rounded = round_together(value, COVERAGE_FACTOR * u)
    return f"{rounded.value}{NB_SPACE}±{NB_SPACE}{rounded.uncertainty}"


def shown_scale(si_unit: str, name: MetricName | None = None) -> tuple[str, float]:
    """The unit shown for an SI unit, and how much SI one of it is."""
    if name in _PLAIN_FRACTIONS:
        return "", 1.0
    return _SHOWN.get(si_unit, (si_unit, 1.0))


def show_quantity(value_si: float, u_si: float | None, si_unit: str) -> str:
    """Any SI figure in its shown unit."""
    unit, scale = shown_scale(si_unit)
    return value_with_uncertainty(value_si / scale, None if u_si is None else u_si / scale, unit)


def show_metric(metric: Metric | None, like: str | None = None) -> ShownMetric:
    """A metric as shown. `like`: how the claim beside it was typed ("5.0 hp"); a power then
    carries horsepower beside it."""
    if metric is None or metric.value is None:
        return ShownMetric(
            NOT_MEASURED, "", metric.reason if metric is not None else None, is_missing=True
        )
    unit, scale = shown_scale(metric.unit, metric.name)
    u = metric.standard_uncertainty
    number = number_with_uncertainty(metric.value / scale, None if u is None else u / scale)
    beside = _beside(metric, like)
    if not metric.lower_bound:
        note = None if u is not None else "no uncertainty stated"
        return ShownMetric(with_unit(number, unit), unit, note, number, beside)
    bare = number.split(NB_SPACE)[0]
    return ShownMetric(
        f"at least {with_unit(bare, unit)}",
        unit,
        f"{with_unit(number, unit)} is the highest that was shown; the true figure may be higher",
        f"at least {bare}",
        beside,
    )


def _beside(metric: Metric, like: str | None) -> str | None:
    kind = horsepower_kind(like)
    if kind is None or metric.unit != "W" or metric.value is None:
        return None
    text = in_horsepower(metric.value, metric.standard_uncertainty, kind)
    return f"at least {text.split(NB_SPACE)[0]}{NB_SPACE}{kind}" if metric.lower_bound else text


def horsepower_kind(typed: str | None) -> str | None:
    """Which horsepower a typed figure names: plain "hp" is the mechanical one; None: no hp."""
    if typed is None:
        return None
    words = typed.casefold().replace("horsepower", "hp").replace("\u00a0", " ")
    tokens = words.replace("(", " ").replace(")", " ").split()
    last = tokens[-1] if tokens else ""
    if last in {"ps", "cv", "ch"} or words.endswith(("metric hp", "hp metric", "hp_metric")):
        return "metric hp"
    if words.endswith(("electric hp", "electrical hp", "hp electric", "hp electrical")):
        return "electric hp"
    return "hp" if last.endswith("hp") else None


def claim_horsepower(claim: Claim) -> str | None:
    """The horsepower a claim is printed in, None where it is in watts or not a power."""
    if claim.quantity != "power":
        return None
    return horsepower_kind(claim.value_typed) or horsepower_kind(claim.wording)


def in_horsepower(power_w: float, u_power_w: float | None, kind: str = "hp") -> str:
    watts = WATTS_PER_HP[kind]
    return value_with_uncertainty(
        power_w / watts, None if u_power_w is None else u_power_w / watts, kind
    )


def show_power(
    power_w: float, u_power_w: float | None = None, *, like: str | None = None, first: bool = False
) -> str:
    """Watts; hp in brackets where `like` is in hp, named mechanical on first use."""
    text = value_with_uncertainty(power_w, u_power_w, "W")
    kind = horsepower_kind(like)
    if kind is None:
        return text
    beside = in_horsepower(power_w, u_power_w, kind)
    if first and kind == "hp":
        beside = beside[: -len("hp")] + "mechanical hp"
    return f"{text} ({beside})"


def show_speed(speed_rad_s: float, u_speed_rad_s: float | None = None) -> str:
    return show_quantity(speed_rad_s, u_speed_rad_s, "rad/s")


def show_ratio(ratio: float | None, u_ratio: float | None = None) -> str:
    """Measured ÷ printed in per cent, with its uncertainty; "times" from ten times on."""
    if ratio is None:
        return NOT_MEASURED
    if abs(ratio) < 10:
        return value_with_uncertainty(ratio * 100, None if u_ratio is None else u_ratio * 100, "%")
    return value_with_uncertainty(ratio, u_ratio, "times")


def show_meaning(reading: MeaningReading) -> str:
    """What was measured for one meaning of "power": "574 ± 12 W", "at least …", "not measured"."""
    is_circuit = reading.meaning is Meaning.CIRCUIT_CONTINUOUS_LIMIT
    if reading.value is None:
        return NOT_STATED if is_circuit else NOT_MEASURED
    if is_circuit:
        return with_unit(significant(reading.value), "VA")
    if reading.lower_bound:
        bare = number_with_uncertainty(reading.value, reading.standard_uncertainty)
        return f"at least {with_unit(bare.split(NB_SPACE)[0], 'W')}"
    return value_with_uncertainty(reading.value, reading.standard_uncertainty, "W")


def show_meaning_ratio(reading: MeaningReading) -> str:
    """One meaning ÷ the printed figure."""
    words = show_ratio(reading.ratio, reading.ratio_standard_uncertainty)
    if reading.ratio is None or not reading.lower_bound:
        return words
    number, unit = words.split(NB_SPACE)[0], words.split(NB_SPACE)[-1]
    return f"at least {with_unit(number, unit)}"


def show_claim(claim: Claim) -> str:
    """The printed figure as printed, SI in brackets: "5.0 hp (3 730 W)"."""
    unit, scale = shown_scale(CLAIM_UNITS.get(claim.quantity, ""))
    typed = unbroken(claim.value_typed)
    si = with_unit(significant(claim.value_si / scale), unit)
    return typed if typed.endswith(f"{NB_SPACE}{unit}") else f"{typed} ({si})"


CLAIM_UNITS: dict[str, str] = {
    "power": "W",
    "current": "A",
    "voltage": "V",
    "speed": "rad/s",
    "torque": "N m",
    "frequency": "Hz",
    "apparent_power": "VA",
    "efficiency": "",
}


def unbroken(typed: str) -> str:
    """What a person typed, its inner spaces made non-breaking."""
    return NB_SPACE.join(typed.split())


def show_plain(value_si: float | None, si_unit: str) -> str:
    """A plate figure: no uncertainty, no trailing noughts; "not stated" where it is missing."""
    if value_si is None:
        return NOT_STATED
    if si_unit == "K":
        return with_unit(fixed(value_si - ZERO_CELSIUS_K, 1), "°C")
    unit, scale = shown_scale(si_unit)
    return with_unit(short(value_si / scale), unit)
