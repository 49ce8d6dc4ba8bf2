"""What the pages of accounts are made of: forms with their fields, one template for most."""

from dataclasses import dataclass

from server.errors import InvalidInput, Problem
from server.pages.shapes import Head, Link, Option


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form. `kind` is the input's type, or `select`."""

    name: str
    label: str
    kind: str = "text"
    value: str = ""
    autocomplete: str = "off"
    help: str | None = None
    is_required: bool = True
    options: tuple[Option, ...] = ()


@dataclass(frozen=True, slots=True)
class FormShown:
    """A form that is sent to `action`. `note` stands above its fields, `title` above that."""

    action: str
    button: str
    fields: tuple[Field, ...] = ()
    hidden: tuple[tuple[str, str], ...] = ()
    title: str | None = None
    note: str | None = None
    is_main: bool = True
    # "create" or "get": the button first asks the browser for a passkey.
    passkey: str | None = None
    options_address: str | None = None


@dataclass(frozen=True, slots=True)
class FormsPage:
    """A page of words and forms."""

    head: Head
    lead: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    problem_title: str = "That did not work"
    told: str | None = None
    forms: tuple[FormShown, ...] = ()
    codes: tuple[str, ...] = ()
    picture: str | None = None
    picture_text: str | None = None
    links: tuple[Link, ...] = ()


def head_of(title: str, path: str, description: str | None = None) -> Head:
    return Head(title=title, description=description or f"{title}.", path=path, is_indexed=False)


def shown(problem: Problem) -> str:
    """A problem as a sentence that begins with what it is about."""
    about = {"email": "The e-mail address", "password": "The password", "name": "The name"}
    subject = about.get(problem.field or "")
    if subject is None:
        return f"{problem.message[:1].upper()}{problem.message[1:]} {problem.remedy}"
    message = problem.message.removeprefix("it ").removeprefix("this ")
    if message == problem.message:
        return f"{subject}: {problem.message} {problem.remedy}"
    return f"{subject} {message} {problem.remedy}"


def all_shown(refusal: InvalidInput) -> tuple[str, ...]:
    return tuple(shown(problem) for problem in refusal.problems)


EMAIL = Field("email", "E-mail address", kind="email", autocomplete="username")
PASSWORD = Field("password", "Password", kind="password", autocomplete="current-password")
NEW_PASSWORD = Field(
    "password",
    "Password",
    kind="password",
    autocomplete="new-password",
    help="At least 10 characters. Four or five words that have nothing to do with one another "
    "are a good one.",
)
CODE = Field(
    "code",
    "Code",
    autocomplete="one-time-code",
    help="The six digits that your authenticator shows now, or one of your recovery codes.",
)
