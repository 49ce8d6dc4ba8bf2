"""Accounts, what lets them in, and text by people that may have to be erased."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.model.people import Role, SecretPurpose, TieKind
from server.store.tables.metadata import JsonDict, JsonList, Key, PublicId, Table, one_of


class TesterRow(Table):
    """An account. A visitor's is without name and e-mail and ends after a day unless signed up.

    One made by the command has a name and tokens only. An erased one keeps its keys, so that runs
    and journal stay whole, and a neutral name.
    """

    __tablename__ = "tester"
    __table_args__ = (Index("uq_tester_email_key", "email_key", unique=True),)

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    name: Mapped[str]
    created_at: Mapped[datetime]
    role: Mapped[str] = mapped_column(server_default=Role.TESTER.value)
    email: Mapped[str | None]
    email_key: Mapped[str | None]
    email_confirmed_at: Mapped[datetime | None]
    password_hash: Mapped[str | None]
    # An administrator's word stands in for the runs that good standing asks for.
    is_vouched: Mapped[bool] = mapped_column(server_default="0")
    consented_at: Mapped[datetime | None]
    consented_licence: Mapped[str | None]
    expires_at: Mapped[datetime | None] = mapped_column(index=True)
    erased_at: Mapped[datetime | None]
    # From one calibration of an instrument to the next; without: the usual interval.
    calibration_months: Mapped[int | None]


class ApiTokenRow(Table):
    """Only the SHA-256 of a token is kept."""

    __tablename__ = "api_token"

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    label: Mapped[str]
    sha256: Mapped[str] = mapped_column(unique=True)
    scopes: Mapped[JsonList]
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
    used_at: Mapped[datetime | None]


class WebSessionRow(Table):
    """A sign-in. The cookie's key is kept as its SHA-256; one made with a token ends with it.

    `proved_at`: when password, passkey or token was last given; `second_factor_at`: likewise.
    """

    __tablename__ = "web_session"

    sha256: Mapped[str] = mapped_column(primary_key=True)
    public_id: Mapped[PublicId]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    token_id: Mapped[int | None] = mapped_column(ForeignKey("api_token.id"), index=True)
    agent: Mapped[str | None]
    created_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    proved_at: Mapped[datetime | None]
    second_factor_at: Mapped[datetime | None]
    expires_at: Mapped[datetime] = mapped_column(index=True)


class OneTimeSecretRow(Table):
    """A link or code that works once and for a while; known by its SHA-256."""

    __tablename__ = "one_time_secret"
    __table_args__ = (CheckConstraint(one_of("purpose", SecretPurpose), name="purpose_known"),)

    sha256: Mapped[str] = mapped_column(primary_key=True)
    purpose: Mapped[str]
    tester_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"), index=True)
    payload: Mapped[JsonDict]
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime] = mapped_column(index=True)
    used_at: Mapped[datetime | None]


class PasskeyRow(Table):
    __tablename__ = "passkey"

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    credential_id: Mapped[str] = mapped_column(unique=True)
    public_key: Mapped[str]
    sign_count: Mapped[int]
    label: Mapped[str]
    created_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class TotpRow(Table):
    """A second factor by time-based codes (RFC 6238). `last_step`: no code works twice."""

    __tablename__ = "totp"

    tester_id: Mapped[int] = mapped_column(
        ForeignKey("tester.id"), primary_key=True, autoincrement=False
    )
    sealed_secret: Mapped[str]
    confirmed_at: Mapped[datetime | None]
    last_step: Mapped[int | None]


class ExternalIdentityRow(Table):
    """A sign-in by OpenID Connect: an account is known by issuer and subject, never by e-mail."""

    __tablename__ = "external_identity"
    __table_args__ = (UniqueConstraint("issuer", "subject"),)

    id: Mapped[Key]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    issuer: Mapped[str]
    subject: Mapped[str]
    created_at: Mapped[datetime]


class MakerTieRow(Table):
    """Who has ties with a maker, or speaks for it (then `confirmed_at`, through a mailbox)."""

    __tablename__ = "maker_tie"
    __table_args__ = (
        UniqueConstraint("tester_id", "maker_key", "kind"),
        CheckConstraint(one_of("kind", TieKind), name="kind_known"),
    )

    id: Mapped[Key]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"))
    maker_key: Mapped[str] = mapped_column(index=True)
    maker: Mapped[str]
    kind: Mapped[str]
    mailbox: Mapped[str | None]
    confirmed_at: Mapped[datetime | None]
    created_at: Mapped[datetime]


class MakerDomainRow(Table):
    """The mail domain of a maker, set by maintainers; its representatives have a mailbox there."""

    __tablename__ = "maker_domain"
    __table_args__ = (UniqueConstraint("maker_key", "domain"),)

    id: Mapped[Key]
    maker_key: Mapped[str]
    domain: Mapped[str]
    set_by_id: Mapped[int] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]


class PersonTextRow(Table):
    """Free text by a person, apart from the journal so that erasing it breaks no seal.

    An entry holds the SHA-256 of salt and text, so that a changed text shows; erasing takes the
    salt along, so that nobody can guess the text from what is left.
    """

    __tablename__ = "person_text"

    id: Mapped[Key]
    tester_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"), index=True)
    text: Mapped[str | None]
    salt: Mapped[str | None]
