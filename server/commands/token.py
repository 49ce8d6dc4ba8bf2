"""`benchledger token`: make a token and print it, the only time it is seen."""

from server.actions.issue_token import issue_token
from server.settings import Settings
from server.store.database import make_engine, migrate, write_session


def token(settings: Settings, *, tester: str, days: int) -> None:
    """Print a fresh token for the tester of that name, who is made if new."""
    settings.data.mkdir(parents=True, exist_ok=True)
    migrate(settings)
    engine = make_engine(settings)
    with write_session(engine) as session:
        issued = issue_token(session, tester=tester, days=days)
    engine.dispose()
    print(issued.token)
