"""Passkeys (Web Authentication, W3C): what the browser is asked, and what its answer proves.

Only passkeys that their owner unlocks (user verification) and that bring the account along
(discoverable): one is then both factors at once, and a sign-in needs no name.
"""

import base64
import binascii
import json
from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import InvalidInput, Problem

NAME = "Benchledger"
CHALLENGE_BYTES = 32
_TIMEOUT_MS = 120_000


@dataclass(frozen=True, slots=True)
class RelyingParty:
    """Who asks: the host that passkeys belong to, and the origin that pages are served from."""

    id: str
    origin: str


@dataclass(frozen=True, slots=True)
class NewPasskey:
    credential_id: str
    public_key: str
    sign_count: int


def creation_options(
    party: RelyingParty, *, challenge: str, user_id: str, user_name: str, known: Sequence[str]
) -> str:
    """JSON of what the browser is asked to make.

    Parameters
    ----------
    challenge : fresh and random, base64url.
    user_id : public id of the account, which the passkey brings along.
    known : credential ids of the account's passkeys: a device makes no second one.
    """
    from webauthn import generate_registration_options, options_to_json
    from webauthn.helpers.structs import (
        AuthenticatorSelectionCriteria,
        PublicKeyCredentialDescriptor,
        ResidentKeyRequirement,
        UserVerificationRequirement,
    )

    options = generate_registration_options(
        rp_id=party.id,
        rp_name=NAME,
        user_id=user_id.encode(),
        user_name=user_name,
        user_display_name=user_name,
        challenge=_bytes(challenge),
        timeout=_TIMEOUT_MS,
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.REQUIRED,
            user_verification=UserVerificationRequirement.REQUIRED,
        ),
        exclude_credentials=[PublicKeyCredentialDescriptor(id=_bytes(one)) for one in known],
    )
    return options_to_json(options)


def request_options(party: RelyingParty, *, challenge: str) -> str:
    """JSON of what the browser is asked to prove; any passkey of this site will do."""
    from webauthn import generate_authentication_options, options_to_json
    from webauthn.helpers.structs import UserVerificationRequirement

    options = generate_authentication_options(
        rp_id=party.id,
        challenge=_bytes(challenge),
        timeout=_TIMEOUT_MS,
        user_verification=UserVerificationRequirement.REQUIRED,
    )
    return options_to_json(options)


def challenge_of(answer: str) -> str:
    """The challenge that a browser's answer is to; nothing of it is checked yet.

    Raises
    ------
    InvalidInput: it is no such answer.
    """
    try:
        client = json.loads(_bytes(json.loads(answer)["response"]["clientDataJSON"]))
        return str(client["challenge"])
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise not_proved() from error


def credential_id_of(answer: str) -> str:
    """The passkey's id in a browser's answer. Raises InvalidInput."""
    try:
        return str(json.loads(answer)["id"])
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise not_proved() from error


def verify_new(answer: str, *, party: RelyingParty, challenge: str) -> NewPasskey:
    """The passkey that was made. Raises InvalidInput where the answer proves nothing."""
    from webauthn import verify_registration_response
    from webauthn.helpers import bytes_to_base64url
    from webauthn.helpers.exceptions import WebAuthnException

    try:
        made = verify_registration_response(
            credential=answer,
            expected_challenge=_bytes(challenge),
            expected_rp_id=party.id,
            expected_origin=party.origin,
            require_user_verification=True,
        )
    except (WebAuthnException, ValueError, KeyError, TypeError) as error:
        raise not_proved() from error
    return NewPasskey(
        credential_id=bytes_to_base64url(made.credential_id),
        public_key=bytes_to_base64url(made.credential_public_key),
        sign_count=made.sign_count,
    )


def verify_answer(
    answer: str, *, party: RelyingParty, challenge: str, public_key: str, sign_count: int
) -> int:
    """The passkey's new count, if the answer was signed by it. Raises InvalidInput otherwise."""
    from webauthn import verify_authentication_response
    from webauthn.helpers.exceptions import WebAuthnException

    try:
        done = verify_authentication_response(
            credential=answer,
            expected_challenge=_bytes(challenge),
            expected_rp_id=party.id,
            expected_origin=party.origin,
            credential_public_key=_bytes(public_key),
            credential_current_sign_count=sign_count,
            require_user_verification=True,
        )
    except (WebAuthnException, ValueError, KeyError, TypeError) as error:
        raise not_proved() from error
    return int(done.new_sign_count)


def not_proved() -> InvalidInput:
    problem = Problem(
        "the passkey was not accepted.", "Try once more, or use the other way.", field="passkey"
    )
    return InvalidInput("passkey", [problem])


def _bytes(text: str) -> bytes:
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (binascii.Error, AttributeError, UnicodeEncodeError) as error:
        raise ValueError("not base64url") from error
