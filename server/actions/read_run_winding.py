"""What a run's notes say of how hot its winding was."""

from server.model.views import RunView
from server.model.winding import WindingReading
from server.reduction import read_winding


def read_run_winding(run: RunView) -> WindingReading | None:
    """The winding's temperature at the end of a run.

    Parameters
    ----------
    run : with its details: both resistances, the cold winding's temperature, whose constant.

    Returns
    -------
    WindingReading, with a reason where something is missing; None where neither resistance was
    noted. Made when read: no figure rests on it.
    """
    return read_winding(run.details)
