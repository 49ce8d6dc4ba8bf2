"""Set what is printed about an appliance beside what one of its runs shows."""

from server.model.bench import ClaimReading
from server.model.views import RunView
from server.reduction import read_claims


def read_run_claims(run: RunView) -> tuple[ClaimReading, ...]:
    """Each power claim of the run's appliance, read every way with the run's figures.

    Parameters
    ----------
    run : with its claims; its plate and rig are those the figures were made with.

    Returns
    -------
    One ClaimReading per power claim; none while the run has no figures.
    """
    if run.reduction is None:
        return ()
    return read_claims(
        run.reduction.metrics,
        claims=run.claims,
        plate=run.plate,
        rotor_inertia_kg_m2=run.rig.content.rotor_inertia_kg_m2,
    )
