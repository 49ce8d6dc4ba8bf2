"""The steps of sending a run: each posts, is kept, and leads on. Nothing typed is ever lost."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.save_draft import save_draft
from server.dependencies import Drafter, ReadSession, WriteSession
from server.errors import NotFound, Problem
from server.model.recording import LogPreview
from server.model.views import Tester
from server.pages.drafting import LINES, Looked, Opened, Posted, Quick, Shortened, Unreadable
from server.pages.photo_shapes import DraftPhotos, draft_photos
from server.pages.request import site_of
from server.pages.send_asked import asked_of
from server.pages.send_columns import columns_page
from server.pages.send_figures import so_far_of
from server.pages.send_form import guessed_fields, kept_fields
from server.pages.send_pages import appliance_step, rig_step
from server.pages.send_picks import appliance_options, rig_options, specimen_options
from server.pages.send_prefill import rig_fields
from server.pages.send_typed import TypedKept
from server.pages.templating import render
from server.sign_in import FORM_FIELD, check_form
from server.store.photos import photos_of_draft
from server.store.rigs import last_columns, list_rigs, rig_view

router = APIRouter(route_class=TypedKept)
_ORDER = ("columns", "appliance", "rig", "figures")


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
        form |= _as_last_time(session, tester=tester, form=form, guessed=looked.guessed)
    page = columns_page(
        opened.draft,
        preview=looked.chosen,
        form=form,
        so_far=so_far_of(quick.reduction, quick.note),
        problems=[*_about(opened.problems, "columns"), *(looked.problems or quick_log(quick))],
        asked=asked_of(session, opened.draft),
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
    shortened: Shortened,
    session: WriteSession,
) -> Response:
    """Keep the columns as posted, with the guess beside them: what differs is the sender's word."""
    kept = kept_fields(posted)
    form = {**opened.form, **kept, **guessed_fields(looked.guessed.columns)}
    if kept.get("run.sheet", "") != opened.form.get("run.sheet", kept.get("run.sheet", "")):
        # Another sheet has columns of its own; what was said of the other's means nothing there.
        form = {name: value for name, value in form.items() if not name.startswith("column.")}
    upload = None
    if shortened is not None:
        upload, n_lines = shortened
        form[LINES] = str(n_lines)
        form.pop("run.sheet", None)
    save_draft(session, tester=tester, form=form, upload=upload, draft_id=draft_id)
    return _onward(draft_id, "columns", posted)


def quick_log(quick: Quick) -> list[Problem]:
    """What the log's reading stumbled over; an appliance not yet named is a later step's matter."""
    return [p for p in quick.problems if not (p.field or "").startswith("appliance")]


def _about(problems: tuple[Problem, ...], *sections: str) -> list[Problem]:
    return [p for p in problems if (p.field or "").startswith(sections)]


def _as_last_time(
    session: ReadSession, *, tester: Tester, form: dict[str, str], guessed: LogPreview
) -> dict[str, str]:
    rigs = list_rigs(session, tester=tester)
    picked = form.get("pick.rig") or (rigs[0].public_id if rigs else "")
    choices = last_columns(session, public_id=picked) if picked else ()
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
    options = appliance_options(session, form=form, tester=tester)
    sections = ("appliance", "plate", "claim", "specimen")
    page = appliance_step(
        opened.draft,
        form=form,
        found=options.found,
        near=options.near,
        specimens=specimen_options(session, picked=opened.picked("appliance"), tester=tester),
        so_far=so_far_of(quick.reduction, quick.note),
        problems=_about(opened.problems, *sections),
        asked=asked_of(session, opened.draft),
        photos=_photos(session, opened, "plate", tester),
    )
    return render(request, "send_fields.html", page, site=site_of(request, tester))


@router.get("/send/{draft_id}/rig")
def rig(
    request: Request, tester: Drafter, opened: Opened, quick: Quick, session: ReadSession
) -> Response:
    page = rig_step(
        opened.draft,
        form=opened.form,
        rigs=rig_options(session, tester=tester),
        so_far=so_far_of(quick.reduction, quick.note),
        problems=_about(opened.problems, "rig", "run", "instrument"),
        asked=asked_of(session, opened.draft),
        photos=_photos(session, opened, "rig", tester),
    )
    return render(request, "send_fields.html", page, site=site_of(request, tester))


def _photos(session: ReadSession, opened: Opened, subject: str, tester: Tester) -> DraftPhotos:
    draft_id = opened.draft.public_id
    found = photos_of_draft(session, draft_id=draft_id, tester=tester)
    return draft_photos(found, draft_id=draft_id, subject=subject)


@router.post("/send/{draft_id}/{step}")
def keep(
    request: Request,
    draft_id: str,
    step: str,
    tester: Drafter,
    posted: Posted,
    opened: Opened,
    unreadable: Unreadable,
    session: WriteSession,
) -> Response:
    """Keep what a step posted, over what was kept before, and go on if asked to.

    Where something typed can't be read the step is shown again, with what is wrong beside it.
    """
    check_form(request, posted.get(FORM_FIELD))
    if step not in _ORDER[:-1]:
        raise NotFound("There is no such step.")
    form = {**opened.form, **kept_fields(posted)}
    if posted.get("act") == "copy" and step == "rig":
        form = _with_copied_rig(session, form, tester=tester)
    save_draft(session, tester=tester, form=form, draft_id=draft_id)
    return _onward(draft_id, step, posted, stays=bool(unreadable))


def _with_copied_rig(
    session: WriteSession, form: dict[str, str], *, tester: Tester
) -> dict[str, str]:
    """The picked rig's description in the fields of a new one, to be changed there.

    Sent under the same name it becomes a revision of that rig; runs keep the one they were sent
    with.
    """
    own = {rig.public_id for rig in list_rigs(session, tester=tester)}
    picked = form.get("pick.rig", "")
    if picked not in own:
        return form
    described = rig_fields(rig_view(session, public_id=picked).content)
    kept = {n: v for n, v in form.items() if not n.startswith(("rig.", "instrument."))}
    return {**kept, **described, "pick.rig": ""}


def _onward(draft_id: str, step: str, posted: Posted, *, stays: bool = False) -> Response:
    goes_on = posted.get("act") == "next" and not stays
    to = _ORDER[_ORDER.index(step) + 1] if goes_on else step
    return RedirectResponse(f"/send/{draft_id}/{to}", status_code=303)
