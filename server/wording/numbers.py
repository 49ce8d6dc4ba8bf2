"""How a number is written: rounded with its uncertainty, grouped, never broken over a line."""

import math
from dataclasses import dataclass

THIN_SPACE = "\u202f"  # narrow and non-breaking, between thousands
NB_SPACE = "\u00a0"  # between a number, its ± and its unit
MINUS = "\u2212"
COVERAGE_FACTOR = 2.0  # k of the expanded uncertainty, about 95 % for a normal distribution


@dataclass(frozen=True, slots=True)
class Rounded:
    """A value and its expanded uncertainty, written to the same decimal place."""

    value: str
    uncertainty: str


def decimals_of(uncertainty: float) -> int:
    """The decimal place an uncertainty is rounded to (negative: tens, hundreds …).

    Particle Data Group, Review of Particle Physics, "Rounding": of the three leading digits,
    100-354 keeps two, 355-949 one, 950-999 becomes 1000 and keeps two.
    """
    exponent = math.floor(math.log10(uncertainty))
    # The digits as they stand, not rounded; the little more keeps 1.0 from reading as 0.999…
    leading = int(uncertainty / 10.0**exponent * 100 + 1e-9)
    if leading <= 354:
        kept = 2
    elif leading <= 949:
        kept = 1
    else:
        exponent += 1
        kept = 2
    return kept - 1 - exponent


def round_together(value: float, expanded_uncertainty: float) -> Rounded:
    """Value and expanded uncertainty rounded together, thousands grouped."""
    place = decimals_of(expanded_uncertainty)
    return Rounded(fixed(value, place), fixed(expanded_uncertainty, place))


def fixed(value: float, place: int) -> str:
    """A number with `place` decimals (negative: rounded to tens, hundreds …), grouped."""
    text = f"{value:,.{place}f}" if place >= 0 else f"{round(value, place):,.0f}"
    if "," in text:
        text = text.replace(",", THIN_SPACE)
    return _with_true_minus(text) if text[0] == "-" else text


def grouped(text: str) -> str:
    """Thin spaces between thousands of a plain decimal number; a true minus; no minus zero."""
    whole, point, fraction = text.lstrip("-").partition(".")
    head = len(whole) % 3
    groups = ([whole[:head]] if head else []) + [
        whole[i : i + 3] for i in range(head, len(whole), 3)
    ]
    together = THIN_SPACE.join(groups) + point + fraction
    return _with_true_minus(f"-{together}") if text.startswith("-") else together


def _with_true_minus(text: str) -> str:
    """ "-1.5" with a true minus sign; nothing before a zero."""
    return MINUS + text[1:] if text.strip("-0.") else text[1:]


def significant(value: float, digits: int = 3) -> str:
    """A number whose uncertainty is not known, to so many significant digits."""
    if value == 0:
        return "0"
    place = digits - 1 - math.floor(math.log10(abs(value)))
    return fixed(value, max(place, 0) if abs(value) < 10.0**digits else 0)


def short(value: float, digits: int = 4) -> str:
    """A typed figure without trailing noughts: "15", "1.5"."""
    text = significant(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


def with_unit(number: str, unit: str) -> str:
    return f"{number}{NB_SPACE}{unit}" if unit else number
