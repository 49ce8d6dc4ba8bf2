"""Consent to the data licence and ties to makers: asked once, recorded with the account."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from server.errors import InvalidInput, NotAllowed, Problem
from server.model.people import TieKind
from server.model.views import Tester
from server.store.database import insert_if_absent
from server.store.identity import match_key
from server.store.journal import OPERATOR, Actor, by, now, record
from server.store.tables import ExternalIdentityRow, MakerTieRow, PasskeyRow, TesterRow

DATA_LICENCE = "CC BY 4.0"
MAX_TIES = 20
MAX_MAKER = 100


@dataclass(frozen=True, slots=True)
class Consent:
    """What an account has agreed to. `licence` None: it was not asked yet."""

    licence: str | None
    ties: tuple[str, ...]

    @property
    def is_given(self) -> bool:
        return self.licence == DATA_LICENCE


def record_consent(
    session: Session, *, tester: Tester, licence: str, ties: Sequence[str] = ()
) -> Consent:
    """Record that a tester places what they send under the data licence, and their ties to makers.

    Parameters
    ----------
    licence : the one that was agreed to, DATA_LICENCE.
    ties : names of makers the tester works for or is paid by; added to those recorded before.

    Raises
    ------
    InvalidInput: another licence, or a tie without a name.
    """
    problems = []
    if licence != DATA_LICENCE:
        told = f"runs are placed under {DATA_LICENCE}, not “{licence[:40]}”."
        problems.append(Problem(told, f"Agree to {DATA_LICENCE}.", field="licence"))
    makers = [" ".join(one.split()) for one in ties]
    if len(makers) > MAX_TIES or any(not one or len(one) > MAX_MAKER for one in makers):
        told = f"name at most {MAX_TIES} makers, each in 1 to {MAX_MAKER} characters."
        problems.append(Problem(told, "Correct the list.", field="ties"))
    if problems:
        raise InvalidInput("consent", problems)
    row = session.get_one(TesterRow, tester.id)
    if row.consented_licence != DATA_LICENCE:
        _note(session, row, actor=by(tester))
    for maker in makers:
        _tie(session, tester, maker)
    session.flush()
    return consent_of(session, tester=tester)


def consent_of(session: Session, *, tester: Tester) -> Consent:
    """What a tester has agreed to, and the makers they named."""
    tie = MakerTieRow
    makers = session.execute(
        select(tie.maker)
        .where(tie.tester_id == tester.id, tie.kind == TieKind.TIE.value)
        .order_by(tie.id)
    ).scalars()
    row = session.get_one(TesterRow, tester.id)
    is_given = row.consented_licence is not None or _is_of_command(session, row)
    return Consent(row.consented_licence or (DATA_LICENCE if is_given else None), tuple(makers))


def check_consent(session: Session, *, tester_id: int) -> None:
    """Refuse a run by somebody who was never asked.

    An account of the command has no way to be asked: the operator who issued its token answers for
    it, which is recorded with its next run where it was not with the token.

    Raises
    ------
    NotAllowed: no consent is recorded; the message says how to give it.
    """
    row = session.get_one(TesterRow, tester_id)
    if row.consented_licence is not None:
        return
    if not _is_of_command(session, row):
        raise NotAllowed(
            f"What is sent is published under {DATA_LICENCE}, which its sender agrees to once: on "
            "the last step of sending a run, or with POST /api/v1/testers/me/consent "
            f'{{"licence": "{DATA_LICENCE}", "ties": []}}.'
        )
    consent_by_operator(session, tester_id=tester_id)


def consent_by_operator(session: Session, *, tester_id: int, actor: Actor = OPERATOR) -> None:
    """Note, once, that an operator answers for an account that only has tokens."""
    row = session.get_one(TesterRow, tester_id)
    if row.consented_licence is None and _is_of_command(session, row):
        _note(session, row, actor=actor)


def _note(session: Session, row: TesterRow, *, actor: Actor) -> None:
    row.consented_at, row.consented_licence = now(), DATA_LICENCE
    record(
        session,
        actor=actor,
        act="licence agreed to",
        subject_kind="tester",
        subject_id=row.id,
        after={"licence": DATA_LICENCE},
    )


def _tie(session: Session, tester: Tester, maker: str) -> None:
    values = {
        "tester_id": tester.id,
        "maker_key": match_key(maker),
        "maker": maker,
        "kind": TieKind.TIE.value,
        "created_at": now(),
    }
    unique = ("tester_id", "maker_key", "kind")
    if insert_if_absent(session, MakerTieRow, values, unique=unique):
        record(
            session,
            actor=by(tester),
            act="tie declared",
            subject_kind="tester",
            subject_id=tester.id,
            after={"maker_key": match_key(maker)},
        )


def _is_of_command(session: Session, row: TesterRow) -> bool:
    if row.email is not None or row.password_hash is not None:
        return False
    known = exists().where(ExternalIdentityRow.tester_id == row.id)
    passkey = exists().where(PasskeyRow.tester_id == row.id)
    return not session.execute(select(known | passkey)).scalar_one()
