"""A small OpenID Connect provider on this machine, which signs in whoever a test says."""

import base64
import hashlib
import json
import secrets
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from joserfc import jwt
from joserfc.jwk import ECKey

CLIENT, SECRET = "ledger", "s3cret of the ledger"


@dataclass
class Provider:
    """`changes` goes over the claims of the next token; `signs_with` replaces its key."""

    issuer: str = ""
    subject: str = "subject-1"
    name: str = "Eve Lark"
    changes: dict[str, Any] = field(default_factory=dict)
    signs_with: Any = None
    algorithm: str = "ES256"
    described_as: str | None = None
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    asked: list[dict[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.key = ECKey.generate_key("P-256", {"kid": "one", "use": "sig", "alg": "ES256"})

    def authorize(self, address: str) -> str:
        """What a browser does there: where it is sent back to."""
        asked = {name: values[0] for name, values in parse_qs(urlsplit(address).query).items()}
        self.asked.append(asked)
        code = secrets.token_urlsafe(8)
        self.codes[code] = asked
        return f"{asked['redirect_uri']}?code={code}&state={asked['state']}"

    def token(self, form: dict[str, str], basic: str) -> dict[str, Any] | None:
        asked = self.codes.pop(form.get("code", ""), None)
        known = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        if asked is None or basic != f"Basic {known}":
            return None
        digest = hashlib.sha256(form.get("code_verifier", "").encode()).digest()
        challenge = base64.urlsafe_b64encode(digest).decode().rstrip("=")
        is_right = asked["code_challenge_method"] == "S256" and challenge == asked["code_challenge"]
        if not is_right or form["redirect_uri"] != asked["redirect_uri"]:
            return None
        now = int(time.time())
        claims = {
            "iss": self.issuer,
            "sub": self.subject,
            "aud": CLIENT,
            "exp": now + 300,
            "iat": now,
            "auth_time": now,
            "nonce": asked["nonce"],
            "name": self.name,
            "email": "ada@bench.example",
            "email_verified": True,
            **self.changes,
        }
        kept = {name: value for name, value in claims.items() if value is not None}
        key = self.signs_with or self.key
        header = {"alg": self.algorithm, "kid": "one"}
        token = jwt.encode(header, kept, key, algorithms=[self.algorithm])
        return {"access_token": "a", "token_type": "Bearer", "id_token": token}

    def described(self) -> dict[str, str]:
        return {
            "issuer": self.described_as or self.issuer,
            "authorization_endpoint": f"{self.issuer}/authorize",
            "token_endpoint": f"{self.issuer}/token",
            "jwks_uri": f"{self.issuer}/keys",
        }


def serve(provider: Provider) -> ThreadingHTTPServer:
    """Serve it on a free port; `shutdown()` ends it."""

    class Handler(BaseHTTPRequestHandler):
        def _send(self, content: object, status: int = 200) -> None:
            body = json.dumps(content).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def do_GET(self) -> None:
            if self.path == "/.well-known/openid-configuration":
                self._send(provider.described())
            elif self.path == "/keys":
                self._send({"keys": [provider.key.as_dict(private=False)]})
            else:
                self._send({}, 404)

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {name: values[0] for name, values in parse_qs(body).items()}
            told = provider.token(form, self.headers.get("Authorization", ""))
            self._send(told or {"error": "invalid_grant"}, 200 if told else 400)

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    provider.issuer = f"http://127.0.0.1:{server.server_port}"
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server
