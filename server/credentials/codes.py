"""Codes of a second factor: time-based (RFC 6238), and recovery codes for when those are lost."""

import hashlib
import io
import secrets
from collections.abc import Iterable
from datetime import datetime

ISSUER = "Benchledger"
STEP_S = 30  # RFC 6238, 4: the recommended X
DIGITS = 6
# One step early or late: clocks differ, and typing takes time (RFC 6238, 5.2).
WINDOW_STEPS = 1
N_RECOVERY_CODES = 10
# Without what is misread; 16 of them hold 78 bits.
_LETTERS = "abcdefghjkmnpqrstvwxyz23456789"


def new_secret() -> str:
    """A fresh shared secret, 160 bits in base 32 (RFC 4226, 4: the recommended length)."""
    import pyotp

    return pyotp.random_base32(32)


def step_of(secret: str, code: str, *, at: datetime, last_step: int | None) -> int | None:
    """The time step a code belongs to; None for a wrong one and for one of a step already used.

    Parameters
    ----------
    last_step : the step of the last code that was taken; an observed code is worth nothing then.
    """
    import pyotp

    digits = "".join(code.split())
    if not (digits.isascii() and digits.isdigit() and len(digits) == DIGITS):
        return None
    totp = pyotp.TOTP(secret, digits=DIGITS, interval=STEP_S)
    now_step = totp.timecode(at)
    for step in range(now_step - WINDOW_STEPS, now_step + WINDOW_STEPS + 1):
        is_fresh = last_step is None or step > last_step
        if is_fresh and secrets.compare_digest(totp.generate_otp(step), digits):
            return step
    return None


def setup_address(secret: str, *, account: str) -> str:
    """What an authenticator reads off the picture."""
    import pyotp

    return pyotp.TOTP(secret).provisioning_uri(name=account, issuer_name=ISSUER)


def setup_picture(secret: str, *, account: str) -> str:
    """That address as a square code, SVG to stand in a page: dark on light in either scheme."""
    import segno

    out = io.BytesIO()
    segno.make(setup_address(secret, account=account), error="m").save(
        out, kind="svg", scale=4, border=4, dark="#000", light="#fff", xmldecl=False, svgns=False
    )
    return out.getvalue().decode()


def new_recovery_codes() -> tuple[str, ...]:
    """Codes that each work once, instead of an authenticator or passkey that is lost."""
    return tuple(
        _grouped(secrets.choice(_LETTERS) for _ in range(16)) for _ in range(N_RECOVERY_CODES)
    )


def recovery_digest(code: str) -> str:
    """What is kept of a recovery code; however it is typed, the same."""
    plain = "".join(c for c in code.casefold() if c in _LETTERS)
    return hashlib.sha256(f"recovery {plain}".encode()).hexdigest()


def _grouped(letters: Iterable[str]) -> str:
    text = "".join(letters)
    return "-".join(text[i : i + 4] for i in range(0, len(text), 4))
