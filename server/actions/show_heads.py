"""The journal's heads as people keep them, and the public key that checks them."""

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.orm import Session

from server.credentials.signing import head_text, public_keys, public_pem
from server.model.checking import SignedHead
from server.store.heads import MAX_SHOWN, list_heads


@dataclass(frozen=True, slots=True)
class KeptHead:
    """A head with the six lines that people keep of it."""

    head: SignedHead
    text: str


def show_heads(session: Session, *, limit: int = MAX_SHOWN) -> tuple[KeptHead, ...]:
    """The heads on record, the newest first."""
    return tuple(KeptHead(head, head_text(head)) for head in list_heads(session, limit=limit))


def show_key(*, data: Path, key_id: str) -> str | None:
    """The public key of that id as PEM; None where the data folder has it not."""
    found = public_keys(data).get(key_id)
    return None if found is None else public_pem(found).decode("ascii")
