"""People and runs for the tests of moderation."""

from dataclasses import replace
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.find_tester_by_token import find_tester_by_token
from server.actions.issue_token import issue_token
from server.actions.submit_run import submit_run
from server.model.people import MAINTAIN
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.store import tables as t
from server.store.identity import match_key
from server.store.journal import now
from tests.actions.examples import (
    ERROR,
    example_bench,
    example_prepared,
    example_recording,
    example_reduction,
    example_upload,
)

# Nobody is published at once: every run waits.
ALL_WAIT = PublishingRule(first_run_waits=True, standing_runs=1000)


def person(session: Session, name: str, *, scopes: tuple[str, ...] = (MAINTAIN,)) -> Tester:
    token = issue_token(session, tester=name, scopes=scopes).token
    return find_tester_by_token(session, token=token)


def send(
    session: Session,
    folder: Path,
    *,
    by: str,
    maker: str = "Millbeck",
    model: str = "WD 30",
    is_held: bool = False,
    shaft_w: float = 640.0,
    rule: PublishingRule = ALL_WAIT,
    offset: float = 0.0,
) -> str:
    """A run as sent by somebody; gives its id."""
    sender = person(session, by, scopes=("send",))
    upload = example_upload(folder / "files", text=f"t,n\n0,{offset}\n", name="run.csv")
    bench = example_bench(maker=maker, model=model)
    prepared = example_prepared(
        folder / "files",
        upload,
        bench,
        reduction=example_reduction(shaft_w=shaft_w, findings=(ERROR,) if is_held else ()),
        recording=example_recording(offset=offset),
    )
    sent = submit_run(
        session, prepared=prepared, upload=upload, bench=bench, tester=replace(sender), rule=rule
    )
    session.flush()
    return sent.public_id


def run_of(session: Session, public_id: str) -> t.RunRow:
    return session.scalars(select(t.RunRow).where(t.RunRow.public_id == public_id)).one()


def tie(session: Session, tester: Tester, maker: str, *, kind: str = "tie") -> None:
    session.add(
        t.MakerTieRow(
            tester_id=tester.id,
            maker_key=match_key(maker),
            maker=maker,
            kind=kind,
            created_at=now(),
        )
    )
    session.flush()
