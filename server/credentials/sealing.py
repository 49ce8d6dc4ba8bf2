"""Secrets that must be read again are kept sealed, by a key that is not in the database.

The key lies in the data folder, readable by its owner alone, made with the first use, and goes
into backups. AES-256-GCM; what a seal is for is part of it, so that none can be put elsewhere.
"""

import base64
import os
from functools import lru_cache
from pathlib import Path

from server.errors import BenchledgerError

KEY_FILE = "sealing-key"
_KEY_BYTES = 32
_NONCE_BYTES = 12


class NotSealedHere(BenchledgerError):
    """A sealed text that this key did not seal, or that was changed."""


def seal(data: Path, text: str, *, purpose: str) -> str:
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    nonce = os.urandom(_NONCE_BYTES)
    sealed = AESGCM(_key(data)).encrypt(nonce, text.encode(), purpose.encode())
    return base64.urlsafe_b64encode(nonce + sealed).decode()


def unseal(data: Path, sealed: str, *, purpose: str) -> str:
    """Raises NotSealedHere."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    try:
        raw = base64.urlsafe_b64decode(sealed.encode())
        nonce, rest = raw[:_NONCE_BYTES], raw[_NONCE_BYTES:]
        return AESGCM(_key(data)).decrypt(nonce, rest, purpose.encode()).decode()
    except (InvalidTag, ValueError) as error:
        raise NotSealedHere(f"This was not sealed with the key in {data / KEY_FILE}.") from error


@lru_cache(maxsize=8)
def _key(data: Path) -> bytes:
    """The key of a data folder. Of two processes that make it at once, one wins, both read it."""
    path = data / KEY_FILE
    if not path.exists():
        data.mkdir(parents=True, exist_ok=True)
        made = data / f".{KEY_FILE}-{os.getpid()}-{os.urandom(4).hex()}"
        with os.fdopen(os.open(made, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(os.urandom(_KEY_BYTES))
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(made, path)
        except FileExistsError:
            pass
        finally:
            made.unlink()
    key = path.read_bytes()
    if len(key) != _KEY_BYTES:
        raise BenchledgerError(f"{path} is no key of ours; take it from a backup.")
    return key
