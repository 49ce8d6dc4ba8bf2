"""Passwords: which are taken, how they are kept (argon2id), how they are checked.

64 MiB and 50 to 100 ms a hash on purpose; whoever calls these keeps the number of hashes at one
time small, and never holds a database session meanwhile.

Sources: RFC 9106, 4 (argon2id, second recommended option); NIST SP 800-63B, 5.1.1 (length before
composition, common values refused, Unicode normalised before hashing).
"""

import re
import unicodedata
from functools import cache
from typing import TYPE_CHECKING

from server.errors import Problem

if TYPE_CHECKING:
    from argon2 import PasswordHasher

MIN_LENGTH = 10
MAX_LENGTH = 200
TIME_COST = 3  # RFC 9106, 4
MEMORY_KIB = 64 * 1024  # RFC 9106, 4
LANES = 4  # RFC 9106, 4
# Of zxcvbn's 0 to 4: below, a common word or pattern with little added.
MIN_SCORE = 3
# What the estimator looks at; it is slow on longer ones, and those are never common.
_SCORED_LENGTH = 72


def password_problem(password: str, *, about: tuple[str, ...] = ()) -> Problem | None:
    """What is wrong with a new password; None if it may be used.

    Parameters
    ----------
    about : name and e-mail of its owner; a password made from them is easily guessed.
    """
    length = len(_normal(password))
    if length < MIN_LENGTH:
        message = f"it is shorter than {MIN_LENGTH} characters."
    elif length > MAX_LENGTH:
        message = f"it is longer than {MAX_LENGTH} characters."
    elif _score(password, about) < MIN_SCORE:
        message = "it is one of those that are tried first, or close to one."
    else:
        return None
    remedy = "Four or five words that have nothing to do with one another are a good one."
    return Problem(message, remedy, field="password")


def hash_password(password: str) -> str:
    """The argon2id hash to keep, with its parameters and salt in it."""
    return _hasher().hash(_normal(password))


def is_password(kept: str | None, password: str) -> bool:
    """Whether it is the password of this hash. None takes as long, and is never it."""
    from argon2.exceptions import InvalidHashError, VerificationError

    normal = _normal(password)
    if len(normal) > MAX_LENGTH:
        normal = ""
    try:
        return _hasher().verify(kept or _nobodys_hash(), normal) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


def is_outdated(kept: str) -> bool:
    """Whether a hash was made with other parameters than today's."""
    return _hasher().check_needs_rehash(kept)


@cache
def _hasher() -> "PasswordHasher":
    from argon2 import PasswordHasher

    return PasswordHasher(time_cost=TIME_COST, memory_cost=MEMORY_KIB, parallelism=LANES)


@cache
def _nobodys_hash() -> str:
    return _hasher().hash("nobody has this password")


def _normal(password: str) -> str:
    return unicodedata.normalize("NFKC", password.encode(errors="replace").decode())


def _score(password: str, about: tuple[str, ...]) -> int:
    from zxcvbn import zxcvbn

    words = [text.casefold() for text in about]
    parts = [re.findall(r"\w+", text.casefold()) for text in about]
    words += [word for one in parts for word in (*one, "".join(one), "".join(one[:2]))]
    found = zxcvbn(password[:_SCORED_LENGTH], user_inputs=["benchledger", *words])
    return int(found["score"])
