"""Every way to tamper with the journal is found, and named where it is."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import Engine, delete, select, text, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.actions.check_journal import check_journal
from server.actions.enrol_tester import enrol_tester
from server.actions.seal_journal import event_digest, seal_journal
from server.model.checking import Fault, Note
from server.store import tables as t
from server.store.journal import OPERATOR, by, keep_text, now, record

N = 6


@pytest.fixture
def chained(session: Session) -> Session:
    tester = enrol_tester(session, name="Ada Quill")
    for nth in range(N):
        record(
            session,
            actor=by(tester),
            act=f"act {nth}",
            subject_kind="run",
            subject_id=nth,
            after={"n": nth},
            note=f"because {nth}",
        )
        session.flush()
    assert seal_journal(session) == N
    return session


def events(session: Session) -> list[int]:
    return list(session.execute(select(t.AuditEventRow.id).order_by(t.AuditEventRow.id)).scalars())


def faults(session: Session) -> list[Fault]:
    session.flush()
    session.expire_all()
    return [one for one in check_journal(session) if isinstance(one, Fault)]


def place(number: int) -> str:
    return f"journal entry {number}"


def test_a_sound_journal_has_no_fault(chained: Session) -> None:
    assert list(check_journal(chained)) == []


@pytest.mark.parametrize("nth", range(N))
@pytest.mark.parametrize(
    "values",
    [
        {"act": "another"},
        {"after": {"n": 99}},
        {"subject_id": 77},
        {"at": now() - timedelta(days=400)},
        {"note_digest": "0" * 64},
        {"note_digest": None},
        {"actor": "system", "tester_id": None},
    ],
    ids=lambda values: "+".join(values),
)
def test_an_altered_entry_is_named(chained: Session, nth: int, values: dict[str, object]) -> None:
    number = events(chained)[nth]
    chained.execute(update(t.AuditEventRow).where(t.AuditEventRow.id == number).values(values))
    assert [fault.place for fault in faults(chained)] == [place(number)]


@pytest.mark.parametrize("nth", range(N - 1))
def test_a_removed_entry_is_named_with_its_number(chained: Session, nth: int) -> None:
    number, after = events(chained)[nth : nth + 2]
    chained.execute(delete(t.AuditSealRow).where(t.AuditSealRow.event_id == number))
    chained.execute(delete(t.AuditEventRow).where(t.AuditEventRow.id == number))
    (fault,) = faults(chained)
    assert fault.place == place(after)
    assert "removed" in fault.message
    if nth:  # what the first one's number was, nobody can tell
        assert f"(number {number})" in fault.message


def test_an_entry_removed_under_its_seal_is_named(engine: Engine, chained: Session) -> None:
    """As somebody would who can switch the foreign keys off; PostgreSQL refuses by itself."""
    number = events(chained)[2]
    if engine.dialect.name != "sqlite":
        with pytest.raises(IntegrityError):
            chained.execute(delete(t.AuditEventRow).where(t.AuditEventRow.id == number))
        return
    chained.commit()
    with engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.rollback()
        raw.execute("PRAGMA foreign_keys = OFF")
        raw.execute("DELETE FROM audit_event WHERE id = ?", (number,))
        raw.execute("PRAGMA foreign_keys = ON")
    (fault,) = faults(chained)
    assert (fault.place, fault.message) == (
        place(number),
        "it was removed; its seal is still there.",
    )


def add_event(session: Session, **values: object) -> t.AuditEventRow:
    row = t.AuditEventRow(
        **{
            "at": now(),
            "actor": "operator",
            "act": "put in",
            "subject_kind": "run",
            "subject_id": 1,
            **values,
        }
    )
    session.add(row)
    session.flush()
    return row


def move_seals(session: Session, order: list[int]) -> None:
    """Give the seals new numbers, so that they stand in this order of their entries."""
    seals = {seal.event_id: seal.id for seal in session.execute(select(t.AuditSealRow)).scalars()}
    session.expunge_all()
    for place_, event_id in enumerate(order):
        session.execute(
            text("UPDATE audit_seal SET id = :new WHERE id = :old"),
            {"new": 10_000 + place_, "old": seals[event_id]},
        )


def test_an_entry_put_in_with_a_seal_is_named(chained: Session) -> None:
    """Sealed as if it had followed the third; what followed it then does not know it."""
    numbers = events(chained)
    third = chained.execute(
        select(t.AuditSealRow).where(t.AuditSealRow.event_id == numbers[2])
    ).scalar_one()
    forged = add_event(chained)
    seal = t.AuditSealRow(
        event_id=forged.id,
        previous_digest=third.digest,
        digest=event_digest(third.digest, forged),
        sealed_at=now(),
    )
    chained.add(seal)
    chained.flush()
    move_seals(chained, [*numbers[:3], forged.id, *numbers[3:]])
    (fault,) = faults(chained)
    assert fault.place == place(forged.id)
    assert "put in" in fault.message


def test_an_entry_put_in_at_the_end_with_an_old_date_is_named(chained: Session) -> None:
    """The worker seals it like any other; that it says another day gives it away."""
    forged = add_event(chained, at=now() - timedelta(days=3))
    (fault,) = faults(chained)
    assert fault.place == place(forged.id)
    seal_journal(chained)
    (fault,) = faults(chained)
    assert fault.place == place(forged.id)
    assert "put in later" in fault.message


def test_entries_in_another_order_are_named(chained: Session) -> None:
    numbers = events(chained)
    move_seals(chained, [numbers[0], numbers[2], numbers[1], *numbers[3:]])
    named = {fault.place for fault in faults(chained)}
    assert {place(numbers[1]), place(numbers[2])} & named
    assert not named & {place(numbers[0]), place(numbers[5])}


def test_seals_that_changed_hands_are_named(chained: Session) -> None:
    first, second = events(chained)[1:3]
    for number, to in ((first, None), (second, first), (None, second)):
        if number is None:
            chained.execute(
                update(t.AuditSealRow)
                .where(t.AuditSealRow.event_id == events(chained)[-1] + 1)
                .values(event_id=to)
            )
            continue
        if to is None:
            to = add_event(chained).id
        chained.execute(
            update(t.AuditSealRow).where(t.AuditSealRow.event_id == number).values(event_id=to)
        )
    assert faults(chained)


Change = Callable[[Session, int], None]


def alter(session: Session, key: int) -> None:
    session.execute(
        update(t.PersonTextRow).where(t.PersonTextRow.id == key).values(text="for another reason")
    )


def resalt(session: Session, key: int) -> None:
    session.execute(update(t.PersonTextRow).where(t.PersonTextRow.id == key).values(salt="00"))


def erase(session: Session, key: int) -> None:
    session.execute(
        update(t.PersonTextRow).where(t.PersonTextRow.id == key).values(text=None, salt=None)
    )


@pytest.mark.parametrize(("change", "is_found"), [(alter, True), (resalt, True), (erase, False)])
def test_a_note_that_was_altered_is_named_and_an_erased_one_is_fine(
    chained: Session, change: Change, is_found: bool
) -> None:
    number = events(chained)[3]
    note = chained.execute(
        select(t.AuditEventRow.note_id).where(t.AuditEventRow.id == number)
    ).scalar_one()
    assert note is not None
    change(chained, note)
    found = faults(chained)
    assert [f.place for f in found] == ([f"{place(number)}, its note"] if is_found else [])


@pytest.mark.parametrize(("change", "is_found"), [(alter, True), (resalt, True), (erase, False)])
def test_other_words_of_people_have_their_digest_in_the_entry(
    session: Session, change: Change, is_found: bool
) -> None:
    tester = enrol_tester(session, name="Bo Marsh")
    row = keep_text(session, "The belt slipped at the end.", by_id=tester.id)
    record(
        session,
        actor=by(tester),
        act="remark made",
        subject_kind="run",
        subject_id=1,
        after={"field": "rig.arm"},
        texts={"remark": row},
    )
    session.flush()
    (event,) = session.execute(select(t.AuditEventRow)).scalars()
    assert "belt" not in str(event.after)
    seal_journal(session)
    assert faults(session) == []
    change(session, row.id)
    (number,) = events(session)
    assert [f.place for f in faults(session)] == (
        [f"{place(number)}, its remark"] if is_found else []
    )


def test_words_that_were_removed_are_named(session: Session) -> None:
    row = keep_text(session, "gone", by_id=None)
    record(
        session,
        actor=OPERATOR,
        act="x",
        subject_kind="run",
        subject_id=1,
        texts={"remark": row},
    )
    session.flush()
    seal_journal(session)
    session.delete(row)
    (fault,) = faults(session)
    assert "removed, not erased" in fault.message


def test_what_is_not_sealed_yet_is_said(chained: Session) -> None:
    add_event(chained)
    chained.flush()
    (note,) = check_journal(chained)
    assert isinstance(note, Note)
    assert note.message.startswith("1 entries are not sealed yet")


def test_memory_does_not_grow_with_the_journal(session: Session) -> None:
    """Rows are let go of as the walk goes on."""
    for nth in range(3000):
        record(session, actor=OPERATOR, act="x", subject_kind="run", subject_id=nth)
    session.flush()
    while seal_journal(session):
        session.flush()
    session.expunge_all()
    most = 0

    def on_done(_n: int) -> None:
        nonlocal most
        most = max(most, len(session.identity_map))

    assert list(check_journal(session, on_done=on_done)) == []
    assert 0 < most < 2500
