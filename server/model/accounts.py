"""An account as its owner and as administrators see it."""

from dataclasses import dataclass
from datetime import datetime

from server.model.people import Role


@dataclass(frozen=True, slots=True)
class PasskeyView:
    public_id: str
    label: str
    created_at: datetime
    used_at: datetime | None


@dataclass(frozen=True, slots=True)
class SignInView:
    """One browser that is signed in. `token`: its label, where the sign-in was made with one."""

    public_id: str
    agent: str | None
    created_at: datetime
    seen_at: datetime
    expires_at: datetime
    token: str | None


@dataclass(frozen=True, slots=True)
class Known:
    """What is looked up for an address that somebody typed: as little for a known one."""

    tester_id: int
    email: str
    password_hash: str | None


@dataclass(frozen=True, slots=True)
class AccountView:
    """All of an account that its own page shows.

    `asked_email`: an address that is not confirmed yet. `password_hash` never leaves the server.
    """

    id: int
    public_id: str
    name: str
    role: Role
    email: str | None
    asked_email: str | None
    password_hash: str | None
    is_vouched: bool
    has_codes: bool
    n_recovery_codes: int
    passkeys: tuple[PasskeyView, ...]
    providers: tuple[str, ...]
    created_at: datetime

    @property
    def has_password(self) -> bool:
        return self.password_hash is not None

    @property
    def has_second_factor(self) -> bool:
        return self.has_codes or bool(self.passkeys)


@dataclass(frozen=True, slots=True)
class PersonRow:
    """An account in the administrators' list."""

    public_id: str
    name: str
    email: str | None
    role: Role
    is_vouched: bool
    has_second_factor: bool
    n_published: int
    created_at: datetime
