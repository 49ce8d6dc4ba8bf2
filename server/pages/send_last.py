"""The last step of sending a run: all figures, then sending, or throwing the draft away."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.discard_draft import discard_draft
from server.actions.not_before import read_not_before
from server.actions.record_consent import DATA_LICENCE, consent_of, record_consent
from server.actions.standing import has_good_standing
from server.dependencies import Drafter, ReadSession, Writer, WriteSession
from server.pages.drafting import AfterPrepared, Opened, Posted, Prepared, Whole
from server.pages.request import site_of
from server.pages.send_asked import asked_of
from server.pages.send_figures import figures_page
from server.pages.send_typed import TypedKept
from server.pages.templating import render
from server.sign_in import FORM_FIELD, check_form
from server.store.drafts import list_drafts

router = APIRouter(route_class=TypedKept)


@router.get("/send/{draft_id}/figures")
def figures(
    request: Request, tester: Drafter, opened: Opened, whole: Whole, session: ReadSession
) -> Response:
    rule = request.app.state.settings.publishing_rule
    page = figures_page(
        opened.draft,
        reduction=whole.reduction,
        note=whole.note,
        problems=[*opened.problems, *whole.problems],
        asked=asked_of(session, opened.draft),
        tester=tester,
        has_consented=tester.is_visitor or consent_of(session, tester=tester).is_given,
        is_at_once=has_good_standing(session, tester_id=tester.id, rule=rule),
        first_run_waits=rule.first_run_waits,
        others=[d for d in list_drafts(session, tester=tester)
                if d.public_id != opened.draft.public_id],
    )  # fmt: skip
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
    not_before = read_not_before(posted.get("not_before"))
    if posted.get("consent") == "yes":
        makers = [one for one in (posted.get("ties") or "").split(",") if one.strip()]
        record_consent(session, tester=tester, licence=DATA_LICENCE, ties=makers)
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
        reason=posted.get("reason", ""),
        not_before=not_before,
        rule=request.app.state.settings.publishing_rule,
    )
    return RedirectResponse(f"/runs/{done.public_id}", status_code=303)
