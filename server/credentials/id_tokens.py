"""What an OpenID Connect provider says of who signed in there (OpenID Connect Core 1.0, 3.1.3.7).

An account is known by issuer and subject, never by an e-mail address: addresses change hands, and a
provider may say any.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.errors import NotAllowed

# None without a signature, and none whose key the provider would share with us.
ALGORITHMS = ["RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "EdDSA"]
# Between our clock and the provider's.
LEEWAY_S = 60


@dataclass(frozen=True, slots=True)
class Identity:
    """Who signed in at the provider. `auth_time`: when they last proved it there."""

    issuer: str
    subject: str
    name: str
    auth_time: float | None


def read_id_token(
    token: str, *, keys: Mapping[str, Any], issuer: str, client_id: str, nonce: str
) -> Identity:
    """Check signature, issuer, audience, times and nonce; who it is about.

    Parameters
    ----------
    keys : the provider's key set (RFC 7517).
    nonce : that this sign-in began with.

    Raises
    ------
    NotAllowed: any of them does not hold; which is in its cause, for the log.
    """
    from joserfc import jwt
    from joserfc.errors import JoseError
    from joserfc.jwk import KeySet

    try:
        key_set = KeySet.import_key_set(keys)  # type: ignore[arg-type]
        claims = jwt.decode(token, key_set, algorithms=ALGORITHMS).claims
        jwt.JWTClaimsRegistry(
            leeway=LEEWAY_S,
            iss={"essential": True, "value": issuer},
            aud={"essential": True, "value": client_id},
            sub={"essential": True},
            exp={"essential": True},
            iat={"essential": True},
            nonce={"essential": True, "value": nonce},
        ).validate(claims)
    except (JoseError, ValueError, KeyError, TypeError) as error:
        raise _refusal() from error
    audience, subject = claims["aud"], claims["sub"]
    is_shared = isinstance(audience, list) and len(audience) > 1
    if (is_shared or "azp" in claims) and claims.get("azp") != client_id:
        raise _refusal()
    if not isinstance(subject, str) or not 0 < len(subject) <= 255:
        raise _refusal()
    auth_time = claims.get("auth_time")
    name = claims.get("name") or claims.get("preferred_username") or ""
    return Identity(
        issuer=issuer,
        subject=subject,
        name=str(name),
        auth_time=float(auth_time) if isinstance(auth_time, int | float) else None,
    )


def _refusal() -> NotAllowed:
    return NotAllowed("What the provider sent can't be trusted, so nobody was signed in.")
