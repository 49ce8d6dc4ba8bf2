"""The journal: chained, without names, and text that can be erased."""

import pytest
from sqlalchemy import Engine, delete, select, update
from sqlalchemy.orm import Session

from server.actions.check_journal import check_journal
from server.actions.enrol_tester import enrol_tester
from server.actions.issue_token import issue_token
from server.actions.seal_journal import seal_journal
from server.model.checking import Fault
from server.store import tables as t
from server.store.journal import OPERATOR, by, journal_of, record


def check_seals(session: Session) -> list[str]:
    session.expire_all()
    return [one.place for one in check_journal(session) if isinstance(one, Fault)]


@pytest.fixture
def sealed(session: Session) -> Session:
    for nth in range(5):
        record(
            session,
            actor=OPERATOR,
            act=f"act {nth}",
            subject_kind="run",
            subject_id=1,
            before={"n": nth},
            after={"n": nth + 1},
        )
    session.flush()
    assert seal_journal(session) == 5
    return session


def test_a_sound_chain_has_no_fault(sealed: Session) -> None:
    assert check_seals(sealed) == []
    assert seal_journal(sealed) == 0


def test_entries_that_come_later_continue_the_chain(sealed: Session) -> None:
    issue_token(sealed, tester="Ada Quill")
    sealed.flush()
    assert seal_journal(sealed) == 2  # the token, and the consent it stands for
    assert check_seals(sealed) == []


@pytest.mark.parametrize(
    "values", [{"act": "other"}, {"after": {"n": 9}}, {"subject_id": 2}, {"actor": "system"}]
)
def test_a_changed_entry_shows(sealed: Session, values: dict[str, object]) -> None:
    ids = list(sealed.execute(select(t.AuditEventRow.id).order_by(t.AuditEventRow.id)).scalars())
    sealed.execute(update(t.AuditEventRow).where(t.AuditEventRow.id == ids[2]).values(values))
    assert check_seals(sealed) == [f"journal entry {ids[2]}"]


def test_a_missing_entry_shows(sealed: Session) -> None:
    ids = list(sealed.execute(select(t.AuditEventRow.id).order_by(t.AuditEventRow.id)).scalars())
    sealed.execute(delete(t.AuditSealRow).where(t.AuditSealRow.event_id == ids[1]))
    sealed.execute(delete(t.AuditEventRow).where(t.AuditEventRow.id == ids[1]))
    assert check_seals(sealed) == [f"journal entry {ids[2]}"]


def test_an_entry_that_commits_late_is_sealed_too(session: Session) -> None:
    """Its number is lower than one that was sealed before it."""
    for _ in range(2):
        record(session, actor=OPERATOR, act="x", subject_kind="run", subject_id=1)
    session.flush()
    first, second = session.execute(select(t.AuditEventRow).order_by(t.AuditEventRow.id)).scalars()
    late = {c.key: getattr(first, c.key) for c in t.AuditEventRow.__table__.columns}
    session.delete(first)
    session.flush()
    assert seal_journal(session) == 1
    session.add(t.AuditEventRow(**late))
    session.flush()
    assert seal_journal(session) == 1
    order = session.execute(select(t.AuditSealRow.event_id).order_by(t.AuditSealRow.id)).scalars()
    assert list(order) == [second.id, late["id"]]
    assert check_seals(session) == []


def test_a_note_can_be_erased_without_breaking_the_chain(session: Session, engine: Engine) -> None:
    tester = enrol_tester(session, name="Ada Quill")
    record(
        session,
        actor=by(tester),
        act="run withdrawn",
        subject_kind="run",
        subject_id=7,
        note="My neighbour Bo asked for it.",
    )
    session.flush()
    seal_journal(session)
    (entry,) = journal_of(session, subject_kind="run", subject_id=7)
    assert (entry.actor, entry.note) == ("Ada Quill", "My neighbour Bo asked for it.")
    session.execute(update(t.PersonTextRow).values(text=None))
    session.execute(update(t.TesterRow).values(name="a former tester"))
    (entry,) = journal_of(session, subject_kind="run", subject_id=7)
    assert (entry.actor, entry.note) == ("a former tester", None)
    assert check_seals(session) == []


def test_the_actor_must_fit(session: Session) -> None:
    from sqlalchemy.exc import IntegrityError

    from server.store.journal import Actor

    record(session, actor=Actor("tester"), act="x", subject_kind="run", subject_id=1)
    with pytest.raises(IntegrityError):
        session.flush()
