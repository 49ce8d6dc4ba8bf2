"""The letters: short, plain text. A link opens a page; what acts is a button there."""

from dataclasses import dataclass

_FOOT = "\n\n-- \nBenchledger, a shared ledger of bench tests\n{origin}/\n"


@dataclass(frozen=True, slots=True)
class Letter:
    to: str
    subject: str
    text: str


def _letter(origin: str, to: str, subject: str, text: str) -> Letter:
    return Letter(to, f"{subject} · Benchledger", text + _FOOT.format(origin=origin))


def confirm_email(*, origin: str, to: str, secret: str, hours: int) -> Letter:
    return _letter(
        origin,
        to,
        "Confirm your e-mail address",
        "Somebody, most likely you, signed up with this address. Open\n\n"
        f"  {origin}/confirm?secret={secret}\n\n"
        f"and press the button there; the link is good for {hours} hours.\n"
        "If it was not you, do nothing: without the button no account has your address.",
    )


def known_already(*, origin: str, to: str) -> Letter:
    """The page says the same to everybody; who owns the mailbox is told what happened."""
    return _letter(
        origin,
        to,
        "You have an account already",
        "Somebody, most likely you, signed up with this address, which has an account here\n"
        f"already. Sign in with it:\n\n  {origin}/sign-in\n\n"
        f"A forgotten password is set anew at\n\n  {origin}/reset\n\n"
        "What was tried just now comes along when you sign in in the same browser.\n"
        "If it was not you, there is nothing to do: nothing was changed.",
    )


def change_email(*, origin: str, to: str, secret: str, hours: int) -> Letter:
    return _letter(
        origin,
        to,
        "Confirm your new e-mail address",
        "This address was given as the new one of an account. Open\n\n"
        f"  {origin}/confirm?secret={secret}\n\n"
        f"and press the button there; the link is good for {hours} hours.\n"
        "If it was not you, do nothing: without the button nothing changes.",
    )


def email_changing(*, origin: str, to: str) -> Letter:
    """To the old address, when a new one is asked for; it does not name the new one."""
    return _letter(
        origin,
        to,
        "Your account is getting another e-mail address",
        "Your account was asked to use another address. It does so once the link sent there is\n"
        "used. If that is you, there is nothing to do. If not, somebody has your password: set a\n"
        f"new one, which ends every other sign-in:\n\n  {origin}/reset",
    )


def email_changed(*, origin: str, to: str) -> Letter:
    return _letter(
        origin,
        to,
        "Your account has another e-mail address",
        "Your account uses another address from now on; this one is not written to again.\n"
        "If that was not you, write to whoever keeps this ledger.",
    )


def reset_password(*, origin: str, to: str, secret: str, minutes: int) -> Letter:
    return _letter(
        origin,
        to,
        "Set a new password",
        "Somebody, most likely you, asked for a new password. Open\n\n"
        f"  {origin}/reset/password?secret={secret}\n\n"
        f"and choose one there; the link is good for {minutes} minutes.\n"
        "If it was not you, do nothing: the old one stays.",
    )


def no_account(*, origin: str, to: str) -> Letter:
    return _letter(
        origin,
        to,
        "There is no account with this address",
        "Somebody, most likely you, asked for a new password, but no account here has this\n"
        f"address. Perhaps you used another one; signing up is at\n\n  {origin}/sign-up",
    )


def sign_in_changed(*, origin: str, to: str, what: str) -> Letter:
    """A notice after a change of what lets somebody in. `what` is a whole sentence."""
    return _letter(
        origin,
        to,
        "Your sign-in was changed",
        f"{what}\n\nIf that was you, there is nothing to do. If not, set a new password, which\n"
        f"ends every other sign-in:\n\n  {origin}/reset",
    )


def confirm_mailbox(*, origin: str, to: str, maker: str, secret: str, hours: int) -> Letter:
    """To a mailbox of a maker, whose reader asked to answer for it."""
    return _letter(
        origin,
        to,
        f"Answer for {maker}",
        f"Somebody, most likely you, asked to answer for {maker} here. Open\n\n"
        f"  {origin}/speak-for?secret={secret}\n\n"
        "while you are signed in and press the button there; the link is good for "
        f"{hours} hours.\nIf it was not you, do nothing: without the button nothing happens.",
    )


def report_settled(*, origin: str, to: str, public_id: str) -> Letter:
    """To a reader who left an address with a report; what was decided stands on its page."""
    return _letter(
        origin,
        to,
        "Your report was looked at",
        f"What came of it, and why, stands at\n\n  {origin}/reports/{public_id}",
    )
