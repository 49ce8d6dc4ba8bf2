"""No entry of the journal holds a name or words of people: they could never be erased.

`tests/conftest.py` looks at every entry that any test writes (`words_in`); here it is shown that
it would notice, and every place that writes entries is found.
"""

from pathlib import Path

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.check_journal import check_journal
from server.actions.decide_run import publish_run, return_run
from server.actions.raise_concern import About, report_problem
from server.actions.seal_journal import seal_journal
from server.actions.settle_concern import Outcome, settle_concern
from server.model.checking import Fault
from server.model.moderation import RemarkSent
from server.store import tables as t
from server.store.journal import OPERATOR, keep_text, record
from tests.actions.moderating import person, send
from tests.conftest import words_in


@pytest.mark.parametrize(
    "values",
    [
        {"state": "published"},
        {"set": 4, "method": "brake-2"},
        {"scopes": ["send", "maintain"]},
        {"token": "4k7p2m9xq1", "scopes": []},
        {"field": "plate.voltage", "is_vouched": True},
        {"at": "2026-11-26T12:00:00+00:00", "until": None},
        {"texts": {"remark": {"text": 3, "sha256": "a" * 64}}},
        None,
    ],
)
def test_keys_states_and_times_are_fine(values: object) -> None:
    assert words_in(values) == []


@pytest.mark.parametrize(
    "values",
    [
        {"name": "Ada Quill"},
        {"reason": "The belt slipped."},
        {"who": {"mail": "ada@bench.example"}},
        {"names": ["Ada Quill"]},
        {"Ada Quill": 1},
        {"note": "слово"},
        {"long": "a" * 200},
    ],
)
def test_an_entry_holds_no_words_of_people(values: object) -> None:
    assert words_in(values) != []


def test_an_entry_with_words_fails_the_test_that_writes_it(session: Session) -> None:
    record(
        session,
        actor=OPERATOR,
        act="x",
        subject_kind="run",
        subject_id=1,
        after={"name": "Ada Quill"},
    )
    with pytest.raises(AssertionError, match="Ada Quill"):
        session.flush()


def test_kept_texts_leave_digests_alone(session: Session) -> None:
    row = keep_text(session, "Ada says the belt slipped.", by_id=None)
    record(
        session, actor=OPERATOR, act="x", subject_kind="run", subject_id=1, texts={"remark": row}
    )
    session.flush()


@pytest.fixture
def moderated(session: Session, tmp_path: Path) -> Session:
    """A return with a remark, and a report that was settled."""
    bo, cy = person(session, "Bo Finch"), person(session, "Cy Reed")
    run_id = send(session, tmp_path, by="Ada Quill")
    return_run(
        session,
        public_id=run_id,
        version=1,
        maintainer=bo,
        reason="See the plate.",
        remarks=[RemarkSent("plate.voltage", "The photograph says 230 V.")],
    )
    session.flush()
    other = send(session, tmp_path, by="Ada Quill", offset=0.5)
    publish_run(session, public_id=other, version=1, maintainer=bo)
    session.flush()
    concern = report_problem(
        session, about=About(run_id=other), text="The plate says 230 V, not 120 V.", reporter=None
    )
    settle_concern(
        session,
        public_id=concern,
        version=0,
        maintainer=cy,
        outcome=Outcome.STANDS,
        answer="Looked at again: 120 V.",
    )
    session.flush()
    seal_journal(session)
    return session


def test_every_text_of_moderation_shows_when_it_is_altered(moderated: Session) -> None:
    """Reasons, remarks, reports and answers: each has its digest in the entry that made it."""
    texts = list(moderated.execute(select(t.PersonTextRow.id)).scalars())
    assert len(texts) >= 4
    assert [one for one in check_journal(moderated) if isinstance(one, Fault)] == []
    for key in texts:
        row = moderated.get_one(t.PersonTextRow, key)
        before, row.text = row.text, "other words"
        moderated.flush()
        found = [one for one in check_journal(moderated) if isinstance(one, Fault)]
        assert len(found) == 1, f"nobody would notice another text than “{before}”"
        row.text = before
        moderated.flush()
