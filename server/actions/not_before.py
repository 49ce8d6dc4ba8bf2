"""The date before which a run is not published, for those who write about it."""

from datetime import date, timedelta

from server.errors import InvalidInput, Problem
from server.store.journal import today

MOST_DAYS = 366


def read_not_before(text: str | None) -> date | None:
    """A date as typed, like 2026-12-24; None where there is none.

    Raises
    ------
    InvalidInput: no date, or one more than MOST_DAYS ahead.
    """
    if text is None or not text.strip():
        return None
    told = "this is no date."
    try:
        found = date.fromisoformat(text.strip())
        if found <= today() + timedelta(days=MOST_DAYS):
            return found
        told = f"this is more than {MOST_DAYS} days ahead."
    except ValueError:
        pass
    problem = Problem(told, "Write it like 2026-12-24, or leave it out.", field="not_before")
    raise InvalidInput("run", [problem])
