"""Signed heads of the journal: Ed25519 (RFC 8032) over a few lines of text.

The key lies in the data folder, outside the database: whoever can write the database can make the
chain anew, but not sign it, and can't take back what others have kept.
"""

import base64
import binascii
import hashlib
import os
import re
from datetime import UTC, datetime
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from server.errors import BenchledgerError, Problem, Unusable
from server.model.checking import SignedHead

TITLE = "Benchledger journal head 1"
KEY_NAME = "journal-key.pem"
_PUBLIC_NAME = "journal-key-{}.pub.pem"
_LINES = re.compile(
    rf"^{TITLE}\n"
    r"entries: (?P<n>[1-9][0-9]{0,17})\n"
    r"digest: (?P<digest>[0-9a-f]{64})\n"
    r"signed-at: (?P<at>[0-9T:.+-]{20,40})\n"
    r"key: ed25519 (?P<key>[0-9a-f]{16})\n"
    r"signature: (?P<signature>[A-Za-z0-9+/]{86}==)$",
    re.M,
)


def key_for_signing(data: Path) -> Ed25519PrivateKey:
    """The key of this data folder, made where there is none; readable by its owner alone.

    Raises
    ------
    BenchledgerError: the file is there and holds no such key.
    """
    path = data / KEY_NAME
    if not path.exists():
        key = Ed25519PrivateKey.generate()
        secret = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        _write(path, secret, mode=0o600)
    try:
        found = load_pem_private_key(path.read_bytes(), password=None)
    except ValueError as error:
        raise _no_key(path) from error
    if not isinstance(found, Ed25519PrivateKey):
        raise _no_key(path)
    # Kept by its id: heads that an earlier key signed can still be checked after a change of key.
    public = found.public_key()
    place = data / _PUBLIC_NAME.format(key_id(public))
    if not place.exists():
        _write(place, public_pem(public), mode=0o644)
    return found


def _no_key(path: Path) -> BenchledgerError:
    return BenchledgerError(
        f"{path} holds no Ed25519 key. Put the key back from a backup, or move the file away: a "
        "new key is made then, and heads go on under its name."
    )


def _write(path: Path, content: bytes, *, mode: int) -> None:
    """Complete or not at all, never over another's."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}")
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    try:
        os.write(handle, content)
        os.fsync(handle)
    finally:
        os.close(handle)
    try:
        os.link(temporary, path)
    except FileExistsError:  # another process was first
        pass
    finally:
        temporary.unlink()


def public_keys(data: Path) -> dict[str, Ed25519PublicKey]:
    """The keys that heads of this data folder were signed with, by their ids."""
    found = {}
    for path in sorted(data.glob(_PUBLIC_NAME.format("*"))):
        key = read_public_key(path.read_bytes(), name=path.name)
        found[key_id(key)] = key
    return found


def read_public_key(content: bytes, *, name: str) -> Ed25519PublicKey:
    """Raises Unusable for what is no such key."""
    try:
        key = load_pem_public_key(content)
    except ValueError:
        key = None
    if not isinstance(key, Ed25519PublicKey):
        problem = Problem("it holds no Ed25519 public key.", "Take it from /journal/key again.")
        raise Unusable(name, [problem])
    return key


def public_pem(key: Ed25519PublicKey) -> bytes:
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def key_id(key: Ed25519PublicKey) -> str:
    """The first 16 digits of the SHA-256 of the key's 32 bytes."""
    return hashlib.sha256(key.public_bytes(Encoding.Raw, PublicFormat.Raw)).hexdigest()[:16]


def sign_head(
    key: Ed25519PrivateKey, *, n_seals: int, digest: str, signed_at: datetime
) -> SignedHead:
    unsigned = SignedHead(n_seals, digest, signed_at, key_id(key.public_key()), "")
    signature = base64.b64encode(key.sign(signed_text(unsigned).encode())).decode()
    return SignedHead(n_seals, digest, signed_at, unsigned.key_id, signature)


def signed_text(head: SignedHead) -> str:
    """The lines that the signature is over, each with its line end."""
    return (
        f"{TITLE}\n"
        f"entries: {head.n_seals}\n"
        f"digest: {head.digest}\n"
        f"signed-at: {head.signed_at.astimezone(UTC).isoformat()}\n"
        f"key: ed25519 {head.key_id}\n"
    )


def head_text(head: SignedHead) -> str:
    """What people keep: the signed lines and the signature."""
    return f"{signed_text(head)}signature: {head.signature}\n"


def read_heads(text: str, *, name: str) -> list[SignedHead]:
    """The heads in a text, which may hold other things around them.

    Raises
    ------
    Unusable: there is none.
    """
    text = "\n".join(line.strip() for line in text.splitlines())
    heads = []
    for found in _LINES.finditer(text):
        try:
            at = datetime.fromisoformat(found["at"])
        except ValueError:
            continue
        if at.tzinfo is not None:
            heads.append(
                SignedHead(int(found["n"]), found["digest"], at, found["key"], found["signature"])
            )
    if not heads:
        problem = Problem(
            "it holds no whole head of a journal.",
            f"A head is six lines, from “{TITLE}” to “signature: …”.",
        )
        raise Unusable(name, [problem])
    return heads


def is_signed(head: SignedHead, key: Ed25519PublicKey) -> bool:
    """Whether the signature is by this key and over these lines."""
    try:
        signature = base64.b64decode(head.signature, validate=True)
        key.verify(signature, signed_text(head).encode())
    except (binascii.Error, InvalidSignature):
        return False
    return True
