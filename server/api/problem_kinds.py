"""What the `type` of a problem document leads to."""

from server.api.openapi import api_router, refusals
from server.api.shapes import ListOut, Out
from server.errors import NotFound
from server.problems.kinds import KINDS, KINDS_ADDRESS, ProblemKind

router = api_router(tags=["problems"])


class ProblemKindOut(Out):
    type: str
    status: int
    title: str
    meaning: str


def _out(kind: ProblemKind) -> ProblemKindOut:
    return ProblemKindOut(
        type=f"{KINDS_ADDRESS}/{kind.word}",
        status=kind.status,
        title=kind.title,
        meaning=kind.meaning,
    )


@router.get("/problems")
def list_problem_kinds() -> ListOut[ProblemKindOut]:
    """Every sort of refusal."""
    return ListOut(items=[_out(kind) for kind in KINDS.values()])


@router.get("/problems/{word}", responses=refusals(404))
def read_problem_kind(word: str) -> ProblemKindOut:
    """One sort of refusal."""
    if word not in KINDS:
        raise NotFound(f"No problem is called “{word[:60]}”.")
    return _out(KINDS[word])
