"""What a change of method moves, in words and as JSON."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.model.changes import MetricChange, RunChange
from server.model.measured import JsonValue, Metric
from server.model.words import RunState
from server.wording.counts import count_of
from server.wording.numbers import MINUS, fixed, significant

Json = dict[str, JsonValue]
UNIT_WORDS = "standard uncertainties"
SMALLEST_SHOWN = 0.01


@dataclass(frozen=True, slots=True)
class ChangeSummary:
    """How much moves. Figures are those of published runs alone.

    `n_uncounted`: figures that come, go or state no uncertainty. `moving`: runs that change state.
    """

    n_compared: int
    n_runs: int
    n_figures: int
    n_over_one: int
    n_uncounted: int
    moving: tuple[RunChange, ...]


def what_moves(changes: Sequence[RunChange]) -> tuple[RunChange, ...]:
    """The published runs whose figures or findings change and all that change state, the largest
    move first, their figures too: what can't be counted before what can."""
    shown = [change for change in changes if _is_told(change)]
    return tuple(sorted((_sorted(c) for c in shown), key=_largest, reverse=True))


def summary_of(changes: Sequence[RunChange]) -> ChangeSummary:
    """Counts over everything that was compared."""
    published = [c for c in changes if c.state_before is RunState.PUBLISHED and c.metrics]
    figures = [metric for change in published for metric in change.metrics]
    return ChangeSummary(
        n_compared=len(changes),
        n_runs=len(published),
        n_figures=len(figures),
        n_over_one=sum(m.n_u is not None and abs(m.n_u) > 1 for m in figures),
        n_uncounted=sum(m.n_u is None for m in figures),
        moving=tuple(c for c in changes if c.state_before is not c.state_after),
    )


def summary_sentences(summary: ChangeSummary) -> tuple[str, ...]:
    """ "3 figures of 2 published runs would move, one of them by more than one standard
    uncertainty." """
    compared = f"{count_of(summary.n_compared, 'run')} compared; nothing was stored."
    if not summary.n_figures:
        return (compared, "No published figure would move.")
    figures = count_of(summary.n_figures, "figure")
    runs = count_of(summary.n_runs, "published run")
    over = "none" if summary.n_over_one == 0 else str(summary.n_over_one)
    told = f"{figures} of {runs} would move, {over} by more than one standard uncertainty."
    found = [compared, told[:1].upper() + told[1:]]
    if summary.n_uncounted:
        words = count_of(summary.n_uncounted, "figure")
        verb = "comes, goes or states" if summary.n_uncounted == 1 else "come, go or state"
        found.append(f"{words[:1].upper()}{words[1:]} {verb} no uncertainty to count in.")
    return tuple(found)


def move_text(change: MetricChange) -> str:
    """How far a figure moves in its own standard uncertainties, or why that can't be said."""
    if change.n_u is None:
        if change.before.value is None:
            return "not had either way" if change.after.value is None else "newly had"
        return "no longer had" if change.after.value is None else "no uncertainty stated"
    size = abs(change.n_u)
    if size == 0:
        return "0"
    if size < SMALLEST_SHOWN:
        return f"under {fixed(SMALLEST_SHOWN, 2)}"
    return f"{'+' if change.n_u > 0 else MINUS}{significant(size, 2)}"


def move_words(change: MetricChange) -> str:
    """The same with its unit, for a line of text."""
    text = move_text(change)
    return text if change.n_u is None else f"{text} {UNIT_WORDS}"


def comparison_to_json(changes: Sequence[RunChange]) -> Json:
    """The one JSON object of a comparison. SI, nothing rounded."""
    summary = summary_of(changes)
    return {
        "runs": [_run_to_json(change) for change in what_moves(changes)],
        "summary": {
            "runs_compared": summary.n_compared,
            "runs_moved": summary.n_runs,
            "figures_moved": summary.n_figures,
            "figures_moved_over_one": summary.n_over_one,
            "figures_not_counted": summary.n_uncounted,
            "runs_changing_state": [
                {"run": c.public_id, "before": c.state_before.value, "after": c.state_after.value}
                for c in summary.moving
            ],
        },
    }


def _run_to_json(change: RunChange) -> Json:
    return {
        "run": change.public_id,
        "appliance": change.appliance,
        "method_before": change.method_before,
        "method_after": change.method_after,
        "state_before": change.state_before.value,
        "state_after": change.state_after.value,
        "figures": [
            {
                "name": one.name.value,
                "unit": one.before.unit,
                "before": _figure(one.before),
                "after": _figure(one.after),
                "standard_uncertainties": one.n_u,
            }
            for one in change.metrics
        ],
        "findings_new": [code.value for code in change.findings_new],
        "findings_gone": [code.value for code in change.findings_gone],
    }


def _figure(metric: Metric) -> Json:
    return {
        "value": metric.value,
        "standard_uncertainty": metric.standard_uncertainty,
        "lower_bound": metric.lower_bound,
        "reason": metric.reason,
    }


def _is_told(change: RunChange) -> bool:
    if change.state_before is not change.state_after:
        return True
    differs = change.metrics or change.findings_new or change.findings_gone
    return change.state_before is RunState.PUBLISHED and bool(differs)


def _sorted(change: RunChange) -> RunChange:
    ordered = sorted(change.metrics, key=_size, reverse=True)
    return replace(change, metrics=tuple(ordered))


def _size(change: MetricChange) -> float:
    return float("inf") if change.n_u is None else abs(change.n_u)


def _largest(change: RunChange) -> float:
    return max((_size(one) for one in change.metrics), default=-1.0)
