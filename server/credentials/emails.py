"""Addresses of e-mail: whether one can be one, and what two spellings of it share."""

from server.errors import InvalidInput, Problem

MAX_LENGTH = 254  # RFC 5321, 4.5.3.1.3


def read_email(text: str) -> str:
    """The address as it is written to; nothing is looked up.

    Raises
    ------
    InvalidInput: it is no address.
    """
    from email_validator import EmailNotValidError, validate_email

    try:
        found = validate_email(
            text.strip()[: MAX_LENGTH + 1], check_deliverability=False, test_environment=True
        )
    except EmailNotValidError as error:
        problem = Problem(
            "this is no e-mail address.", "It reads name@place.example.", field="email"
        )
        raise InvalidInput("e-mail", [problem]) from error
    return found.normalized


def email_key(email: str) -> str:
    """What an account is found by: no mailbox of our time tells capitals apart."""
    return email.casefold()
