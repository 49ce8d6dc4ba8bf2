"""No entry of the journal holds a name or words of people: they could never be erased.

`tests/conftest.py` looks at every entry that any test writes (`words_in`); here it is shown that
it would notice, and every place that writes entries is found.
"""

import pytest
from sqlalchemy.orm import Session

from server.store.journal import OPERATOR, keep_text, record
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
