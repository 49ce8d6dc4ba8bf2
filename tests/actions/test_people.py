"""Tokens and sign-ins: known by digest, ended by time and by revoking."""

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.enrol_tester import enrol_tester
from server.actions.find_tester_by_token import find_tester_by_token
from server.actions.issue_token import issue_token
from server.actions.revoke_token import revoke_token
from server.actions.sign_in import end_session, sign_in_with_token
from server.errors import InvalidInput, NotFound, SignInNeeded
from server.model.people import Role
from server.store import people
from server.store import tables as t
from server.store.journal import by


def test_a_token_lets_its_tester_in(session: Session) -> None:
    issued = issue_token(session, tester=" Ada  Quill ", scopes=("send", "maintain"))
    tester = find_tester_by_token(session, token=issued.token)
    assert tester.name == "Ada Quill"
    assert tester.scopes == {"send", "maintain"}
    assert tester.role is Role.MAINTAINER


def test_the_token_itself_is_nowhere_in_the_database(session: Session) -> None:
    issued = issue_token(session, tester="Ada Quill")
    _, key = sign_in_with_token(session, token=issued.token, hours=1)
    session.flush()
    for table in t.Table.metadata.sorted_tables:
        for row in session.execute(select(table)):
            assert issued.token not in str(row)
            assert key not in str(row)


def test_one_name_is_one_tester(session: Session) -> None:
    first = issue_token(session, tester="Ada Quill")
    second = issue_token(session, tester="Ada Quill")
    assert first.tester_public_id == second.tester_public_id
    assert first.token != second.token


@pytest.mark.parametrize("token", ["", "bl_wrong", "\0", "\ud800", "é" * 500])
def test_a_wrong_token_is_nobody(session: Session, token: str) -> None:
    issue_token(session, tester="Ada Quill")
    assert people.tester_for_token(session, token=token) is None
    with pytest.raises(SignInNeeded):
        find_tester_by_token(session, token=token)


def test_an_expired_token_is_nobody(session: Session) -> None:
    issued = issue_token(session, tester="Ada Quill", days=1e-9)
    assert people.tester_for_token(session, token=issued.token) is None


def test_revoking_ends_the_token_and_its_sign_ins(session: Session) -> None:
    issued = issue_token(session, tester="Ada Quill")
    _, key = sign_in_with_token(session, token=issued.token, hours=1)
    session.flush()
    assert people.tester_for_session(session, key=key) is not None
    revoke_token(session, public_id=issued.public_id)
    revoke_token(session, public_id=issued.public_id)
    session.flush()
    assert people.tester_for_token(session, token=issued.token) is None
    assert people.tester_for_session(session, key=key) is None


def test_anothers_token_cannot_be_revoked(session: Session) -> None:
    issued = issue_token(session, tester="Ada Quill")
    other = enrol_tester(session, name="Bo Finch")
    with pytest.raises(NotFound):
        revoke_token(session, public_id=issued.public_id, actor=by(other))


def test_a_sign_in_ends_by_time_and_when_told(session: Session) -> None:
    issued = issue_token(session, tester="Ada Quill")
    _, over = sign_in_with_token(session, token=issued.token, hours=0)
    _, key = sign_in_with_token(session, token=issued.token, hours=1)
    session.flush()
    assert people.tester_for_session(session, key=over) is None
    end_session(session, key=key)
    assert people.tester_for_session(session, key=key) is None


def test_a_sign_in_needs_a_good_token(session: Session) -> None:
    with pytest.raises(SignInNeeded):
        sign_in_with_token(session, token="bl_wrong", hours=1)


@pytest.mark.parametrize(
    ("named", "field"),
    [
        ({"tester": "  "}, "tester"),
        ({"tester": "Ada", "scopes": ("everything",)}, "scopes"),
        ({"tester": "Ada", "days": 0}, "days"),
    ],
)
def test_a_token_that_makes_no_sense_is_refused(
    session: Session, named: dict[str, object], field: str
) -> None:
    with pytest.raises(InvalidInput) as refusal:
        issue_token(session, **named)  # type: ignore[arg-type]
    assert [problem.field for problem in refusal.value.problems] == [field]


def test_the_journal_names_people_by_key_only(session: Session, engine: Engine) -> None:
    issue_token(session, tester="Ada Quill")
    session.flush()
    for row in session.execute(select(t.AuditEventRow.__table__)):
        assert "Quill" not in str(row)
