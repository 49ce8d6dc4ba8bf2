"""What a claim's probability and verdict are called: about numbers, never about people."""

from server.model.bench import Claim, ClaimReading
from server.model.measured import MeaningReading
from server.model.words import Meaning
from server.wording.figures import show_claim, show_meaning, show_quantity
from server.wording.labels import meaning_label
from server.wording.numbers import NB_SPACE, fixed

SUPPORTED, NOT_SUPPORTED, NOT_DECIDED = "supported", "not supported", "not decided"
_SHAFT_WITHOUT_STORE = (
    Meaning.SHAFT_AT_RATED_CURRENT,
    Meaning.SHAFT_HIGHEST_STEADY,
    Meaning.SHAFT_HIGHEST_MOMENTARY,
)
RULE = (
    "Supported: the true value reaches the printed one with a probability of 95 % or more. Not "
    "supported: 5 % or less. Between them, not decided."
)


def show_probability(reading: MeaningReading) -> str:
    """ "45 %", "over 99.9 %", "at least 12 %"; empty where there is none."""
    p = reading.probability_reached
    if p is None:
        return ""
    percent = 100 * p
    if percent < 0.1:
        low = "at least 0" if reading.lower_bound else f"under{NB_SPACE}0.1"
        return f"{low}{NB_SPACE}%"
    if percent > 99.9:
        return f"over{NB_SPACE}99.9{NB_SPACE}%"
    words = f"{fixed(percent, 0 if 1 <= percent <= 99 else 1)}{NB_SPACE}%"
    return f"at least{NB_SPACE}{words}" if reading.lower_bound else words


def verdict_rows(reading: ClaimReading) -> tuple[tuple[str, ...], ...]:
    """Meaning, measured, probability, verdict, and how far from the claim a verdict begins."""
    return tuple(
        (
            meaning_label(m.meaning),
            show_meaning(m),
            show_probability(m),
            m.verdict or NOT_DECIDED,
            _guard(m),
        )
        for m in reading.meanings
        if m.value is not None and m.meaning is not Meaning.CIRCUIT_CONTINUOUS_LIMIT
    )


def _guard(m: MeaningReading) -> str:
    return "" if not m.guard_band else show_quantity(m.guard_band, None, "W")


def verdict_of_figure(reading: MeaningReading, claim: Claim) -> str:
    """One figure beside one claim, in a sentence."""
    printed = show_claim(claim)
    probability = show_probability(reading)
    verdict = reading.verdict or NOT_DECIDED
    if not probability:
        return f"Printed {printed}: {verdict}, for the figure has no uncertainty."
    if reading.lower_bound and verdict != SUPPORTED:
        return f"Printed {printed}: not decided, for the figure is only the highest that was shown."
    return (
        f"Printed {printed}: {verdict}. The true figure reaches it with a probability of "
        f"{probability}."
    )


def stored_energy_sentence(reading: ClaimReading) -> str | None:
    """Where only the reading that counts the rotor's energy reaches the printed figure."""
    verdicts = {m.meaning: m.verdict for m in reading.meanings if m.value is not None}
    if verdicts.get(Meaning.BRAKE_READING_WHILE_SLOWING) != SUPPORTED:
        return None
    others = [verdicts[m] for m in _SHAFT_WITHOUT_STORE if m in verdicts]
    if not others or SUPPORTED in others:
        return None
    return (
        "At the shaft, only the brake's reading while the rotor slows is shown to reach the "
        "printed figure. That reading counts energy that the rotor stored before."
    )
