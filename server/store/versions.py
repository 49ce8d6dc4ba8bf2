"""The sets of figures that a run has had. Sets are added, never changed: each stays readable."""

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.changes import RunVersion, VersionFigures
from server.model.people import MAINTAIN
from server.model.views import Tester
from server.store import tables as t
from server.store.run_views import findings_of_sets, metrics_of_sets
from server.store.runs import visible
from server.store.shapes import with_uncertainty


def version_number(address: object) -> int:
    """The number in an address. What can't be one is where nothing is: NotFound."""
    text = str(address)
    if not (text.isascii() and text.isdigit() and len(text) < 10) or text.startswith("0"):
        raise NotFound(
            f"There is no version “{text[:40]}”. Versions are numbered 1, 2, 3 in the order made."
        )
    return int(text)


def run_versions(
    session: Session, *, public_id: str, viewer: Tester | None
) -> tuple[RunVersion, ...]:
    """The versions of a run's figures that the viewer may see, the newest first. Two statements.

    Raises NotFound for a run that the viewer may not see.
    """
    return tuple(version for version, _ in reversed(_sets(session, public_id, viewer)))


def version_figures(
    session: Session, *, public_id: str, number: int, viewer: Tester | None
) -> VersionFigures:
    """The figures and findings of one version. Raises NotFound where there is none to see."""
    found = _sets(session, public_id, viewer)
    for version, set_id in found:
        if version.number == number:
            return _figures(session, version, set_id)
    had = ", ".join(str(version.number) for version, _ in found)
    told = f"It has {had}." if had else "It has no figures."
    raise NotFound(f"There is no version {number} of the figures of run {public_id}. {told}")


def _sets(session: Session, public_id: str, viewer: Tester | None) -> list[tuple[RunVersion, int]]:
    """What the viewer may see, with the keys of the sets, in the order they were made."""
    run, made = t.RunRow, t.MetricSetRow
    row = session.execute(
        select(run.id, run.tester_id, run.current_set_id).where(
            run.public_id == public_id, visible(viewer)
        )
    ).one_or_none()
    if row is None:
        raise NotFound(f"There is no run {public_id}.")
    sees_all = viewer is not None and (MAINTAIN in viewer.scopes or viewer.id == row.tester_id)
    sets = session.execute(
        select(made.id, made.method_version, made.created_at, made.was_published)
        .join(t.RunRevisionRow, t.RunRevisionRow.id == made.run_revision_id)
        .where(t.RunRevisionRow.run_id == row.id)
        .order_by(made.id)
    )
    numbered = [
        (_version(number, one, current=row.current_set_id), one.id)
        for number, one in enumerate(sets, start=1)
    ]
    # Numbers are given before any is left out: an address means the same to all.
    return [
        (version, key)
        for version, key in numbered
        if sees_all or version.was_published or version.is_current
    ]


def _version(number: int, row: Any, *, current: int | None) -> RunVersion:
    return RunVersion(
        number=number,
        method_version=row.method_version,
        made_at=row.created_at,
        is_current=row.id == current,
        was_published=row.was_published,
    )


def _figures(session: Session, version: RunVersion, set_id: int) -> VersionFigures:
    stored = session.execute(
        select(t.MetricSetRow.uncertainties).where(t.MetricSetRow.id == set_id)
    ).scalar_one()
    metrics = metrics_of_sets(session, [set_id])[set_id]
    return VersionFigures(
        version=version,
        metrics={
            name: with_uncertainty(metric, stored.get(name.value))
            for name, metric in metrics.items()
        },
        findings=tuple(findings_of_sets(session, [set_id])[set_id]),
    )
