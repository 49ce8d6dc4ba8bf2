"""Which passwords are taken, and how they are kept and checked."""

import pytest
from argon2 import PasswordHasher, extract_parameters

from server.credentials.emails import email_key, read_email
from server.credentials.passwords import (
    MAX_LENGTH,
    hash_password,
    is_outdated,
    is_password,
    password_problem,
)
from server.errors import InvalidInput

GOOD = "ferrite drizzle mango atlas"


@pytest.mark.parametrize(
    ("password", "word"),
    [
        ("short", "shorter"),
        ("ninechars", "shorter"),
        ("x" * (MAX_LENGTH + 1), "longer"),
        ("password123", "tried first"),
        ("1234567890", "tried first"),
        ("qwertyuiop", "tried first"),
        ("benchledger1", "tried first"),
        ("AdaQuill2026", "tried first"),
        ("aaaaaaaaaaaaaaaa", "tried first"),
    ],
)
def test_a_password_that_is_guessed_first_is_refused(password: str, word: str) -> None:
    problem = password_problem(password, about=("Ada Quill", "ada.quill@bench.example"))
    assert problem is not None
    assert word in problem.message


@pytest.mark.parametrize("password", [GOOD, "é" * 3 + "tupenzig wharf", "f7#Kq9!zLw2p", GOOD * 7])
def test_a_good_password_is_taken(password: str) -> None:
    assert password_problem(password, about=("Ada Quill",)) is None


def test_a_hash_is_argon2id_salted_and_checks_its_password_alone() -> None:
    kept, again = hash_password(GOOD), hash_password(GOOD)
    assert kept.startswith("$argon2id$")
    assert kept != again
    parameters = extract_parameters(kept)
    assert (parameters.time_cost, parameters.memory_cost, parameters.parallelism) == (3, 65536, 4)
    assert is_password(kept, GOOD)
    assert not is_password(kept, GOOD + " ")
    assert not is_password(kept, "")
    assert not is_password(kept, GOOD * 50)


def test_nobody_has_no_password() -> None:
    assert not is_password(None, "nobody has this password")
    assert not is_password("not a hash", GOOD)


def test_one_password_typed_in_two_normal_forms_is_one() -> None:
    assert is_password(hash_password("caf\u00e9 under the bridge"), "cafe\u0301 under the bridge")


def test_a_hash_of_other_parameters_is_outdated() -> None:
    assert not is_outdated(hash_password(GOOD))
    assert is_outdated(PasswordHasher(time_cost=1, memory_cost=8192, parallelism=1).hash(GOOD))


def test_an_address_is_read_as_it_is_written_to() -> None:
    assert read_email(" Ada.Quill@BENCH.example ") == "Ada.Quill@bench.example"
    assert email_key("Ada.Quill@bench.example") == email_key("ada.quill@bench.example")


@pytest.mark.parametrize(
    "text", ["", "ada", "ada@", "@bench.example", "a b@bench.example", "ada@b\nBcc: x@y.example",
             "a@" + "x" * 300 + ".example", "ada@[127.0.0.1]", "Ada <ada@bench.example>"],
)  # fmt: skip
def test_what_is_no_address_is_refused(text: str) -> None:
    with pytest.raises(InvalidInput):
        read_email(text)
