"""One version of a run's figures beside those the run shows today."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.actions.compare_figures import Metrics, pair_figures
from server.actions.view_version import VersionView, view_version
from server.dependencies import ReadSession, Viewer
from server.model.changes import RunVersion
from server.model.measured import Metric
from server.model.views import RunView
from server.model.words import MetricName
from server.pages.methods import method_links
from server.pages.request import site_of
from server.pages.rows import figure_path, show_findings, version_link, version_path
from server.pages.shapes import FindingShown, Head, Link, Value
from server.pages.templating import render
from server.store.versions import run_versions, version_number
from server.wording.changes import move_text
from server.wording.counts import show_date, show_moment
from server.wording.figures import metric_label, show_metric
from server.wording.labels import kind_word

router = APIRouter()


@dataclass(frozen=True, slots=True)
class FigureThenNow:
    """A figure of both versions; a reason stands where there is no value."""

    label: str
    then: str
    is_then_missing: bool
    now: str
    is_now_missing: bool
    href: str | None
    moved: str


@dataclass(frozen=True, slots=True)
class VersionPage:
    head: Head
    appliance: Link
    run: Link
    title: str
    standing: str
    figures: tuple[FigureThenNow, ...]
    how_counted: tuple[Link, ...]
    methods: tuple[Value, ...]
    findings: tuple[FindingShown, ...]
    others: tuple[Link, ...]
    exports: tuple[Link, ...]


@router.get("/runs/{public_id}/versions/{number}")
def version(
    request: Request, public_id: str, number: str, session: ReadSession, viewer: Viewer
) -> Response:
    view = view_version(session, public_id=public_id, number=version_number(number), viewer=viewer)
    page = version_page(view, run_versions(session, public_id=public_id, viewer=viewer))
    return render(request, "version.html", page, site=site_of(request, viewer))


def version_page(view: VersionView, versions: Sequence[RunVersion]) -> VersionPage:
    """`versions`: all that the reader may see, the newest first."""
    run, shown = view.run, view.then.version
    content = run.appliance.content
    name = f"{content.maker} {content.model}"
    path = f"/runs/{run.public_id}"
    title = f"Figures, version {shown.number}"
    now = run.reduction.metrics if run.reduction is not None else {}
    api = f"/api/v1{version_path(run.public_id, shown.number)}"
    return VersionPage(
        head=Head(
            title=f"{name}: {title}",
            description=f"A run of {name} by method {shown.method_version}, beside today’s.",
            # The run's own page is what a search should find.
            path=path,
            section="appliances",
            json_path=api,
            kind="article",
            is_indexed=False,
        ),
        appliance=Link(name, f"/appliances/{run.appliance.public_id}-{run.appliance.slug}"),
        run=Link(_run_words(run), path),
        title=title,
        standing=_standing(shown),
        figures=_figures(view.then.metrics, now, run.public_id),
        how_counted=method_links(("method-versions", "How versions are counted and compared")),
        methods=_methods(shown, versions),
        findings=show_findings(view.then.findings),
        others=tuple(
            version_link(run.public_id, one) for one in versions if one.number != shown.number
        ),
        exports=(
            Link("This version as JSON", api),
            Link("All versions as JSON", f"/api/v1{path}/versions"),
            Link("The file as it was sent", f"/api/v1{path}/file"),
        ),
    )


def _run_words(run: RunView) -> str:
    when = show_date(run.details.tested_on or run.created_at)
    return f"{kind_word(run.details.kind)} run, {when}, by {run.tester}"


def _standing(shown: RunVersion) -> str:
    if shown.is_current:
        return "These are the figures that the run shows today."
    return "Newer figures of this run exist. These are kept as they were made."


def _figures(then: Metrics, now: Metrics, run_id: str) -> tuple[FigureThenNow, ...]:
    return tuple(
        _row(name, then.get(name), now.get(name), run_id)
        for name in MetricName
        if _has_value(then.get(name)) or _has_value(now.get(name))
    )


def _has_value(metric: Metric | None) -> bool:
    return metric is not None and metric.value is not None


def _row(name: MetricName, then: Metric | None, now: Metric | None, run_id: str) -> FigureThenNow:
    pair = pair_figures(name, then, now)
    old, new = show_metric(pair.before), show_metric(pair.after)
    return FigureThenNow(
        label=metric_label(name),
        then=(old.note or old.text) if old.is_missing else old.text,
        is_then_missing=old.is_missing,
        now=(new.note or new.text) if new.is_missing else new.text,
        is_now_missing=new.is_missing,
        href=None if new.is_missing else figure_path(run_id, name),
        moved=move_text(pair),
    )


def _methods(shown: RunVersion, versions: Sequence[RunVersion]) -> tuple[Value, ...]:
    rows = [_method("Then", shown)]
    rows += [_method("Today", one) for one in versions if one.is_current]
    return tuple(rows)


def _method(label: str, version: RunVersion) -> Value:
    note = f"made on {show_moment(version.made_at)}"
    if not version.was_published:
        note += "; never published, seen by its tester alone"
    return Value(label, version.method_version, note=note, href="/methods")
