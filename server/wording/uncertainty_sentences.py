"""Why an interval was made by drawing, and what to improve first, in words."""

from collections.abc import Mapping, Sequence
from math import sqrt

from server.model.budget import BudgetLine
from server.model.measured import JsonValue
from server.model.words import MetricName
from server.wording.labels import metric_label

OUTWEIGHS = 0.5  # of the variance
FEW = 3  # figures are named; more are counted
NO_BELL = "limits, noise and a curved answer to errors add up to no bell shape"


def interval_drawn(evidence: dict[str, JsonValue]) -> tuple[str, str]:
    """The figures whose first-order interval was off, by what outweighs the rest in each."""
    flat: dict[str, list[str]] = {}
    curved: list[str] = []
    found = evidence.get("figures")
    for item in found if isinstance(found, list) else []:
        if not isinstance(item, dict) or item.get("figure") not in set(MetricName):
            continue
        label = metric_label(MetricName(str(item["figure"])))
        share = item.get("share")
        is_flat = item.get("distribution") not in (None, "normal", "t")
        if is_flat and isinstance(share, int | float) and share >= OUTWEIGHS:
            flat.setdefault(str(item.get("component")), []).append(label)
        else:
            curved.append(label)
    n = len(curved) + sum(len(labels) for labels in flat.values())
    why = "; ".join(_named_reasons(flat, curved) if n <= FEW else _counted_reasons(flat, curved))
    where = "These intervals" if n <= FEW else f"The intervals of {n} figures"
    return (
        f"{where} were made by drawing errors (JCGM 101), not to first order: "
        f"{why or 'the figures are not named'}.",
        "Nothing to do: the interval shown is the one that holds"
        + ("." if n <= FEW else ", and the page of each figure says how it was made."),
    )


def _named_reasons(flat: Mapping[str, list[str]], curved: Sequence[str]) -> list[str]:
    reasons = [
        f"one component with limits (“{component}”) outweighs the others in {_listed(labels)}"
        for component, labels in flat.items()
    ]
    return [*reasons, f"{NO_BELL} in {_listed(curved)}"] if curved else reasons


def _counted_reasons(flat: Mapping[str, list[str]], curved: Sequence[str]) -> list[str]:
    reasons = []
    if flat:
        n = sum(len(labels) for labels in flat.values())
        named = ", ".join(f"“{component}”" for component in flat)
        reasons.append(f"one component with limits outweighs the others in {n} ({named})")
    return [*reasons, f"{NO_BELL} in {len(curved)}"] if curved else reasons


def improve_first(budget: Sequence[BudgetLine]) -> str | None:
    """What to improve first: the largest component, and what halving it would do."""
    if not budget:
        return None
    first = max(budget, key=lambda line: line.share)
    less = 100 * (1 - sqrt(1 - 0.75 * first.share))
    return f"“{first.component}”; halving it would make the uncertainty {less:.0f} % smaller"


def _listed(labels: Sequence[str]) -> str:
    low = [label[:1].lower() + label[1:] for label in labels]
    return low[0] if len(low) == 1 else ", ".join(low[:-1]) + " and " + low[-1]
