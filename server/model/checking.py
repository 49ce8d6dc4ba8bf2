"""What a check of the whole record finds, and a head of the journal as it was signed."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Part(StrEnum):
    """What is checked, in the order it is done."""

    JOURNAL = "journal"
    HEADS = "heads"
    ROWS = "rows"
    LISTING = "listing"
    FIGURES = "figures"
    FILES = "files"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it was written, in plain words, and what to do."""

    part: Part
    place: str
    message: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message} {self.remedy}"


@dataclass(frozen=True, slots=True)
class Note:
    """What a check has to say that is no fault."""

    part: Part
    message: str


@dataclass(frozen=True, slots=True)
class SignedHead:
    """The digest of the journal's newest seal, as it was signed.

    `n_seals`: how many seals the chain had; the newest one is the one of that number.
    """

    n_seals: int
    digest: str
    signed_at: datetime
    key_id: str
    signature: str


# Told of each part as it begins, with how many things are in it, and of each that is done.
OnStep = Callable[[Part, int], None]
OnDone = Callable[[int], None]


def ignore_step(_part: Part, _n: int) -> None:
    """Nobody watches."""


def ignore_done(_n: int) -> None:
    """Nobody watches."""
