"""When a run is published at once, condition by condition; and the table of moves in the docs."""

import re
from datetime import timedelta
from itertools import count
from pathlib import Path

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from server.actions.decide_run import publish_run, take_down_run
from server.actions.move_run import ALLOWED_MOVES
from server.actions.standing import is_drawn_for_a_look
from server.model.publishing import PublishingRule
from server.model.words import RunState
from server.store import tables as t
from server.store.identity import new_public_id
from server.store.journal import now
from tests.actions.moderating import person, run_of, send

ROOT = Path(__file__).parents[2]
STRICT = PublishingRule(standing_runs=2, standing_days=180, look_share=0.2, first_run_waits=True)
_numbers = count(1)


def sent(session: Session, folder: Path, *, by: str = "Ada Quill", **named: object) -> t.RunRow:
    offset = next(_numbers) / 1000
    run_id = send(session, folder, by=by, rule=STRICT, offset=offset, **named)  # type: ignore[arg-type]
    return run_of(session, run_id)


def in_standing(session: Session, folder: Path, *, by: str = "Ada Quill") -> list[str]:
    """Two runs of a tester, looked at and published."""
    runs = [sent(session, folder, by=by, model="Known") for _ in range(2)]
    for run in runs:
        assert run.state == RunState.WAITING
        publish_run(
            session, public_id=run.public_id, version=run.version,
            maintainer=person(session, "Bo Finch"),
        )  # fmt: skip
        session.flush()
    return [run.public_id for run in runs]


def test_a_clean_run_in_good_standing_is_published_by_rule(
    session: Session, tmp_path: Path
) -> None:
    in_standing(session, tmp_path)
    assert sent(session, tmp_path, model="Known").state == RunState.PUBLISHED


def test_the_first_run_of_an_appliance_waits_whoever_sends_it(
    session: Session, tmp_path: Path
) -> None:
    in_standing(session, tmp_path)
    session.execute(update(t.TesterRow).values(is_vouched=True))
    assert sent(session, tmp_path, model="Unknown").state == RunState.WAITING
    # One that waits is no first run yet: the second waits too.
    assert sent(session, tmp_path, model="Unknown").state == RunState.WAITING


def test_an_error_finding_holds_back_whoever_sends_it(session: Session, tmp_path: Path) -> None:
    in_standing(session, tmp_path)
    session.execute(update(t.TesterRow).values(is_vouched=True))
    assert sent(session, tmp_path, model="Known", is_held=True).state == RunState.WAITING


def test_a_run_withdrawn_lately_ends_the_standing(session: Session, tmp_path: Path) -> None:
    first, *_ = in_standing(session, tmp_path)
    third = sent(session, tmp_path, model="Known")
    assert third.state == RunState.PUBLISHED
    take_down_run(
        session, public_id=first, version=run_of(session, first).version,
        maintainer=person(session, "Bo Finch"), reason="Made up.",
    )  # fmt: skip
    session.flush()
    assert sent(session, tmp_path, model="Known").state == RunState.WAITING
    # Long ago it counts no more; that the run was touched since changes nothing.
    long_ago = now() - timedelta(days=181)
    session.execute(
        update(t.AuditEventRow).where(t.AuditEventRow.act == "run withdrawn").values(at=long_ago)
    )
    run_of(session, first).updated_at = now()
    session.flush()
    assert sent(session, tmp_path, model="Known").state == RunState.PUBLISHED


def test_vouching_stands_in_for_runs_but_not_for_one_withdrawn_lately(
    session: Session, tmp_path: Path
) -> None:
    in_standing(session, tmp_path)
    newcomer = person(session, "Ida Holm", scopes=("send",))
    first = sent(session, tmp_path, by="Ida Holm", model="Known")
    assert first.state == RunState.WAITING
    session.get_one(t.TesterRow, newcomer.id).is_vouched = True
    session.flush()
    second = sent(session, tmp_path, by="Ida Holm", model="Known")
    assert second.state == RunState.PUBLISHED
    take_down_run(
        session, public_id=second.public_id, version=second.version,
        maintainer=person(session, "Bo Finch"), reason="Made up.",
    )  # fmt: skip
    session.flush()
    assert sent(session, tmp_path, by="Ida Holm", model="Known").state == RunState.WAITING
    # What was withdrawn is the tester's alone.
    assert sent(session, tmp_path, model="Known").state == RunState.PUBLISHED
    long_ago = now() - timedelta(days=181)
    session.execute(
        update(t.AuditEventRow).where(t.AuditEventRow.act == "run withdrawn").values(at=long_ago)
    )
    session.flush()
    assert sent(session, tmp_path, by="Ida Holm", model="Known").state == RunState.PUBLISHED


def test_a_password_alone_publishes_nothing(session: Session, tmp_path: Path) -> None:
    in_standing(session, tmp_path)
    ada = person(session, "Ada Quill", scopes=("send",))
    account = session.get_one(t.TesterRow, ada.id)
    account.password_hash = "kept"
    account.is_vouched = True
    session.flush()
    assert sent(session, tmp_path, model="Known").state == RunState.WAITING
    session.add(
        t.TotpRow(tester_id=ada.id, sealed_secret="sealed", confirmed_at=None, last_step=None)
    )
    session.flush()
    assert sent(session, tmp_path, model="Known").state == RunState.WAITING
    session.get_one(t.TotpRow, ada.id).confirmed_at = now()
    session.flush()
    assert sent(session, tmp_path, model="Known").state == RunState.PUBLISHED


def test_one_in_five_is_looked_at_afterwards(session: Session, tmp_path: Path) -> None:
    drawn = sum(is_drawn_for_a_look(new_public_id(), share=0.2) for _ in range(5000))
    # Binomial: 1000 expected, standard deviation 28; four of them to either side.
    assert 887 <= drawn <= 1113
    in_standing(session, tmp_path)
    run = sent(session, tmp_path, model="Known")
    assert run.needs_look is is_drawn_for_a_look(run.public_id, share=0.2)


def test_only_senders_have_a_standing(session: Session, tmp_path: Path) -> None:
    in_standing(session, tmp_path)
    ada = person(session, "Ada Quill", scopes=("send",))
    run = sent(session, tmp_path, model="Known")
    assert run.state == RunState.PUBLISHED
    from server.actions.standing import has_good_standing

    session.get_one(t.TesterRow, ada.id).role = "reader"
    session.flush()
    assert not has_good_standing(session, tester_id=ada.id, rule=STRICT)


def test_the_documented_moves_are_those_of_the_code() -> None:
    text = (ROOT / "docs" / "moderation.md").read_text()
    table = text.split("| from | to |")[1].split("\n\n")[0]
    told = {
        row[1].strip(): {word.strip() for word in row[2].split(",") if word.strip()}
        for row in re.finditer(r"^\| (\w+) \| ?([^|]*)\|$", table, re.M)
    }
    assert told == {state.value: {to.value for to in ALLOWED_MOVES[state]} for state in RunState}


@pytest.mark.parametrize("state", RunState)
def test_every_move_that_is_not_in_the_table_is_refused(
    session: Session, tmp_path: Path, state: RunState
) -> None:
    from server.actions.move_run import move_run
    from server.errors import Conflict
    from server.store.journal import SYSTEM

    run = sent(session, tmp_path, model="Known")
    for to in set(RunState) - ALLOWED_MOVES[state]:
        run.state = state.value
        with pytest.raises(Conflict):
            move_run(session, run=run, to=to, actor=SYSTEM)
    session.expire(run)
