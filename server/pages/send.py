"""Routes of sending a run: each step posts, is kept, and leads on. Nothing typed is ever lost."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.discard_draft import discard_draft
from server.actions.save_draft import save_draft
from server.dependencies import Drafter, ReadSession, Viewer, Writer, WriteSession
from server.errors import NotFound, Problem
from server.model.recording import LogPreview
from server.model.views import CatalogueFilter, Tester
from server.pages.drafting import (
    LINES,
    AfterPrepared,
    Looked,
    Opened,
    Posted,
    Prepared,
    Quick,
    Whole,
)
from server.pages.request import site_of
from server.pages.send_figures import figures_page, so_far_of
from server.pages.send_file import KeptFile
from server.pages.send_form import guessed_fields, kept_fields
from server.pages.send_pages import appliance_step, columns_page, rig_step, send_page
from server.pages.shapes import Option
from server.pages.templating import render
from server.sign_in import FORM_FIELD, check_form, start_visit
from server.store.catalogue import list_catalogue
from server.store.drafts import list_drafts
from server.store.people import tester_for_session
from server.store.rigs import last_columns, list_rigs
from server.store.specimens import list_specimens

router = APIRouter()
_ORDER = ("columns", "appliance", "rig", "figures")
_N_FOUND = 12


@router.get("/send")
def start(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    drafts = list_drafts(session, tester=viewer) if viewer is not None else ()
    page = send_page(
        is_signed_in=viewer is not None and not viewer.is_visitor,
        drafts=drafts,
        max_bytes=request.app.state.settings.max_upload_bytes,
    )
    return render(request, "send.html", page, site=site_of(request, viewer))


@router.post("/send")
def receive(request: Request, viewer: Viewer, kept: KeptFile, session: WriteSession) -> Response:
    """Keep a file as a draft. Who has no account gets a private place for a day."""
    response = RedirectResponse("/send", status_code=303)
    tester = viewer or _visitor(session, key=start_visit(request, response, session))
    form = {LINES: str(kept.n_lines), **kept.form}
    draft = save_draft(session, tester=tester, form=form, upload=kept.upload)
    response.headers["location"] = f"/send/{draft.public_id}/columns"
    return response


def _visitor(session: WriteSession, *, key: str) -> Tester:
    visitor = tester_for_session(session, key=key)
    assert visitor is not None  # it has just been made in this transaction
    return visitor


@router.get("/send/{draft_id}")
def resume(draft_id: str) -> Response:
    return RedirectResponse(f"/send/{draft_id}/columns", status_code=303)


@router.get("/send/{draft_id}/columns")
def columns(
    request: Request,
    tester: Drafter,
    opened: Opened,
    looked: Looked,
    quick: Quick,
    session: ReadSession,
) -> Response:
    """The column check. A file whose headers the newest rig has met is read as it was then."""
    form = {**opened.form}
    if not any(name.startswith("column.") for name in form):
        form |= _as_last_time(session, tester=tester, guessed=looked.guessed)
    page = columns_page(
        opened.draft,
        preview=looked.chosen,
        form=form,
        so_far=so_far_of(quick.reduction, quick.note),
        problems=[*_about(opened.problems, "columns"), *(looked.problems or quick_log(quick))],
    )
    return render(request, "send_columns.html", page, site=site_of(request, tester))


@router.post("/send/{draft_id}/columns")
def keep_columns(
    request: Request,
    draft_id: str,
    tester: Drafter,
    posted: Posted,
    opened: Opened,
    looked: Looked,
    session: WriteSession,
) -> Response:
    """Keep the columns as posted, with the guess beside them: what differs is the sender's word."""
    check_form(request, posted.get(FORM_FIELD))
    form = {**opened.form, **kept_fields(posted), **guessed_fields(looked.guessed.columns)}
    save_draft(session, tester=tester, form=form, draft_id=draft_id)
    return _onward(draft_id, "columns", posted)


def quick_log(quick: Quick) -> list[Problem]:
    """What the log's reading stumbled over; an appliance not yet named is a later step's matter."""
    return [p for p in quick.problems if not (p.field or "").startswith("appliance")]


def _about(problems: tuple[Problem, ...], *sections: str) -> list[Problem]:
    return [p for p in problems if (p.field or "").startswith(sections)]


def _as_last_time(session: ReadSession, *, tester: Tester, guessed: LogPreview) -> dict[str, str]:
    rigs = list_rigs(session, tester=tester)
    choices = last_columns(session, public_id=rigs[0].public_id) if rigs else ()
    headers = [column.header for column in guessed.columns]
    if not choices or sorted(c.header for c in choices) != sorted(headers):
        return {}
    by_header = {choice.header: choice for choice in choices}
    fields = {}
    for column in guessed.columns:
        choice = by_header[column.header]
        fields[f"column.{column.position}.channel"] = choice.channel or ""
        fields[f"column.{column.position}.unit"] = choice.unit or ""
    return fields


@router.get("/send/{draft_id}/appliance")
def appliance(
    request: Request, tester: Drafter, opened: Opened, quick: Quick, session: ReadSession
) -> Response:
    form = opened.form
    picked = opened.picked("appliance")
    text = form.get("find", "").strip()
    wanted = CatalogueFilter(text=text, limit=_N_FOUND)
    rows = list_catalogue(session, filters=wanted).items if text else ()
    found = [Option(r.public_id, f"{r.maker} {r.model}, {r.category}") for r in rows]
    if picked and picked not in {option.value for option in found}:
        found.insert(0, Option(picked, _picked_name(session, picked)))
    specimens = [
        Option(s.public_id, s.content.label or f"piece {s.public_id}")
        for s in (list_specimens(session, appliance_id=picked, tester=tester) if picked else ())
    ]
    sections = ("appliance", "plate", "claim", "specimen")
    page = appliance_step(
        opened.draft,
        form=form,
        found=found,
        specimens=specimens,
        so_far=so_far_of(quick.reduction, quick.note),
        problems=_about(opened.problems, *sections),
    )
    return render(request, "send_fields.html", page, site=site_of(request, tester))


def _picked_name(session: ReadSession, public_id: str) -> str:
    from server.store.compare import compare_views

    try:
        (view,) = compare_views(session, public_ids=[public_id], viewer=None)
    except NotFound:
        return f"{public_id}, which is not in the catalogue any more"
    return f"{view.appliance.content.maker} {view.appliance.content.model}"


@router.get("/send/{draft_id}/rig")
def rig(
    request: Request, tester: Drafter, opened: Opened, quick: Quick, session: ReadSession
) -> Response:
    rigs = [
        Option(r.public_id, r.content.name or f"rig {r.public_id}")
        for r in list_rigs(session, tester=tester)
    ]
    page = rig_step(
        opened.draft,
        form=opened.form,
        rigs=rigs,
        so_far=so_far_of(quick.reduction, quick.note),
        problems=_about(opened.problems, "rig", "run", "instrument"),
    )
    return render(request, "send_fields.html", page, site=site_of(request, tester))


@router.get("/send/{draft_id}/figures")
def figures(request: Request, tester: Drafter, opened: Opened, whole: Whole) -> Response:
    page = figures_page(
        opened.draft,
        reduction=whole.reduction,
        note=whole.note,
        problems=[*opened.problems, *whole.problems],
    )
    return render(request, "send_figures.html", page, site=site_of(request, tester))


@router.post("/send/{draft_id}/discard")
def discard(
    request: Request, draft_id: str, tester: Drafter, posted: Posted, session: WriteSession
) -> Response:
    check_form(request, posted.get(FORM_FIELD))
    discard_draft(session, draft_id=draft_id, tester=tester)
    return RedirectResponse("/send", status_code=303)


@router.post("/send/{draft_id}/send")
def send(
    request: Request,
    draft_id: str,
    tester: Writer,
    posted: Posted,
    opened: Opened,
    prepared: Prepared,
    session: AfterPrepared,
) -> Response:
    from server.actions.submit_draft import submit_draft

    check_form(request, posted.get(FORM_FIELD))
    if opened.problems:
        return RedirectResponse(f"/send/{draft_id}/figures", status_code=303)
    done = submit_draft(
        session,
        draft_id=draft_id,
        prepared=prepared.prepared,
        upload=prepared.upload,
        bench=opened.bench,
        tester=tester,
        appliance_id=opened.picked("appliance"),
        specimen_id=opened.picked("specimen"),
        rig_id=opened.picked("rig"),
        rule=request.app.state.settings.publishing_rule,
    )
    return RedirectResponse(f"/runs/{done.public_id}", status_code=303)


@router.post("/send/{draft_id}/{step}")
def keep(
    request: Request,
    draft_id: str,
    step: str,
    tester: Drafter,
    posted: Posted,
    opened: Opened,
    session: WriteSession,
) -> Response:
    """Keep what a step posted, over what was kept before, and go on if asked to."""
    check_form(request, posted.get(FORM_FIELD))
    if step not in _ORDER[:-1]:
        raise NotFound("There is no such step.")
    form = {**opened.form, **kept_fields(posted)}
    save_draft(session, tester=tester, form=form, draft_id=draft_id)
    return _onward(draft_id, step, posted)


def _onward(draft_id: str, step: str, posted: Posted) -> Response:
    goes_on = posted.get("act") == "next"
    to = _ORDER[_ORDER.index(step) + 1] if goes_on else step
    return RedirectResponse(f"/send/{draft_id}/{to}", status_code=303)
