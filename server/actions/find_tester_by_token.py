"""Who a token belongs to."""

from sqlalchemy.orm import Session

from server.errors import SignInNeeded
from server.model.views import Tester
from server.store.people import tester_for_token


def find_tester_by_token(session: Session, *, token: str) -> Tester:
    """The tester of a token.

    Raises
    ------
    SignInNeeded: the token is unknown, expired or revoked; which of them is not told.
    """
    tester = tester_for_token(session, token=token)
    if tester is None:
        raise SignInNeeded("This token is not known here, or it has expired.")
    return tester
