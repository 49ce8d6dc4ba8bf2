"""An earlier version of a run's figures as its readers see it."""

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from server.actions.view_run import view_run
from server.model.changes import VersionFigures
from server.model.views import RunView, Tester
from server.model.words import RunKind
from server.reduction import place_in_use
from server.store.run_views import shown_brake_run
from server.store.versions import version_figures


@dataclass(frozen=True, slots=True)
class VersionView:
    """One version of a run's figures, and the run as it stands today."""

    run: RunView
    then: VersionFigures


def view_version(
    session: Session, *, public_id: str, number: int, viewer: Tester | None
) -> VersionView:
    """One version of a run's figures beside those it shows today.

    Parameters
    ----------
    session : for reading. number : from 1, in the order the versions were made. viewer : who asks.

    Returns
    -------
    VersionView. What a run in use shows of a brake run is made when read and not kept with a
    version: both are placed on the brake run that stands for the appliance today, so that they
    differ by their own method alone.

    Raises
    ------
    NotFound: no such run or version, or not for this viewer.
    """
    view = view_run(session, public_id=public_id, viewer=viewer)
    then = version_figures(session, public_id=public_id, number=number, viewer=viewer)
    if view.details.kind is RunKind.IN_USE:
        curve_of = shown_brake_run(session, appliance_id=view.appliance.public_id)
        brake = curve_of.reduction if curve_of is not None else None
        then = replace(then, metrics=place_in_use(then.metrics, curve_of=brake))
    return VersionView(view, then)
