"""The revisions of a run: what it said before each correction, and the figures that it gave."""

from datetime import datetime
from typing import Annotated, Any

from fastapi import Path, Request, Response
from pydantic import BeforeValidator, Field

from server.api import outs
from server.api.conditional import answer
from server.api.openapi import api_router
from server.api.run_shapes import FindingOut, NamedMetricOut
from server.api.shapes import ListOut, Out, PublicId
from server.dependencies import ReadSession, Viewer
from server.errors import NotFound
from server.store.run_revisions import RunRevision, run_revisions
from server.store.versions import version_number
from server.wording.contract import finding_to_json

router = api_router("/runs/{run_id}/revisions", tags=["runs"], refused=(401, 404))

Number = Annotated[
    int,
    BeforeValidator(version_number),
    Path(ge=1, description="Which revision, from 1 as first sent", examples=[1]),
]


class RevisionOut(Out):
    """One revision of a run."""

    number: int
    page: str
    created_at: datetime
    reason: str | None = Field(None, description="Why it was made; null for the first")
    is_current: bool
    was_published: bool
    file_name: str


class WholeRevisionOut(RevisionOut):
    """One revision with all that it says and showed."""

    bench: dict[str, Any] = Field(description="The bench file's shape")
    metrics: list[NamedMetricOut]
    findings: list[FindingOut]


@router.get("", response_model=ListOut[RevisionOut])
def list_run_revisions(
    request: Request, session: ReadSession, viewer: Viewer, run_id: PublicId
) -> Response:
    """The revisions that the asker may see, the newest first."""
    found = run_revisions(session, public_id=run_id, viewer=viewer)
    items = [RevisionOut(**_brief(one)) for one in found]
    return answer(request, ListOut[RevisionOut](items=items), is_own=viewer is not None)


@router.get("/{number}", response_model=WholeRevisionOut)
def read_run_revision(
    request: Request, session: ReadSession, viewer: Viewer, run_id: PublicId, number: Number
) -> Response:
    """What one revision said, and the figures and findings it gave last."""
    from server.intake import bench_to_mapping

    for one in run_revisions(session, public_id=run_id, viewer=viewer):
        if one.number == number:
            break
    else:
        raise NotFound(f"There is no revision {number} of run {run_id} to see.")
    shown = WholeRevisionOut(
        **_brief(one),
        bench=bench_to_mapping(one.bench),
        metrics=[
            NamedMetricOut(name=name.value, **outs.metric(metric).model_dump())
            for name, metric in one.metrics.items()
        ],
        findings=[FindingOut.model_validate(finding_to_json(f)) for f in one.findings],
    )
    return answer(request, shown, is_own=viewer is not None)


def _brief(one: RunRevision) -> dict[str, Any]:
    return {
        "number": one.number,
        "page": f"{outs.run_page(one.run_id)}/revisions/{one.number}",
        "created_at": one.created_at,
        "reason": one.reason,
        "is_current": one.is_current,
        "was_published": one.was_published,
        "file_name": one.file.name,
    }
