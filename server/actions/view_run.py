"""A run as its readers see it: one in use is placed on its appliance's brake run."""

from dataclasses import replace

from sqlalchemy.orm import Session

from server.model.views import PlacedOn, RunView, Tester
from server.model.words import RunKind
from server.reduction import place_in_use
from server.store.run_views import shown_brake_run
from server.store.runs import run_view


def view_run(
    session: Session, *, public_id: str, viewer: Tester | None, with_trace: bool = True
) -> RunView:
    """All that a run's page shows, with the figures that rest on another run.

    Parameters
    ----------
    session : for reading. viewer : who asks; a run not published is seen by its tester alone.
    with_trace : the thinned recording as well.

    Returns
    -------
    RunView. A run in use has shaft power, the second way to its input power and their agreement
    from the newest published brake run of the same appliance, named in `placed_on`. They are made
    when read, like claims: a newer brake run moves them and no stored figure is stale.

    Raises
    ------
    NotFound: no such run, or not for this viewer.
    """
    view = run_view(session, public_id=public_id, viewer=viewer, with_trace=with_trace)
    if view.reduction is None or view.details.kind is not RunKind.IN_USE:
        return view
    curve_of = shown_brake_run(session, appliance_id=view.appliance.public_id)
    brake = curve_of.reduction if curve_of is not None else None
    metrics = place_in_use(view.reduction.metrics, curve_of=brake)
    placed_on = None
    if curve_of is not None and brake is not None:
        placed_on = PlacedOn(
            public_id=curve_of.public_id,
            specimen=curve_of.specimen.content.label,
            is_same_specimen=curve_of.specimen.public_id == view.specimen.public_id,
        )
    return replace(view, reduction=replace(view.reduction, metrics=metrics), placed_on=placed_on)
