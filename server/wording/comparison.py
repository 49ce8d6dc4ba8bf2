"""Words for appliances side by side: "clearly most" only beyond the uncertainty."""

from collections.abc import Sequence

from server.model.measured import Measured, Metric
from server.wording.counts import plural
from server.wording.figures import expanded

CLEARLY_MOST = "clearly most"


def as_measured(metric: Metric | None) -> Measured | None:
    """What can be compared: a value with its uncertainty that is not a mere lower bound."""
    if metric is None or metric.value is None or metric.standard_uncertainty is None:
        return None
    return Measured(metric.value, metric.standard_uncertainty)


def is_clearly_more(a: Measured, b: Measured) -> bool:
    """The difference is larger than its expanded uncertainty (the two taken as independent)."""
    if a.standard_uncertainty is None or b.standard_uncertainty is None:
        return False
    u = (a.standard_uncertainty**2 + b.standard_uncertainty**2) ** 0.5
    half = expanded(u)
    assert half is not None
    return a.value - b.value > half


def clearly_most(metrics: Sequence[Metric | None]) -> int | None:
    """Which of the metrics is clearly the highest, if one is.

    None where fewer than two were measured, where an uncertainty is not known, or where another
    is "at least": its true figure may be the higher one.
    """
    had = [(i, m) for i, m in enumerate(metrics) if m is not None and m.value is not None]
    if len(had) < 2:
        return None
    best, metric = max(had, key=lambda pair: pair[1].value or 0.0)
    first = as_measured(metric)
    for i, other in had:
        if i == best:
            continue
        second = as_measured(other)
        if first is None or second is None or other.lower_bound:
            return None
        if not is_clearly_more(first, second):
            return None
    return best


def clearly_most_ratio(ratios: Sequence[Measured | None]) -> int | None:
    """The same for ratios or any plain measured figures."""
    had = [(i, m) for i, m in enumerate(ratios) if m is not None]
    if len(had) < 2:
        return None
    best, first = max(had, key=lambda pair: pair[1].value)
    others = (m for i, m in had if i != best)
    return best if all(is_clearly_more(first, other) for other in others) else None


def order_sentence(
    names: Sequence[str], printed_w: Sequence[float | None], measured: Sequence[Metric | None]
) -> str | None:
    """Where printed and measured orders differ at the top, in one sentence; else None.

    Said only when the largest printed figure stands alone and another is clearly most.
    """
    printed = [(w, i) for i, w in enumerate(printed_w) if w is not None]
    best = clearly_most(measured)
    if best is None or len(printed) < 2:
        return None
    largest = max(printed)
    if sum(w == largest[0] for w, _ in printed) > 1:
        return None
    holder = measured[largest[1]]
    if holder is None or holder.value is None:
        return None
    if largest[1] == best:
        return f"The largest printed figure and the most at the shaft are both {names[best]}’s."
    return (
        f"The largest printed figure is {names[largest[1]]}’s; the most at the shaft is "
        f"clearly {names[best]}’s."
    )


def side_by_side_title(categories: Sequence[str]) -> str:
    """ "Three wet/dry vacuums, side by side", or "Three appliances" where kinds differ."""
    words = ("", "One", "Two", "Three", "Four", "Five", "Six")
    n = len(categories)
    count = words[n] if n < len(words) else str(n)
    kinds = set(categories)
    noun = next(iter(kinds)) if len(kinds) == 1 else "appliance"
    return f"{count} {noun if n == 1 else plural(noun)}, side by side"
