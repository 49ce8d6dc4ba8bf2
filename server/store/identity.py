"""Public ids, slugs and the words a text is found by."""

import hashlib
import re
import secrets
import unicodedata

from server.store.types import dump_json

# Digits and letters without i, l, o, u: nothing that is misread aloud. 10 of them hold 50 bits.
PUBLIC_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
PUBLIC_LENGTH = 10
MAX_SLUG = 60


def new_public_id() -> str:
    return "".join(secrets.choice(PUBLIC_ALPHABET) for _ in range(PUBLIC_LENGTH))


def plain_words(text: str) -> list[str]:
    """Lower-case words without accents, in order."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return re.findall(r"[^\W_]+", bare.casefold())


def slug_of(*parts: str) -> str:
    words = plain_words(" ".join(parts))
    return "-".join(words)[:MAX_SLUG].rstrip("-") or "unnamed"


def match_key(text: str) -> str:
    """What two spellings of one name share: case-folded, white space squeezed."""
    return " ".join(text.casefold().split())


def content_sha256(content: object) -> str:
    return hashlib.sha256(dump_json(content)).hexdigest()
