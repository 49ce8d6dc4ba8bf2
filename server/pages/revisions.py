"""A revision of a run at its own address, beside another; and where a correction begins."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.compare_figures import compare_figures, pair_figures
from server.actions.correct_run import begin_correction
from server.dependencies import ReadSession, Viewer, Writer, WriteSession
from server.errors import NotFound
from server.model.views import Tester
from server.model.words import MetricName
from server.pages.drafting import LINES, Posted
from server.pages.request import site_of
from server.pages.rows import show_findings
from server.pages.send_fields import label_of
from server.pages.send_prefill import bench_fields, column_fields
from server.pages.send_typed import TypedKept
from server.pages.shapes import FindingShown, Head, Link, Value
from server.pages.templating import render
from server.sign_in import FORM_FIELD, check_form
from server.store.files import StoredUpload, original_path
from server.store.run_revisions import RunRevision, run_revisions
from server.store.versions import version_number
from server.wording.changes import move_text
from server.wording.counts import show_date
from server.wording.figures import metric_label, show_metric

router = APIRouter(route_class=TypedKept)


@dataclass(frozen=True, slots=True)
class Difference:
    """A field or figure that differs. `moved`: in standard uncertainties, for a figure."""

    label: str
    here: str
    there: str
    moved: str = ""


@dataclass(frozen=True, slots=True)
class RevisionPage:
    head: Head
    run: Link
    title: str
    standing: str
    reason: str | None
    beside: str | None
    fields: tuple[Difference, ...]
    figures: tuple[Difference, ...]
    all_figures: tuple[Value, ...]
    all_fields: tuple[Value, ...]
    findings: tuple[FindingShown, ...]
    others: tuple[Link, ...]


@router.get("/runs/{public_id}/revisions/{number}")
def revision(
    request: Request, public_id: str, number: str, session: ReadSession, viewer: Viewer
) -> Response:
    found = run_revisions(session, public_id=public_id, viewer=viewer)
    shown = _numbered(found, version_number(number))
    asked = request.query_params.get("beside")
    beside = _numbered(found, version_number(asked)) if asked else _usual(found, shown)
    page = revision_page(shown, beside=beside, revisions=found)
    return render(request, "revision.html", page, site=site_of(request, viewer))


def _numbered(found: Sequence[RunRevision], number: int) -> RunRevision:
    for one in found:
        if one.number == number:
            return one
    had = ", ".join(str(one.number) for one in reversed(found))
    raise NotFound(f"There is no revision {number} to see. There are {had}.")


def _usual(found: Sequence[RunRevision], shown: RunRevision) -> RunRevision | None:
    """What a revision is set beside unless asked otherwise: the one before it, else the newest."""
    before = [one for one in found if one.number < shown.number]
    newer = [one for one in found if one.number > shown.number]
    return before[0] if before else newer[0] if newer else None


def revision_page(
    shown: RunRevision, *, beside: RunRevision | None, revisions: Sequence[RunRevision]
) -> RevisionPage:
    """`revisions`: all that the reader may see, the newest first."""
    appliance = shown.bench.appliance
    name = f"{appliance.maker} {appliance.model}" if appliance is not None else "a run"
    path = f"/runs/{shown.run_id}"
    title = f"Revision {shown.number} of a run"
    return RevisionPage(
        head=Head(
            title=f"{name}: {title.casefold()}",
            description=f"What revision {shown.number} of a run of {name} said and showed.",
            path=path,
            section="appliances",
            json_path=f"/api/v1{path}/revisions/{shown.number}",
            kind="article",
            is_indexed=False,
        ),
        run=Link(name, path),
        title=title,
        standing=_standing(shown),
        reason=shown.reason,
        beside=f"Revision {beside.number}" if beside is not None else None,
        fields=fields_apart(shown, beside) if beside is not None else (),
        figures=_figures_apart(shown, beside) if beside is not None else (),
        all_figures=tuple(_figure(shown, n) for n in MetricName if _has(shown, n)),
        all_fields=tuple(Value(label_of(n), text) for n, text in said_by(shown).items()),
        findings=show_findings(shown.findings),
        others=tuple(_link(shown, one) for one in revisions if one.number != shown.number),
    )


def _standing(shown: RunRevision) -> str:
    day = show_date(shown.created_at)
    if shown.is_current:
        return f"Sent on {day}. It is what the run says today."
    published = "" if shown.was_published else " It was never published."
    return f"Sent on {day}. A later revision took its place; it is kept as it was.{published}"


def _link(shown: RunRevision, other: RunRevision) -> Link:
    text = f"Beside revision {other.number}, {show_date(other.created_at)}"
    text += ", which the run says today" if other.is_current else ""
    return Link(text, f"/runs/{shown.run_id}/revisions/{shown.number}?beside={other.number}")


def said_by(revision: RunRevision) -> dict[str, str]:
    """All that a revision says, by the names of the forms."""
    columns = {
        f"column “{column.header or column.position + 1}”": " ".join(
            [column.channel.value if column.channel else "kept under its own name",
             column.unit or ""]
        ).strip()
        for column in revision.columns
    }  # fmt: skip
    file = {"file": revision.file.name, "SHA-256 of the file": revision.file.sha256}
    if revision.n_rows:  # none while its figures are made
        file["readings"] = str(revision.n_rows)
    return {**bench_fields(revision.bench), **file, **columns}


def fields_apart(shown: RunRevision, beside: RunRevision) -> tuple[Difference, ...]:
    """Each field that two revisions fill in differently."""
    here, there = said_by(shown), said_by(beside)
    names = [*here, *(name for name in there if name not in here)]
    return tuple(
        Difference(label_of(n), here.get(n, "not stated"), there.get(n, "not stated"))
        for n in names
        if here.get(n) != there.get(n)
    )


def _figures_apart(here: RunRevision, there: RunRevision) -> tuple[Difference, ...]:
    changed = compare_figures(there.metrics, here.metrics)
    rows = []
    for change in changed:
        pair = pair_figures(change.name, change.before, change.after)
        old, new = show_metric(pair.before), show_metric(pair.after)
        if old.is_missing and new.is_missing:
            continue
        rows.append(Difference(metric_label(change.name), new.text, old.text, move_text(pair)))
    return tuple(rows)


def _has(shown: RunRevision, name: MetricName) -> bool:
    return name in shown.metrics and shown.metrics[name].value is not None


def _figure(shown: RunRevision, name: MetricName) -> Value:
    figure = show_metric(shown.metrics[name])
    return Value(metric_label(name), figure.text, note=figure.note)


def published_revision(session: ReadSession, *, public_id: str, viewer: Tester | None) -> Response:
    """Where a reader is led whose run is being corrected: to what was published of it last.

    Raises NotFound where nothing was.
    """
    newest = run_revisions(session, public_id=public_id, viewer=viewer)[0]
    return RedirectResponse(f"/runs/{public_id}/revisions/{newest.number}", status_code=303)


@router.post("/runs/{public_id}/correct")
def correct(
    request: Request, public_id: str, posted: Posted, session: WriteSession, tester: Writer
) -> Response:
    """A draft with what the run says now, to be changed and sent as its next revision."""
    own = run_revisions(session, public_id=public_id, viewer=tester)
    current = next((one for one in own if one.is_current), own[0])
    check_form(request, posted.get(FORM_FIELD))
    # All of it described, nothing picked: what is not changed is found again by what it says.
    form = {
        LINES: str(current.n_rows),
        **bench_fields(current.bench),
        **column_fields(current.columns),
    }
    file = current.file
    kept = original_path(request.app.state.settings.files, file.sha256)
    upload = StoredUpload(file.sha256, file.name, file.n_bytes, kept)
    draft = begin_correction(session, run_id=public_id, tester=tester, form=form, upload=upload)
    return RedirectResponse(f"/send/{draft.public_id}/columns", status_code=303)
