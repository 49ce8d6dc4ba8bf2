"""Testers, their tokens and sign-ins, and text by people that may have to be erased."""

from datetime import datetime

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from server.store.tables.metadata import JsonList, Key, PublicId, Table


class TesterRow(Table):
    __tablename__ = "tester"

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    name: Mapped[str]
    created_at: Mapped[datetime]


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


class WebSessionRow(Table):
    """A sign-in. The cookie's key is kept as its SHA-256; it ends with its token."""

    __tablename__ = "web_session"

    sha256: Mapped[str] = mapped_column(primary_key=True)
    token_id: Mapped[int] = mapped_column(ForeignKey("api_token.id"), index=True)
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime] = mapped_column(index=True)


class PersonTextRow(Table):
    """Free text by a person, apart from the journal so that erasing it breaks no seal."""

    __tablename__ = "person_text"

    id: Mapped[Key]
    tester_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"), index=True)
    text: Mapped[str | None]
