"""One figure of a run, followed down: its uncertainty, the fit, the readings, the file's bytes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from server.charts import along_the_load, uncertainty_budget
from server.charts.figure import CurvesPanel, FigureSpec
from server.charts.load import QUANTITIES
from server.errors import NotFound
from server.model.bench import ClaimReading
from server.model.meanings import METRIC_OF_MEANING
from server.model.measured import Metric
from server.model.results import Reduction
from server.model.views import RunView
from server.model.words import FindingCode, MetricName, RunState
from server.pages.methods import method_links
from server.pages.pictures import show_figure
from server.pages.rows import figure_path
from server.pages.run_details import file_values, method_values
from server.pages.shapes import FigureShown, Head, Link, Value
from server.pages.stretches import RestsOn, Stretch, place_of, rests_on
from server.store.file_rows import MOST_COUNTED_BYTES, FileLines, locate_rows
from server.wording.budget import (
    basis_sentence,
    bias_sentence,
    improve_sentence,
    interval_sentence,
    made_by_sentence,
    place_sentence,
)
from server.wording.counts import count_of, show_date, span_of
from server.wording.figures import metric_help, metric_label, show_metric
from server.wording.labels import kind_word
from server.wording.numbers import grouped
from server.wording.verdicts import verdict_of_figure

MOST_BYTES_SHOWN = 4 << 20
N = MetricName
# Where on the load line a figure is read: the curve that fixes the place.
_PLACE_CURVE = {
    N.TORQUE_AT_RATED_CURRENT: "current",
    N.TORQUE_AT_MAX_STEADY_POWER: "shaft_power",
    N.TORQUE_AT_EFFICIENCY_MAX: "efficiency",
}


@dataclass(frozen=True, slots=True)
class StretchShown:
    """A stretch with its lines of the file; `lines` has no address where they are too many."""

    what: str
    when: str
    reading: str
    lines: str
    href: str | None
    bytes: str


@dataclass(frozen=True, slots=True)
class FigurePage:
    head: Head
    appliance: Link
    run: Link
    title: str
    help: str
    text: str
    beside: str | None
    is_missing: bool
    sentences: tuple[str, ...]
    verdicts: tuple[str, ...]
    how_sure: tuple[Link, ...]
    first: str | None
    budget: FigureShown | None
    no_budget: str | None
    fit: FigureShown | None
    fits: tuple[Value, ...]
    rests_on: str
    near: tuple[StretchShown, ...]
    others: tuple[StretchShown, ...]
    no_lines: str | None
    file: tuple[Value, ...]
    method: tuple[Value, ...]
    more: tuple[Link, ...]
    exports: tuple[Link, ...]
    report_href: str | None


def figure_page(
    view: RunView, *, name: str, readings: Sequence[ClaimReading], original: Path
) -> FigurePage:
    """`original`: the run's file as it was sent. Raises NotFound for a figure it does not have."""
    metrics = view.reduction.metrics if view.reduction is not None else {}
    reduction, metric = view.reduction, next((m for n, m in metrics.items() if n == name), None)
    if reduction is None or metric is None:
        raise NotFound(f"Run {view.public_id} has no figure “{name}”.")
    content = view.appliance.content
    typed = readings[0].claim.value_typed if readings else None
    shown = show_metric(metric, like=typed if metric.name.value.startswith("shaft") else None)
    label, run = metric_label(metric.name), f"/runs/{view.public_id}"
    spec = uncertainty_budget(metric)
    behind = rests_on(reduction, metric.name)
    near, others, no_lines = _located(view, behind, original)
    is_public = view.state is RunState.PUBLISHED
    asked = f"run={view.public_id}&figure={metric.name.value}"
    return FigurePage(
        head=Head(
            title=f"{label}: {content.maker} {content.model}",
            description=f"{label}: {shown.text}. {metric_help(metric.name)}",
            path=figure_path(view.public_id, metric.name),
            section="appliances",
            json_path=f"/api/v1{run}/metrics",
            kind="article",
            is_indexed=is_public,
        ),
        appliance=Link(
            f"{content.maker} {content.model}",
            f"/appliances/{view.appliance.public_id}-{view.appliance.slug}",
        ),
        run=Link(_run_words(view), run),
        title=label,
        help=metric_help(metric.name),
        text=shown.text,
        beside=shown.beside,
        is_missing=shown.is_missing,
        sentences=_sentences(metric, is_stale=view.is_stale),
        verdicts=_verdicts(metric.name, readings),
        how_sure=method_links(("uncertainty", "How this is worked out")),
        first=improve_sentence(metric),
        budget=show_figure(spec, explore=False) if spec.panels else None,
        no_budget=None if metric.value is None else spec.empty,
        fit=_fit(reduction, metric) if metric.value is not None else None,
        fits=_fits(reduction, metric.name),
        rests_on=behind.sentence,
        near=near,
        others=others,
        no_lines=no_lines,
        file=file_values(view),
        method=method_values(view),
        more=_more(view.public_id, metrics, metric.name),
        exports=(
            Link("The file as it was sent", f"/api/v1{run}/file"),
            Link("Every figure of this run as JSON", f"/api/v1{run}/metrics"),
            Link("As CSV", f"/api/v1{run}/metrics?format=csv"),
        ),
        report_href=f"/report?{asked}" if is_public else None,
    )


def _run_words(view: RunView) -> str:
    when = show_date(view.details.tested_on or view.created_at)
    return f"{kind_word(view.details.kind)} run, {when}, by {view.tester}"


def _sentences(metric: Metric, *, is_stale: bool) -> tuple[str, ...]:
    if metric.value is None:
        reason = metric.reason or "no reason was kept"
        return (f"This run does not show it: {reason.rstrip('.')}.",)
    found = (
        interval_sentence(metric),
        bias_sentence(metric),
        basis_sentence(metric),
        place_sentence(metric),
        made_by_sentence(metric),
        "It was made with an earlier version of the method." if is_stale else None,
    )
    return tuple(sentence for sentence in found if sentence)


def _verdicts(name: MetricName, readings: Sequence[ClaimReading]) -> tuple[str, ...]:
    wanted = {meaning for meaning, metric in METRIC_OF_MEANING.items() if metric is name}
    return tuple(
        verdict_of_figure(one, reading.claim)
        for reading in readings
        for one in reading.meanings
        if one.meaning in wanted and one.value is not None
    )


def _curves_of(name: MetricName) -> tuple[str, ...]:
    """The curves a figure was read off: the one that fixes the place, and its own."""
    place = place_of(name)
    if place is None:
        return ()
    own = next((q.quantity for q in QUANTITIES if name.value.startswith(q.quantity)), "")
    return tuple(dict.fromkeys(q for q in (_PLACE_CURVE[place], own) if q))


def _fit(reduction: Reduction, metric: Metric) -> FigureShown | None:
    spec = along_the_load(reduction, figure_id="fit")
    labels = {q.label for q in QUANTITIES if q.quantity in _curves_of(metric.name)}
    panels = tuple(
        p for p in spec.panels if isinstance(p, CurvesPanel) and p.y.label in labels and p.lines
    )
    if not panels:
        return None
    return show_figure(_narrowed(spec, panels, len(reduction.points)))


def _narrowed(spec: FigureSpec, panels: tuple[CurvesPanel, ...], n_points: int) -> FigureSpec:
    what = " and ".join(panel.y.label for panel in panels)
    sentence = (
        f"{what.capitalize()} over torque: {count_of(n_points, 'measured load')}, the fitted "
        "curve and its 95 % band."
    )
    return replace(spec, panels=panels, title="The fit it is read off", sentence=sentence)


def _fits(reduction: Reduction, name: MetricName) -> tuple[Value, ...]:
    wanted = _curves_of(name)
    return tuple(
        Value(curve.quantity.replace("_", " ").capitalize(), curve.fit)
        for curve in reduction.curves
        if curve.quantity in wanted
    )


def _more(run_id: str, metrics: Mapping[MetricName, Metric], own: MetricName) -> tuple[Link, ...]:
    return tuple(
        Link(metric_label(name), figure_path(run_id, name))
        for name, metric in metrics.items()
        if name is not own and metric.value is not None
    )


def _located(
    view: RunView, behind: RestsOn, original: Path
) -> tuple[tuple[StretchShown, ...], tuple[StretchShown, ...], str | None]:
    """The stretches with their lines and bytes, and why these can't be told."""
    both = (*behind.near, *behind.others)
    spans = [s.rows for s in both if s.rows is not None]
    why = _why_no_lines(view, original)
    lines = None
    if why is None and spans:
        lines = locate_rows(original, dialect=view.dialect, n_rows=view.n_rows, spans=spans)
        if lines is None:
            why = (
                "Some lines of the file were not taken in as readings, so rows are counted as "
                "they were read."
            )
    places = dict(zip(spans, lines or (), strict=False))
    shown = tuple(_shown(s, places.get(s.rows) if s.rows else None, view) for s in both)
    n_near = len(behind.near)
    return shown[:n_near], shown[n_near:], why


def _why_no_lines(view: RunView, original: Path) -> str | None:
    if not original.is_file():
        return "The file is not here any more; rows are counted as they were read."
    if view.file.n_bytes > MOST_COUNTED_BYTES:
        return "The file is too large to count its lines on request; rows are counted as read."
    findings = view.reduction.findings if view.reduction is not None else ()
    for finding in findings:
        moved = ("n_moved", "n_repeated", "n_without_time")
        is_disordered = finding.code is FindingCode.TIME_DISORDERED
        if is_disordered and any(finding.evidence.get(word) for word in moved):
            return "Rows were put in order of time; they are counted in that order."
    return None


def _shown(stretch: Stretch, place: FileLines | None, view: RunView) -> StretchShown:
    lines, href, size = "", None, ""
    if place is not None:
        first, last = place.first_line, place.last_line
        lines = span_of("line", first, last)
        if place.end_byte - place.first_byte <= MOST_BYTES_SHOWN:
            href = f"/runs/{view.public_id}/file?rows={first}-{last}"
        size = f"{grouped(str(place.first_byte))} to {grouped(str(place.end_byte - 1))}"
    elif stretch.rows is not None:
        first, last = stretch.rows
        lines = span_of("row", first + 1, last + 1)
    return StretchShown(stretch.what, stretch.when, stretch.reading, lines, href, size)
