"""Routes of a run on the desk: its case, and each decision as a form that is posted."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from server.actions.compare_with_similar import compare_with_similar
from server.actions.decide_run import (
    give_back_run,
    look_over_run,
    publish_run,
    return_run,
    take_down_run,
    take_run,
)
from server.actions.retry_run import retry_run
from server.actions.view_case import view_case
from server.dependencies import Maintainer, ReadSession, WriteSession
from server.dependencies.posted import CheckedForm, FormFields
from server.errors import Conflict, InvalidInput
from server.model.moderation import RemarkSent
from server.model.similar import SimilarFigure
from server.model.views import Tester
from server.pages.desk import done_text
from server.pages.desk_parts import problem_texts
from server.pages.desk_run import N_REMARKS, Typed, case_page
from server.pages.request import site_of
from server.pages.templating import render
from server.store.run_revisions import run_revisions

router = APIRouter(prefix="/desk/runs")
Act = Callable[[Session, str, Tester, FormFields], None]


def _publish(session: Session, run_id: str, who: Tester, form: FormFields) -> None:
    version, note = form.number("version"), form.get("reason", "")
    publish_run(session, public_id=run_id, version=version, maintainer=who, note=note)


def _return(session: Session, run_id: str, who: Tester, form: FormFields) -> None:
    return_run(
        session,
        public_id=run_id,
        version=form.number("version"),
        maintainer=who,
        reason=form.get("reason", ""),
        remarks=remarks_sent(form),
    )


def _withdraw(session: Session, run_id: str, who: Tester, form: FormFields) -> None:
    version, reason = form.number("version"), form.get("reason", "")
    take_down_run(session, public_id=run_id, version=version, maintainer=who, reason=reason)


def _look(session: Session, run_id: str, who: Tester, form: FormFields) -> None:
    look_over_run(session, public_id=run_id, version=form.number("version"), maintainer=who)


def _retry(session: Session, run_id: str, who: Tester, form: FormFields) -> None:
    retry_run(session, public_id=run_id, version=form.number("version"), maintainer=who)


def _take(session: Session, run_id: str, who: Tester, form: FormFields) -> None:
    take_run(session, public_id=run_id, maintainer=who, is_over=form.get("over") == "yes")


def _give_back(session: Session, run_id: str, who: Tester, _form: FormFields) -> None:
    give_back_run(session, public_id=run_id, maintainer=who)


def remarks_sent(form: FormFields) -> tuple[RemarkSent, ...]:
    """The remarks of a form; a line without text is none, one without a field is of the run."""
    found = []
    for number in range(1, N_REMARKS + 1):
        text = form.get(f"text-{number}", "").strip()
        if text:
            found.append(RemarkSent(form.get(f"field-{number}") or "run", text))
    return tuple(found)


@router.get("/{public_id}")
def case(
    request: Request, public_id: str, session: ReadSession, maintainer: Maintainer
) -> Response:
    done = done_text(session, request.query_params.get("done"), maintainer)
    return _shown(request, session, public_id, maintainer, done=done)


@router.post("/{public_id}/publish")
def publish(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    return _decide(request, session, public_id, who, form, _publish)


@router.post("/{public_id}/return")
def send_back(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    return _decide(request, session, public_id, who, form, _return)


@router.post("/{public_id}/withdraw")
def take_down(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    return _decide(request, session, public_id, who, form, _withdraw)


@router.post("/{public_id}/look")
def look_over(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    return _decide(request, session, public_id, who, form, _look)


@router.post("/{public_id}/retry")
def try_again(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    return _decide(request, session, public_id, who, form, _retry, stays=True)


@router.post("/{public_id}/take")
def take_it(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    return _decide(request, session, public_id, who, form, _take, stays=True)


@router.post("/{public_id}/give-back")
def give_it_back(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    return _decide(request, session, public_id, who, form, _give_back, stays=True)


def _decide(
    request: Request,
    session: Session,
    run_id: str,
    who: Tester,
    form: FormFields,
    act: Act,
    *,
    stays: bool = False,
) -> Response:
    """Act, then on to the next case. What can't be done is told on the case, nothing typed lost."""
    try:
        with session.begin_nested():
            act(session, run_id, who, form)
    except InvalidInput as refusal:
        return _shown(
            request,
            session,
            run_id,
            who,
            status=422,
            typed=Typed(None, problem_texts(refusal), form),
        )
    except Conflict as refusal:
        typed = Typed(notice=str(refusal), form=form)
        return _shown(request, session, run_id, who, status=409, typed=typed)
    target = f"/desk/runs/{run_id}" if stays else f"/desk/next?after={run_id}"
    return RedirectResponse(target, status_code=303)


def _shown(
    request: Request, session: Session, run_id: str, who: Tester, *, status: int = 200, **also: Any
) -> Response:
    found = view_case(
        session,
        public_id=run_id,
        maintainer=who,
        rule=request.app.state.settings.publishing_rule,
    )
    reduction = found.view.reduction
    similar: tuple[SimilarFigure, ...] = ()
    if reduction is not None:
        similar = compare_with_similar(
            session, run_id=run_id, kind=reduction.kind, metrics=reduction.metrics
        )
    revisions = run_revisions(session, public_id=run_id, viewer=who)
    page = case_page(found, similar=similar, revisions=revisions, **also)
    return render(request, "desk_run.html", page, status=status, site=site_of(request, who))
