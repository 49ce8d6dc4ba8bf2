"""Set how long a tester lets pass from one calibration of an instrument to the next."""

from sqlalchemy.orm import Session

from server.errors import InvalidInput, Problem
from server.model.my_bench import MOST_MONTHS
from server.model.views import Tester
from server.store.tables import TesterRow


def set_calibration_months(session: Session, *, tester: Tester, months: int) -> None:
    """Keep it with the tester; when a calibration is due follows from it.

    Parameters
    ----------
    months : from one calibration to the next, 1 to MOST_MONTHS.

    Raises
    ------
    InvalidInput: outside that.
    """
    if not 1 <= months <= MOST_MONTHS:
        told = f"{months} months are no interval."
        problem = Problem(told, f"Choose 1 to {MOST_MONTHS}.", field="months")
        raise InvalidInput("calibrations", [problem])
    session.get_one(TesterRow, tester.id, with_for_update=True).calibration_months = months
