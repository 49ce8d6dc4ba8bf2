"""What actions on accounts do to the tables, on both databases: each secret once, nothing twice."""

import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyotp
import pytest
import sqlalchemy as sa
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.actions import passkeys, second_factor
from server.actions.change_password import ask_reset, change_password, reset_password
from server.actions.command_sign_in import (
    begin_command_sign_in,
    decide_command_sign_in,
    fetch_command_token,
)
from server.actions.confirm_email import ask_new_email, confirm_email
from server.actions.manage_sign_ins import end_other_sign_ins, end_sign_in
from server.actions.note_use import is_due, note_use
from server.actions.one_time import OVER, forget_old_secrets, new_secret, use_secret
from server.actions.sign_in import start_session, start_visit
from server.actions.sign_up import ask_to_confirm, sign_up
from server.actions.sweep_visits import end_expired_visits
from server.credentials.passkeys import RelyingParty
from server.errors import BenchledgerError, Conflict, InvalidInput, LinkOver, NotFound
from server.model.people import Role, SecretPurpose
from server.model.views import Tester
from server.store import people
from server.store import tables as t
from server.store.accounts import account_by_id, known_by_key, list_people, list_sign_ins
from server.store.database import write_session
from server.store.journal import now
from server.store.people import secret_sha256
from tests.actions.soft_passkey import USER_PRESENT, SoftPasskey

ADA = "Ada.Quill@bench.example"
PARTY = RelyingParty("ledger.test", "https://ledger.test")


def confirmed(session: Session, name: str = "Ada Quill", email: str = ADA) -> Tester:
    done = sign_up(session, name=name, email=email, password_hash="$argon2id$one")
    confirm_email(session, secret=done.secret)
    key = start_session(session, tester_id=done.tester_id, hours=1)
    session.flush()
    found = people.tester_for_session(session, key=key)
    assert found is not None
    return found


def test_a_visit_becomes_the_account(session: Session) -> None:
    key = start_visit(session)
    visitor = people.tester_for_session(session, key=key)
    assert visitor is not None
    done = sign_up(session, name=" Ada  Quill ", email=ADA, password_hash="h", tester_id=visitor.id)
    assert done.tester_id == visitor.id
    account = account_by_id(session, tester_id=visitor.id)
    assert (account.name, account.role, account.email) == ("Ada Quill", Role.READER, None)
    assert account.asked_email == ADA
    confirm_email(session, secret=done.secret)
    account = account_by_id(session, tester_id=visitor.id)
    assert (account.role, account.email, account.asked_email) == (Role.TESTER, ADA, None)
    known = known_by_key(session, email_key=ADA.casefold())
    assert known is not None
    assert (known.tester_id, known.email) == (account.id, ADA)
    assert session.get_one(t.TesterRow, visitor.id).expires_at is None


def test_an_address_goes_to_who_confirms_it_first(session: Session) -> None:
    one = sign_up(session, name="One", email=ADA, password_hash="h")
    two = sign_up(session, name="Two", email=ADA.upper(), password_hash="h")
    assert not one.is_known
    assert not two.is_known
    confirm_email(session, secret=two.secret)
    with pytest.raises(Conflict), session.begin_nested():
        confirm_email(session, secret=one.secret)
    three = sign_up(session, name="Three", email=ADA, password_hash="h")
    assert three.is_known


def test_a_new_link_ends_the_one_before(session: Session) -> None:
    done = sign_up(session, name="Ada", email=ADA, password_hash="h")
    again = ask_to_confirm(session, tester_id=done.tester_id, email=ADA)
    with pytest.raises(LinkOver):
        confirm_email(session, secret=done.secret)
    confirm_email(session, secret=again.secret)


def test_who_has_an_address_does_not_sign_up_again(session: Session) -> None:
    ada = confirmed(session)
    with pytest.raises(Conflict):
        sign_up(session, name="Ada", email="b@bench.example", password_hash="h", tester_id=ada.id)


def test_no_address_or_name_is_in_the_journal(session: Session) -> None:
    ada = confirmed(session)
    asked = ask_new_email(session, tester_id=ada.id, email="new@bench.example")
    confirm_email(session, secret=asked.secret)
    change_password(session, tester_id=ada.id, password_hash="$argon2id$two")
    session.flush()
    entries = str(session.execute(sa.select(t.AuditEventRow.__table__)).all()).casefold()
    for word in ("quill", "bench.example", "argon2id"):
        assert word not in entries
    assert "e-mail confirmed" in entries


def test_a_secret_is_good_once_for_its_purpose_and_its_time(session: Session) -> None:
    late = new_secret(session, purpose=SecretPurpose.RESET_PASSWORD, minutes=-1)
    good = new_secret(session, purpose=SecretPurpose.RESET_PASSWORD, minutes=1)
    for secret, purpose in (
        (late, SecretPurpose.RESET_PASSWORD),
        (good, SecretPurpose.CONFIRM_EMAIL),
        ("", SecretPurpose.RESET_PASSWORD),
        ("\ud800", SecretPurpose.RESET_PASSWORD),
    ):
        with pytest.raises(LinkOver, match=OVER[:20]):
            use_secret(session, secret, purpose)
    use_secret(session, good, SecretPurpose.RESET_PASSWORD)
    with pytest.raises(LinkOver):
        use_secret(session, good, SecretPurpose.RESET_PASSWORD)
    kept = str(session.execute(sa.select(t.OneTimeSecretRow.__table__)).all())
    assert good not in kept
    assert secret_sha256(good) in kept
    assert forget_old_secrets(session) == 1


def test_of_two_who_use_a_link_at_once_one_is_refused(engine: Engine) -> None:
    with write_session(engine) as session:
        done = sign_up(session, name="Ada", email=ADA, password_hash="h")
        secret = ask_reset(session, tester_id=done.tester_id)
    together, outcomes = threading.Barrier(4), []

    def use(n: int) -> None:
        together.wait()
        try:
            with write_session(engine) as session:
                reset_password(session, secret=secret, password_hash=f"h{n}")
            outcomes.append("done")
        except LinkOver:
            outcomes.append("over")

    threads = [threading.Thread(target=use, args=(n,)) for n in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(outcomes) == ["done", "over", "over", "over"]


def test_a_code_is_taken_once_even_by_two_at_once(engine: Engine, tmp_path: Path) -> None:
    with write_session(engine) as session:
        ada = confirmed(session)
        second_factor.begin_codes(session, tester_id=ada.id, data=tmp_path)
        secret = second_factor.pending_secret(session, tester_id=ada.id, data=tmp_path)
        assert secret is not None
        early = pyotp.TOTP(secret).at(datetime.now(UTC) - timedelta(seconds=30))
        second_factor.confirm_codes(session, tester_id=ada.id, code=early, data=tmp_path)
    together, taken = threading.Barrier(4), []
    code = pyotp.TOTP(secret).now()

    def take() -> None:
        together.wait()
        with write_session(engine) as session:
            taken.append(
                second_factor.take_code(session, tester_id=ada.id, code=code, data=tmp_path)
            )

    threads = [threading.Thread(target=take) for _ in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(taken) == [False, False, False, True]


def test_codes_are_removed_with_their_recovery_codes(session: Session, tmp_path: Path) -> None:
    ada = confirmed(session)
    second_factor.begin_codes(session, tester_id=ada.id, data=tmp_path)
    secret = second_factor.pending_secret(session, tester_id=ada.id, data=tmp_path)
    assert secret is not None
    code = pyotp.TOTP(secret).now()
    (one, *_) = second_factor.confirm_codes(session, tester_id=ada.id, code=code, data=tmp_path)
    with pytest.raises(Conflict):
        second_factor.begin_codes(session, tester_id=ada.id, data=tmp_path)
    second_factor.remove_codes(session, tester_id=ada.id)
    assert not second_factor.take_code(session, tester_id=ada.id, code=one, data=tmp_path)
    assert not account_by_id(session, tester_id=ada.id).has_second_factor


def with_passkey(session: Session) -> tuple[Tester, SoftPasskey]:
    ada = confirmed(session)
    device = SoftPasskey(PARTY.id, PARTY.origin)
    options = passkeys.ask_new_passkey(session, tester_id=ada.id, party=PARTY)
    passkeys.add_passkey(
        session, tester_id=ada.id, answer=device.make(options), label="  Phone ", party=PARTY
    )
    return ada, device


def prove(session: Session, answer: str) -> int:
    return passkeys.sign_in_with_passkey(session, answer=answer, party=PARTY)


def test_a_passkey_signs_its_owner_in_once_an_answer(session: Session) -> None:
    ada, device = with_passkey(session)
    answer = device.prove(passkeys.ask_passkey(session, party=PARTY))
    assert prove(session, answer) == ada.id
    with pytest.raises(InvalidInput):
        prove(session, answer)
    (key,) = account_by_id(session, tester_id=ada.id).passkeys
    assert key.label == "Phone"
    assert key.used_at is not None


@pytest.mark.parametrize(
    "change",
    [
        {"origin": "https://ledger.test.other.example"},
        {"host": "other.example"},
        {"flags": USER_PRESENT},
        {"flags": 0},
        {"count": -1},  # a copy of the key that was used before
        {"credential_id": b"another"},
    ],
    ids=str,
)
def test_an_answer_that_does_not_hold_signs_nobody_in(session: Session, change) -> None:
    _, device = with_passkey(session)
    prove(session, device.prove(passkeys.ask_passkey(session, party=PARTY)))
    for name, value in change.items():
        setattr(device, name, value)
    with pytest.raises(InvalidInput):
        prove(session, device.prove(passkeys.ask_passkey(session, party=PARTY)))


def test_another_key_and_another_challenge_sign_nobody_in(session: Session) -> None:
    ada, device = with_passkey(session)
    forged = SoftPasskey(PARTY.id, PARTY.origin, count=5)
    with pytest.raises(InvalidInput):
        prove(session, forged.prove(passkeys.ask_passkey(session, party=PARTY)))
    with pytest.raises(InvalidInput):
        prove(session, device.prove('{"challenge": "bm90IG91cnM"}'))
    # A challenge for adding one is none for signing in.
    with pytest.raises(InvalidInput):
        prove(
            session,
            device.prove(passkeys.ask_new_passkey(session, tester_id=ada.id, party=PARTY)),
        )
    for nonsense in ("", "{}", "[]", "null", '{"response": 5}', "\ud800", '{"id": 1}'):
        with pytest.raises(InvalidInput):
            prove(session, nonsense)


def test_a_passkey_is_one_accounts_alone(session: Session) -> None:
    _, device = with_passkey(session)
    bo = confirmed(session, "Bo Marsh", "bo@bench.example")
    options = passkeys.ask_new_passkey(session, tester_id=bo.id, party=PARTY)
    with pytest.raises(Conflict), session.begin_nested():
        passkeys.add_passkey(
            session, tester_id=bo.id, answer=device.make(options), label="x", party=PARTY
        )
    answer = device.prove(passkeys.ask_passkey(session, party=PARTY))
    with pytest.raises(InvalidInput):
        passkeys.sign_in_with_passkey(session, answer=answer, party=PARTY, tester_id=bo.id)


def test_nobody_ends_anothers_sign_in_or_passkey(session: Session) -> None:
    ada, _ = with_passkey(session)
    bo = confirmed(session, "Bo Marsh", "bo@bench.example")
    assert ada.session_id is not None
    with pytest.raises(NotFound):
        end_sign_in(session, tester=bo, public_id=ada.session_id)
    (key,) = account_by_id(session, tester_id=ada.id).passkeys
    with pytest.raises(NotFound):
        passkeys.remove_passkey(session, tester_id=bo.id, public_id=key.public_id)
    start_session(session, tester_id=bo.id, hours=1)
    assert end_other_sign_ins(session, tester=bo) == 1
    assert len(list_sign_ins(session, tester_id=bo.id)) == 1
    assert len(list_sign_ins(session, tester_id=ada.id)) == 1


def test_a_use_is_noted_once_an_hour(session: Session) -> None:
    ada = confirmed(session)
    assert not is_due(ada)
    old = now() - timedelta(hours=2)
    session.execute(sa.update(t.WebSessionRow).values(seen_at=old))
    note_use(session, tester=ada)
    (one,) = list_sign_ins(session, tester_id=ada.id)
    assert one.seen_at > old


def test_unconfirmed_accounts_end_after_their_week(session: Session) -> None:
    kept = confirmed(session)
    gone = sign_up(session, name="Bo Marsh", email="bo@bench.example", password_hash="h")
    session.execute(
        sa.update(t.TesterRow)
        .where(t.TesterRow.id == gone.tester_id)
        .values(expires_at=now() - timedelta(minutes=1))
    )
    end_expired_visits(session)
    names = session.execute(sa.select(t.TesterRow.name)).scalars().all()
    assert names == [kept.name]


def test_people_are_found_by_a_part_of_the_name_or_the_whole_address(session: Session) -> None:
    confirmed(session)
    confirmed(session, "Bo 100% Marsh", "bo@bench.example")
    start_visit(session)

    def found(text: str | None) -> list[str]:
        return [one.name for one in list_people(session, text=text).items]

    assert found(None) == ["Ada Quill", "Bo 100% Marsh"]
    assert found("QUIL") == ["Ada Quill"]
    assert found("100%") == ["Bo 100% Marsh"]
    assert found("%") == ["Bo 100% Marsh"]
    assert found("BO@bench.example") == ["Bo 100% Marsh"]
    assert found("bench.example") == []
    first = list_people(session, limit=1)
    second = list_people(session, limit=1, cursor=first.next)
    assert [one.name for one in second.items] == ["Bo 100% Marsh"]
    assert second.next is None


def test_a_commands_token_comes_after_approval_and_once(session: Session) -> None:
    ada = confirmed(session)
    begun = begin_command_sign_in(session, where="bench\n one", address="203.0.113.7")
    typed = begun.code.lower().replace("-", " ")
    assert fetch_command_token(session, code=typed, secret=begun.secret) is None
    decide_command_sign_in(session, code=typed, tester=ada, is_approved=True)
    with pytest.raises(LinkOver):
        fetch_command_token(session, code=begun.code, secret="x")
    issued = fetch_command_token(session, code=begun.code, secret=begun.secret)
    assert issued is not None
    session.flush()
    found = people.tester_for_token(session, token=issued.token)
    assert found is not None
    assert (found.id, found.scopes) == (ada.id, {"send"})
    with pytest.raises(BenchledgerError):
        fetch_command_token(session, code=begun.code, secret=begun.secret)
