"""Figures of a draft: a few beside each step, all of them before it is sent."""

from collections.abc import Sequence
from urllib.parse import quote

from server.charts import run_trace
from server.errors import Problem
from server.model.results import Reduction
from server.model.views import DraftView, Tester
from server.model.words import MetricName, Severity
from server.pages.load_figures import show_load
from server.pages.pictures import show_figure
from server.pages.rows import show_findings
from server.pages.run import HEADLINES
from server.pages.send_asked import Asked
from server.pages.send_fields import problem_words
from server.pages.send_pages import head_of, show_draft, steps_of
from server.pages.send_shapes import FiguresPage, SoFar
from server.pages.shapes import FigureShown, Value
from server.store.journal import today
from server.wording.figures import metric_label, show_metric

_MOST_OTHERS = 5
_CORRECTION = (
    "This becomes a new revision of the run; the one before stays readable. A run that was "
    "returned, or that the rule does not let through, waits until someone has looked at it, and "
    "stands in no list or pooled figure for that time."
)


def _so_far(reduction: Reduction) -> tuple[MetricName, ...]:
    return HEADLINES.get(reduction.kind, ())


def so_far_of(reduction: Reduction | None, note: str | None) -> SoFar:
    if reduction is None:
        return SoFar(note)
    weighty = [f for f in reduction.findings if f.severity is not Severity.INFO]
    return SoFar(
        note or _why_missing(reduction),
        figures=tuple(_value(reduction, name) for name in _so_far(reduction)),
        findings=show_findings(weighty),
    )


def _why_missing(reduction: Reduction) -> str | None:
    """Why the figures beside a step can't be had yet, each reason once."""
    metrics = [reduction.metrics.get(name) for name in _so_far(reduction)]
    reasons = [m.reason for m in metrics if m is not None and m.value is None and m.reason]
    return f"Not yet: {'; '.join(dict.fromkeys(reasons))}." if reasons else None


def _value(reduction: Reduction, name: MetricName) -> Value:
    shown = show_metric(reduction.metrics.get(name))
    return Value(metric_label(name), shown.text, note=shown.note, is_missing=shown.is_missing)


def figures_page(
    draft: DraftView,
    *,
    reduction: Reduction | None,
    note: str | None,
    problems: Sequence[Problem],
    asked: Asked,
    tester: Tester,
    has_consented: bool,
    is_at_once: bool,
    first_run_waits: bool,
    others: Sequence[DraftView],
) -> FiguresPage:
    """`is_at_once`: the sender's clean runs are published at once; `others`: their other drafts,
    the next of which is led to."""
    path = f"/send/{draft.public_id}"
    onward = quote(f"{path}/figures", safe="")
    holds = reduction is not None and any(f.severity is Severity.ERROR for f in reduction.findings)
    return FiguresPage(
        head=head_of("figures", f"{path}/figures"),
        steps=steps_of("figures", draft),
        asked=asked.lines("figures"),
        lead=note or f"What {draft.file.name} shows, as described. Nothing is sent yet.",
        problems=tuple(problem_words(p) for p in problems),
        heads=tuple(_value(reduction, name) for name in _so_far(reduction)) if reduction else (),
        findings=show_findings(reduction.findings) if reduction else (),
        load=show_load(reduction),
        trace=_trace(reduction),
        figures=tuple(_value(reduction, name) for name in MetricName if name in reduction.metrics)
        if reduction
        else (),
        what_happens=_CORRECTION
        if draft.run_id is not None
        else _what_happens(holds=holds, is_at_once=is_at_once, first_run_waits=first_run_waits),
        can_send=not problems,
        is_visitor=tester.is_visitor,
        corrects_href=f"/runs/{draft.run_id}" if draft.run_id is not None else None,
        asks_consent=not has_consented,
        not_before_min=today().isoformat(),
        sign_up_href=f"/sign-up?next={onward}",
        sign_in_href=f"/sign-in?next={onward}",
        send_text="Send the correction"
        if draft.run_id is not None
        else "Send and publish"
        if is_at_once and not holds and not first_run_waits
        else "Send for review",
        send_href=f"{path}/send",
        discard_href=f"{path}/discard",
        others=tuple(show_draft(one) for one in others[:_MOST_OTHERS]),
    )


def _what_happens(*, holds: bool, is_at_once: bool, first_run_waits: bool) -> str:
    if holds:
        return "A finding holds this run back: sent, it waits until a maintainer has looked at it."
    if not is_at_once:
        return "Sent, it waits until a maintainer has looked at it; you see it under My bench."
    if first_run_waits:
        return (
            "No finding holds this run back: sent, it is published at once, unless it is the first "
            "of its appliance, which a maintainer looks at."
        )
    return "No finding holds this run back: sent, it is published at once."


def _trace(reduction: Reduction | None) -> FigureShown | None:
    if reduction is None or reduction.trace is None:
        return None
    return show_figure(run_trace(reduction.trace, reduction.segments))
