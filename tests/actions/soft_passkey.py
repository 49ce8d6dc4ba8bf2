"""A passkey in software, as a device makes and uses one (Web Authentication Level 2, 6 and 7)."""

import base64
import hashlib
import json
import struct
from dataclasses import dataclass, field
from typing import Any

import cbor2
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec

USER_PRESENT, USER_VERIFIED, HAS_CREDENTIAL = 0x01, 0x04, 0x40


def text_of(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).decode().rstrip("=")


@dataclass
class SoftPasskey:
    """`flags` and `count` can be set to what an honest device would not send."""

    host: str
    origin: str
    flags: int = USER_PRESENT | USER_VERIFIED
    count: int = 0
    credential_id: bytes = b"a passkey in software"
    key: Any = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))

    def make(self, options: str) -> str:
        """The answer to being asked for a new passkey."""
        numbers = self.key.public_key().public_numbers()
        # COSE: an EC2 key (1: 2) for ES256 (3: -7) on P-256 (-1: 1), x and y.
        public = {
            1: 2,
            3: -7,
            -1: 1,
            -2: numbers.x.to_bytes(32, "big"),
            -3: numbers.y.to_bytes(32, "big"),
        }
        attested = bytes(16) + struct.pack(">H", len(self.credential_id)) + self.credential_id
        about = self._about(HAS_CREDENTIAL) + attested + cbor2.dumps(public)
        statement = cbor2.dumps({"fmt": "none", "attStmt": {}, "authData": about})
        client = self._client(options, "webauthn.create")
        return self._answer(clientDataJSON=client, attestationObject=statement)

    def prove(self, options: str) -> str:
        """The answer to being asked to sign in."""
        self.count += 1
        client, about = self._client(options, "webauthn.get"), self._about(0)
        signed = about + hashlib.sha256(client).digest()
        return self._answer(
            clientDataJSON=client,
            authenticatorData=about,
            signature=self.key.sign(signed, ec.ECDSA(hashes.SHA256())),
        )

    def _about(self, more: int) -> bytes:
        host = hashlib.sha256(self.host.encode()).digest()
        return host + struct.pack(">BI", self.flags | more, self.count)

    def _client(self, options: str, kind: str) -> bytes:
        content = {
            "type": kind,
            "challenge": json.loads(options)["challenge"],
            "origin": self.origin,
        }
        return json.dumps(content).encode()

    def _answer(self, **parts: bytes) -> str:
        return json.dumps(
            {
                "id": text_of(self.credential_id),
                "rawId": text_of(self.credential_id),
                "type": "public-key",
                "response": {name: text_of(value) for name, value in parts.items()},
            }
        )
