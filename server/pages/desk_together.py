"""Several runs decided at once: first what will happen, then one post, then what came of it."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.decide_runs import (
    BulkAct,
    Done,
    Expected,
    Picked,
    decide_runs,
    preview_decisions,
)
from server.dependencies import Maintainer, ReadSession, WriteSession
from server.dependencies.posted import CheckedForm
from server.errors import InvalidInput
from server.pages.desk_parts import problem_texts
from server.pages.request import site_of
from server.pages.shapes import Head
from server.pages.templating import render
from server.wording.counts import count_of
from server.wording.labels import state_word

router = APIRouter()
_PICKED = re.compile(r"([0-9a-z]{10}):([0-9]{1,9})")
_WORDS = {
    BulkAct.PUBLISH: ("Publish", "is published"),
    BulkAct.RETURN: ("Return", "goes back to its tester"),
    BulkAct.WITHDRAW: ("Withdraw", "leaves every page and figure"),
}


@dataclass(frozen=True, slots=True)
class TogetherRow:
    """`value`: what is posted for it; None where nothing would be done."""

    name: str
    by: str
    href: str
    standing: str
    what: str
    value: str | None
    is_refused: bool


@dataclass(frozen=True, slots=True)
class TogetherPage:
    head: Head
    title: str
    act: str
    rows: tuple[TogetherRow, ...]
    needs_reason: bool
    reason: str
    button: str | None
    problems: tuple[str, ...]
    is_done: bool


@router.get("/desk/together")
def preview(request: Request, session: ReadSession, maintainer: Maintainer) -> Response:
    act = _act(request.query_params.get("act"))
    picked = _picked(request.query_params.getlist("run"))
    if not picked:
        return RedirectResponse("/desk", status_code=303)
    expected = preview_decisions(session, act=act, picked=picked, maintainer=maintainer)
    page = _preview_page(act, expected)
    return render(request, "desk_together.html", page, site=site_of(request, maintainer))


@router.post("/desk/together")
def decide(
    request: Request, session: WriteSession, maintainer: Maintainer, form: CheckedForm
) -> Response:
    act, picked = _act(form.get("act")), _picked(form.all("run"))
    expected = {
        one.picked: one
        for one in preview_decisions(session, act=act, picked=picked, maintainer=maintainer)
    }
    reason = form.text("reason")
    site = site_of(request, maintainer)
    if act is not BulkAct.PUBLISH and len(reason) < 3:
        refusal = InvalidInput("decision", [])
        page = _preview_page(act, expected.values(), refusal, reason=reason)
        return render(request, "desk_together.html", page, status=422, site=site)
    done = decide_runs(session, act=act, picked=picked, reason=reason, maintainer=maintainer)
    page = _done_page(act, done, expected)
    return render(request, "desk_together.html", page, site=site)


def _act(word: str | None) -> BulkAct:
    return BulkAct(word) if word in set(BulkAct) else BulkAct.PUBLISH


def _picked(words: Iterable[str]) -> tuple[Picked, ...]:
    found = (_PICKED.fullmatch(word) for word in dict.fromkeys(words))
    return tuple(Picked(one[1], int(one[2])) for one in found if one is not None)


def _head(title: str) -> Head:
    return Head(
        title=f"Desk: {title}",
        description=title,
        path="/desk/together",
        section="desk",
        is_indexed=False,
    )


def _preview_page(
    act: BulkAct,
    expected: Iterable[Expected],
    refusal: InvalidInput | None = None,
    *,
    reason: str = "",
) -> TogetherPage:
    rows = tuple(_expected_row(act, one) for one in expected)
    n = sum(row.value is not None for row in rows)
    verb = _WORDS[act][0]
    problems: tuple[str, ...] = ()
    if refusal is not None:
        problems = problem_texts(refusal) or ("A reason is needed. Say why, for all of them.",)
    return TogetherPage(
        head=_head("what will happen"),
        title=f"{verb} {count_of(n, 'run')}?".replace("\u00a0", " "),
        act=act.value,
        rows=rows,
        needs_reason=act is not BulkAct.PUBLISH or any(_is_held(one) for one in expected),
        reason=reason,
        button=f"{verb} {count_of(n, 'run')}" if n else None,
        problems=problems,
        is_done=False,
    )


def _is_held(one: Expected) -> bool:
    return one.is_held and one.why_not is None


def _expected_row(act: BulkAct, one: Expected) -> TogetherRow:
    what = one.why_not or f"It {_WORDS[act][1]}."
    if one.why_not is None and one.is_held:
        what = f"A finding holds it back; with a reason it {_WORDS[act][1]}."
    return TogetherRow(
        name=one.name,
        by=one.by,
        href=f"/desk/runs/{one.picked.public_id}",
        standing=f"{state_word(one.state)}, version {one.version}" if one.state else "not there",
        what=what,
        value=f"{one.picked.public_id}:{one.picked.version}" if one.why_not is None else None,
        is_refused=one.why_not is not None,
    )


def _done_page(
    act: BulkAct, done: Sequence[Done], expected: dict[Picked, Expected]
) -> TogetherPage:
    n = sum(one.refused is None for one in done)
    left = count_of(len(done) - n, "run")
    title = f"Done: {count_of(n, 'run')}"
    if n < len(done):
        title += f", {left} left as they were"
    return TogetherPage(
        head=_head("what came of it"),
        title=title.replace("\u00a0", " "),
        act=act.value,
        rows=tuple(
            TogetherRow(
                name=expected[one.picked].name,
                by=expected[one.picked].by,
                href=f"/desk/runs/{one.picked.public_id}",
                standing=state_word(one.state) if one.state is not None else "as it was",
                what=one.refused or f"It {_WORDS[act][1]}.",
                value=None,
                is_refused=one.refused is not None,
            )
            for one in done
        ),
        needs_reason=False,
        reason="",
        button=None,
        problems=(),
        is_done=True,
    )
