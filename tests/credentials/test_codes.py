"""Time-based codes against the RFC's table; a code works once; recovery codes."""

import base64
from datetime import UTC, datetime, timedelta

import pyotp
import pytest

from server.credentials.codes import (
    DIGITS,
    N_RECOVERY_CODES,
    new_recovery_codes,
    new_secret,
    recovery_digest,
    setup_address,
    setup_picture,
    step_of,
)

# RFC 6238, Appendix B, rows of SHA-1: the ASCII secret “12345678901234567890”, eight digits.
APPENDIX_B = (
    (59, "94287082", 0x1),
    (1111111109, "07081804", 0x23523EC),
    (1111111111, "14050471", 0x23523ED),
    (1234567890, "89005924", 0x273EF07),
    (2000000000, "69279037", 0x3F940AA),
    (20000000000, "65353130", 0x27BC86AA),
)
SECRET = base64.b32encode(b"12345678901234567890").decode()


@pytest.mark.parametrize(("unix_s", "eight_digits", "step"), APPENDIX_B)
def test_the_table_of_the_rfc(unix_s: int, eight_digits: str, step: int) -> None:
    """Ours are the last six of the eight digits: both are the same number modulo a power of ten."""
    at = datetime.fromtimestamp(unix_s, UTC)
    code = eight_digits[-DIGITS:]
    assert step_of(SECRET, code, at=at, last_step=None) == step
    assert step_of(SECRET, f"{code[:3]} {code[3:]}", at=at, last_step=step - 1) == step
    assert step_of(SECRET, code, at=at, last_step=step) is None


def test_a_code_is_good_one_step_early_and_late_and_no_further() -> None:
    secret, at = new_secret(), datetime(2026, 11, 26, 12, 0, 15, tzinfo=UTC)
    code = pyotp.TOTP(secret).at(at)
    taken = [
        step_of(secret, code, at=at + timedelta(seconds=30 * n), last_step=None) is not None
        for n in (-2, -1, 0, 1, 2)
    ]
    assert taken == [False, True, True, True, False]


@pytest.mark.parametrize("code", ["", "12345", "1234567", "abcdef", "１２３４５６", "12 34"])
def test_what_is_no_code_is_none(code: str) -> None:
    assert step_of(SECRET, code, at=datetime.now(UTC), last_step=None) is None


def test_an_authenticator_reads_the_address_as_it_was_meant() -> None:
    secret = new_secret()
    read = pyotp.parse_uri(setup_address(secret, account="ada@bench.example"))
    assert isinstance(read, pyotp.TOTP)
    assert (read.secret, read.name, read.issuer) == (secret, "ada@bench.example", "Benchledger")
    assert len(base64.b32decode(secret)) == 20
    picture = setup_picture(secret, account="ada@bench.example")
    assert picture.startswith("<svg")
    assert secret not in picture


def test_recovery_codes_differ_and_are_known_however_they_are_typed() -> None:
    codes = new_recovery_codes()
    assert len(set(codes)) == N_RECOVERY_CODES
    one = codes[0]
    assert len(one) == 19
    assert recovery_digest(one) == recovery_digest(f" {one.upper().replace('-', ' ')} ")
    assert recovery_digest(one) != recovery_digest(codes[1])
