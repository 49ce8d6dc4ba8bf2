"""Roles, what each may do, and the words of accounts and moderation; stored by value."""

from collections.abc import Iterable
from enum import StrEnum


class Role(StrEnum):
    """What an account may do, from least to most.

    `visitor`: tries without an account, for a day. `reader`: an account whose e-mail address is not
    confirmed yet.
    """

    VISITOR = "visitor"
    READER = "reader"
    TESTER = "tester"
    MAINTAINER = "maintainer"
    ADMINISTRATOR = "administrator"


# The scopes: what one request may do.
DRAFT = "draft"  # keep a private draft and see its figures, no more
SEND = "send"  # that, and send runs for review in one's own name
MAINTAIN = "maintain"  # see what waits, decide on it
ADMINISTER = "administer"  # roles, standing, removals

SCOPES_OF_ROLE: dict[Role, frozenset[str]] = {
    Role.VISITOR: frozenset({DRAFT}),
    Role.READER: frozenset({DRAFT}),
    Role.TESTER: frozenset({SEND}),
    Role.MAINTAINER: frozenset({SEND, MAINTAIN}),
    Role.ADMINISTRATOR: frozenset({SEND, MAINTAIN, ADMINISTER}),
}
# What a sign-in without a second factor never reaches.
NEEDS_SECOND_FACTOR = frozenset({MAINTAIN, ADMINISTER})


def scopes_of(
    role: Role, *, token_scopes: Iterable[str] | None, has_second_factor: bool
) -> frozenset[str]:
    """What a request may do: its role's scopes, narrowed by its token or by how it signed in.

    Parameters
    ----------
    token_scopes : of the token that came along; None for a sign-in with password or passkey.
    has_second_factor : of that sign-in. A token was made by a sign-in that had one, so it is not
        asked again.
    """
    allowed = SCOPES_OF_ROLE[role]
    if token_scopes is not None:
        return allowed & frozenset(token_scopes)
    return allowed if has_second_factor else allowed - NEEDS_SECOND_FACTOR


class SecretPurpose(StrEnum):
    """What a one-time secret (a link in an e-mail, a code on a page) is good for."""

    CONFIRM_EMAIL = "confirm e-mail"
    CHANGE_EMAIL = "change e-mail"
    RESET_PASSWORD = "reset password"  # noqa: S105  a purpose, not one
    CONFIRM_MAILBOX = "confirm mailbox"  # of a maker's representative
    RECOVERY = "recovery"  # instead of a lost second factor
    CHALLENGE = "challenge"  # of a passkey or an identity provider
    COMMAND = "command"  # `benchledger login`, approved in the browser


class TieKind(StrEnum):
    """How a person stands to a maker: a tie declared, or a representative checked by mailbox."""

    TIE = "tie"
    REPRESENTATIVE = "representative"


class ConcernKind(StrEnum):
    """Why somebody wrote: a problem with a figure, a contested return, a complaint, a wish."""

    PROBLEM = "problem"
    CONTEST = "contest"
    NOTICE = "notice"
    REQUEST = "request"


class ConcernState(StrEnum):
    OPEN = "open"
    SETTLED = "settled"


class StatementKind(StrEnum):
    """A maker's answer to a claim, or what a tester heard when asking."""

    MAKER = "maker"
    CORRESPONDENCE = "correspondence"


class PhotoState(StrEnum):
    WORKING = "working"
    READY = "ready"
    REFUSED = "refused"
