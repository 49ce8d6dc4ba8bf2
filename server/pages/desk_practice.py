"""Practice cases: look, decide, and read why. Nothing is stored."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.dependencies import Maintainer
from server.errors import NotFound
from server.pages.practice_cases import BY_WORD, CASES, Decision, PracticeCase
from server.pages.request import site_of
from server.pages.rows import show_findings
from server.pages.shapes import FindingShown, Head, Link, Option, Value
from server.pages.templating import render

router = APIRouter(prefix="/desk/practice")
_WORDS = {
    Decision.PUBLISH: "Publish it",
    Decision.RETURN: "Return it",
    Decision.WITHDRAW: "Withdraw it",
    Decision.MERGE: "Merge first, then decide",
}


@dataclass(frozen=True, slots=True)
class PracticePage:
    head: Head
    cases: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class PracticeCasePage:
    head: Head
    title: str
    seen: tuple[Value, ...]
    findings: tuple[FindingShown, ...]
    story: str
    choices: tuple[Option, ...]
    verdict: str | None
    why: str
    how: str
    next: Link


@router.get("")
def practice(request: Request, maintainer: Maintainer) -> Response:
    page = PracticePage(
        head=_head("Practice cases", "/desk/practice"),
        cases=tuple(Link(case.title, f"/desk/practice/{case.word}") for case in CASES),
    )
    return render(request, "desk_practice.html", page, site=site_of(request, maintainer))


@router.get("/{case_word}")
def practice_case(request: Request, case_word: str, maintainer: Maintainer) -> Response:
    case = BY_WORD.get(case_word)
    if case is None:
        raise NotFound("There is no such practice case.")
    chosen = request.query_params.get("decision")
    decision = Decision(chosen) if chosen in set(Decision) else None
    page = practice_page(case, decision)
    return render(request, "desk_practice_case.html", page, site=site_of(request, maintainer))


def practice_page(case: PracticeCase, decision: Decision | None) -> PracticeCasePage:
    after = CASES[(CASES.index(case) + 1) % len(CASES)]
    return PracticeCasePage(
        head=_head(case.title, f"/desk/practice/{case.word}"),
        title=case.title,
        seen=tuple(Value(label, text) for label, text in case.seen),
        findings=show_findings(case.findings),
        story=case.story,
        choices=tuple(Option(one.value, _WORDS[one], one is decision) for one in Decision),
        verdict=_verdict(case, decision),
        why=case.why,
        how=case.how,
        next=Link(after.title, f"/desk/practice/{after.word}"),
    )


def _verdict(case: PracticeCase, decision: Decision | None) -> str | None:
    if decision is None:
        return None
    if decision in case.right:
        return f"{_WORDS[decision]}: so would an experienced maintainer."
    better = " or ".join(_WORDS[one].lower() for one in Decision if one in case.right)
    return f"{_WORDS[decision]}: look once more. Better: {better}."


def _head(title: str, path: str) -> Head:
    return Head(
        title=f"Practice: {title}", description=title, path=path, section="desk", is_indexed=False
    )
