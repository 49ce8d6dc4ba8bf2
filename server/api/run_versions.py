"""The versions of a run's figures: recomputing adds one, and each stays at its address."""

from typing import Annotated

from fastapi import Path, Request, Response
from pydantic import BeforeValidator

from server.actions.view_version import view_version
from server.api import outs
from server.api.conditional import answer
from server.api.openapi import api_router
from server.api.run_shapes import FindingOut, NamedMetricOut, VersionFiguresOut, VersionOut
from server.api.shapes import ListOut, PublicId
from server.dependencies import ReadSession, Viewer
from server.model.changes import RunVersion
from server.store.versions import run_versions, version_number
from server.wording.contract import finding_to_json

router = api_router("/runs/{run_id}/versions", tags=["runs"], refused=(401, 404))


Number = Annotated[
    int,
    BeforeValidator(version_number),
    Path(ge=1, description="Which version, from 1 in the order they were made", examples=[1]),
]


@router.get("", response_model=ListOut[VersionOut])
def list_run_versions(
    request: Request, session: ReadSession, viewer: Viewer, run_id: PublicId
) -> Response:
    """Every version of a run's figures, the newest first, with the method that made it."""
    items = [
        _version(run_id, one) for one in run_versions(session, public_id=run_id, viewer=viewer)
    ]
    return answer(request, ListOut[VersionOut](items=items), is_own=viewer is not None)


@router.get("/{number}", response_model=VersionFiguresOut)
def read_run_version(
    request: Request, session: ReadSession, viewer: Viewer, run_id: PublicId, number: Number
) -> Response:
    """The figures and findings of one version, as that method made them."""
    then = view_version(session, public_id=run_id, number=number, viewer=viewer).then
    found = VersionFiguresOut(
        **_version(run_id, then.version).model_dump(),
        metrics=[
            NamedMetricOut(name=name.value, **outs.metric(one).model_dump())
            for name, one in then.metrics.items()
        ],
        findings=[FindingOut.model_validate(finding_to_json(one)) for one in then.findings],
    )
    return answer(request, found, is_own=viewer is not None)


def _version(run_id: str, found: RunVersion) -> VersionOut:
    return VersionOut(
        number=found.number,
        page=f"{outs.run_page(run_id)}/versions/{found.number}",
        method_version=found.method_version,
        made_at=found.made_at,
        is_current=found.is_current,
        was_published=found.was_published,
    )
