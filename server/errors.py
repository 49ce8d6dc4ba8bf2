"""Errors of the domain. They know no HTTP; `problems.py` maps them for the API and the pages."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, where it is, and what to do."""

    message: str
    remedy: str
    row: int | None = None
    column: str | None = None
    field: str | None = None

    def __str__(self) -> str:
        places = [
            f"row {self.row}" if self.row is not None else "",
            f"column “{self.column}”" if self.column is not None else "",
            self.field or "",
        ]
        place = ", ".join(p for p in places if p)
        return f"{place + ': ' if place else ''}{self.message} {self.remedy}".strip()


class BenchledgerError(Exception):
    """Any refusal that is not a defect of ours."""


class Unusable(BenchledgerError):
    """A file or form that can't be used, with every problem found."""

    def __init__(self, name: str, problems: list[Problem]) -> None:
        self.name = name
        self.problems = problems
        super().__init__(f"{name}: " + " · ".join(str(p) for p in problems))


class UnusableLog(Unusable):
    """A log that can't be used."""


class UnusableBench(Unusable):
    """A bench file (or its JSON twin) with a value that can't be used."""


class InvalidInput(Unusable):
    """A form or request whose values make no sense together."""


class TooLarge(BenchledgerError):
    """Over a limit that the settings set; the message names the limit and its setting."""


class UnitError(BenchledgerError):
    """A unit that is not known, or of the wrong kind for its quantity."""


class InvalidSignal(BenchledgerError):
    """Arrays that no method can work on: too short, not finite, times that don't rise."""


class NotFound(BenchledgerError):
    """No such thing, or none that the asker may see."""


class AlreadySent(NotFound):
    """A draft that has become a run."""

    def __init__(self, draft_id: str, run_id: str) -> None:
        self.run_id = run_id
        super().__init__(f"The draft {draft_id} was sent: it is the run {run_id} now.")


class NotAllowed(BenchledgerError):
    """The asker is known but may not do this."""


class SignInNeeded(BenchledgerError):
    """A token is missing, unknown or expired."""


class ProofNeeded(BenchledgerError):
    """Signed in, but too long ago for what was asked: the password or passkey is asked again."""


class LinkOver(BenchledgerError):
    """A link or code from a letter or page that was used, has run out, or never was one of ours."""


class Conflict(BenchledgerError):
    """The thing changed meanwhile, or the same key was used for something else."""


class TooMany(BenchledgerError):
    """Tried more often than the settings allow."""

    def __init__(self, retry_after_s: int) -> None:
        self.retry_after_s = retry_after_s
        minutes = -(-retry_after_s // 60)
        wait = "a minute" if minutes == 1 else f"{minutes} minutes"
        super().__init__(f"This was done very often just now. Try again in {wait}.")


class Unavailable(BenchledgerError):
    """Something that the service stands on does not answer at present."""


class Moved(BenchledgerError):
    """The thing has another address now."""

    def __init__(self, location: str) -> None:
        self.location = location
        super().__init__(f"moved to {location}")
