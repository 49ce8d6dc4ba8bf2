"""Sentences about an appliance and its claim: definitions, numbers, limits; never a verdict."""

from collections.abc import Sequence

from server.model.bench import Claim, ClaimReading, Plate
from server.model.measured import MeaningReading, Metric
from server.model.results import Reduction
from server.model.views import ApplianceView
from server.model.words import Meaning, MetricName
from server.wording.counts import small_number
from server.wording.figures import (
    claim_horsepower,
    expanded,
    meaning_label,
    show_metric,
    show_plain,
    show_power,
    show_ratio,
    unbroken,
)
from server.wording.numbers import NB_SPACE
from server.wording.verdicts import stored_energy_sentence

_HIGHEST = MetricName.SHAFT_POWER_MAX_STEADY
_RATED = MetricName.SHAFT_POWER_AT_RATED_CURRENT


def appliance_sentence(view: ApplianceView, readings: Sequence[ClaimReading] = ()) -> str:
    """The printed figure, the measured one and their ratio, in one or two sentences.

    `readings`: the power claims beside the run the headline stands on; the first is named.
    """
    reduction = view.best.reduction if view.best is not None else None
    reading = readings[0] if readings else None
    claim = reading.claim if reading is not None else _power_claim(view.claims)
    return f"{_printed(claim)} {_measured(reduction, reading)}"


def _power_claim(claims: Sequence[Claim]) -> Claim | None:
    return next((claim for claim in claims if claim.quantity == "power"), None)


def _printed(claim: Claim | None) -> str:
    return "No power is printed." if claim is None else f"Printed {unbroken(claim.value_typed)}."


def _measured(reduction: Reduction | None, reading: ClaimReading | None) -> str:
    if reduction is None:
        return "No published bench run shows its power yet."
    highest = reduction.metrics.get(_HIGHEST)
    if highest is not None and highest.value is not None:
        return f"One bench run shows {_highest_words(highest, reading)}."
    rated = reduction.metrics.get(_RATED)
    if rated is not None and rated.value is not None:
        words = f"One bench run shows {_power(rated, reading)} at the shaft, at rated current"
        return f"{words}{_share_words(reading, Meaning.SHAFT_AT_RATED_CURRENT)}."
    return "One bench run was made; it shows no power at the shaft."


def _highest_words(highest: Metric, reading: ClaimReading | None) -> str:
    share = _share_words(reading, Meaning.SHAFT_HIGHEST_STEADY)
    if highest.lower_bound:
        return f"{_power(highest, reading)} at the shaft{share}; the run ended before its peak"
    return f"{_power(highest, reading)} at the shaft at most{share}"


def _power(metric: Metric, reading: ClaimReading | None) -> str:
    """Watts; where the claim is in horsepower, that beside them, named on this first use."""
    kind = claim_horsepower(reading.claim) if reading is not None else None
    if metric.lower_bound:
        shown = show_metric(metric, like=kind)
        beside = f" ({shown.beside})" if shown.beside else ""
        return shown.text + beside.replace("at least ", "").replace(
            f"{NB_SPACE}hp", f"{NB_SPACE}mechanical hp"
        )
    return show_power(metric.value or 0.0, metric.standard_uncertainty, like=kind, first=True)


def _reading_of(reading: ClaimReading | None, meaning: Meaning) -> MeaningReading | None:
    if reading is None:
        return None
    return next((m for m in reading.meanings if m.meaning is meaning), None)


def _share_words(reading: ClaimReading | None, meaning: Meaning) -> str:
    """ ", 30.3 ± 0.7 % of the printed figure"."""
    found = _reading_of(reading, meaning)
    if found is None or found.ratio is None:
        return ""
    share = show_ratio(found.ratio, None if found.lower_bound else found.ratio_standard_uncertainty)
    least = "at least " if found.lower_bound else ""
    return f", {least}{share}{' of' if share.endswith('%') else ''} the printed figure"


def claim_sentences(reading: ClaimReading, *, plate: Plate) -> tuple[str, ...]:
    """What follows from the numbers: which readings reach the claim, the current it would need,
    and how long the rotor's energy could make up the difference."""
    stored = stored_energy_sentence(reading)
    return (
        reach_sentence(reading),
        *((stored,) if stored else ()),
        current_sentence(reading, plate=plate),
        rotor_sentence(reading),
    )


def reach_sentence(reading: ClaimReading) -> str:
    """How many of the measured meanings reach the printed figure, beyond their uncertainty."""
    shown = [m for m in reading.meanings if m.meaning is not Meaning.CIRCUIT_CONTINUOUS_LIMIT]
    had = [m for m in shown if m.value is not None]
    if not had:
        return "None of the readings was measured, so nothing can be said about the claim."
    reach = [m for m in had if _reaches(m, reading.claim)]
    n_open = sum(_is_open(m, reading.claim) for m in had)
    words = _reach_words(reach, len(had), is_all=len(had) == len(shown))
    if n_open:
        one = "comes" if n_open == 1 else "come"
        words += f"; {small_number(n_open)} {one} within its uncertainty or may be higher"
    n_missing = len(shown) - len(had)
    if n_missing:
        was = "was" if n_missing == 1 else "were"
        words += f"; {small_number(n_missing)} {was} not measured"
    return words + "."


def _reach_words(reach: Sequence[MeaningReading], n_had: int, *, is_all: bool) -> str:
    """How many reach it, and which, where they are one or two."""
    at_hand = "" if is_all else " at hand"
    if n_had == 1:
        return f"The one reading at hand {'reaches' if reach else 'does not reach'} it"
    if len(reach) == n_had:
        return f"All {small_number(n_had)} readings{at_hand} reach it"
    of_them = f"of the {small_number(n_had)} readings{at_hand}"
    if not reach:
        return f"None {of_them} reaches it"
    if len(reach) > 2:
        return f"{small_number(len(reach)).capitalize()} {of_them} reach it"
    names = " and ".join(f"“{meaning_label(m.meaning)}”" for m in reach)
    verb = "reaches" if len(reach) == 1 else "reach"
    return f"{small_number(len(reach)).capitalize()} {of_them} {verb} it, {names}"


def _reaches(m: MeaningReading, claim: Claim) -> bool:
    return m.value is not None and m.value >= claim.value_si


def _is_open(m: MeaningReading, claim: Claim) -> bool:
    """Below the claim, but not by more than its uncertainty, or only a lower bound."""
    if m.value is None or _reaches(m, claim):
        return False
    return m.lower_bound or m.value + (expanded(m.standard_uncertainty) or 0.0) >= claim.value_si


def current_sentence(reading: ClaimReading, *, plate: Plate) -> str:
    """ "For 5.0 hp at its best efficiency … about 54 A; its plug is made for 15 A."."""
    printed = unbroken(reading.claim.value_typed)
    implied = reading.implied_current
    if implied.value is None:
        why = f": {implied.reason}" if implied.reason else ""
        return f"The current that {printed} at the shaft would need can't be worked out{why}."
    words = (
        f"For {printed} at the shaft, at the best efficiency measured, it would draw "
        f"{show_metric(implied).text}"
    )
    if plate.circuit_a is None:
        return f"{words}; the current its plug is made for is not stated."
    return f"{words}; its plug is made for {show_plain(plate.circuit_a, 'A')}, continuously."


def rotor_sentence(reading: ClaimReading) -> str:
    """How long the energy stored in the rotor could make up the difference."""
    time = reading.rotor_energy_time
    highest = _reading_of(reading, Meaning.SHAFT_HIGHEST_STEADY)
    if highest is not None and highest.value is not None and _reaches(highest, reading.claim):
        return "The highest steady power reaches the printed figure; no stored energy is needed."
    if time.value is None:
        why = f": {time.reason}" if time.reason else ""
        return f"How long the rotor's energy could make up the difference is not known{why}."
    return (
        "The energy in the turning rotor could make up the difference for "
        f"{show_metric(time).text}, while it slows."
    )
