"""Passwords of a request: hashed and checked in turn, off the event loop, with no session open."""

from dataclasses import dataclass
from functools import partial
from typing import Annotated

from anyio import to_thread
from fastapi import Depends, Request

from server.dependencies.forms import Fields
from server.dependencies.limits import count_for_account
from server.dependencies.people import Signed
from server.dependencies.resources import Resources, resources_of
from server.dependencies.threads import in_session
from server.errors import InvalidInput, Problem
from server.model.accounts import AccountView
from server.store.accounts import account_by_id, known_by_key


@dataclass(frozen=True, slots=True)
class NewPassword:
    """A password to be set: its hash, or what is wrong with it."""

    hash: str | None
    problem: Problem | None


@dataclass(frozen=True, slots=True)
class PasswordTry:
    """A sign-in by password. `account` is None where e-mail or password is wrong: not told which.

    `new_hash`: of the same password under today's parameters, where the kept one is of older ones.
    """

    account: AccountView | None
    new_hash: str | None = None


@dataclass(frozen=True, slots=True)
class OwnPasswordTry:
    account: AccountView
    is_right: bool


async def _new_password(request: Request, fields: Fields) -> NewPassword:
    """Of the fields `password` and, where sent, `name` and `email`."""
    from server.credentials.passwords import hash_password, password_problem

    password = fields.get("password", "")
    about = (fields.get("name", "")[:200], fields.get("email", "")[:254])
    work = partial(password_problem, password[:1000], about=about)
    problem = await _in_turn(request, work)
    if problem is not None:
        return NewPassword(None, problem)
    return NewPassword(await _in_turn(request, partial(hash_password, password)), None)


async def _password_try(request: Request, fields: Fields) -> PasswordTry:
    """Of the fields `email` and `password`; as long for an address that nobody has."""
    from server.credentials.emails import email_key, read_email
    from server.credentials.passwords import hash_password, is_outdated, is_password

    email, password = fields.get("email", ""), fields.get("password", "")
    if not email:
        return PasswordTry(None)
    try:
        key = email_key(read_email(email))
    except InvalidInput:
        key = ""
    await count_for_account(request, "sign_in", key=f"password {key}")
    resources = resources_of(request)
    known = await in_session(resources, partial(known_by_key, email_key=key))
    kept = known.password_hash if known is not None else None
    is_right = await _in_turn(request, partial(is_password, kept, password))
    if not is_right or known is None or kept is None:
        return PasswordTry(None)
    account = await in_session(resources, partial(account_by_id, tester_id=known.tester_id))
    outdated = is_outdated(kept)
    new_hash = await _in_turn(request, partial(hash_password, password)) if outdated else None
    return PasswordTry(account, new_hash)


async def _own_password_try(request: Request, fields: Fields, tester: Signed) -> OwnPasswordTry:
    """Of the field `password`, against the account that is signed in."""
    from server.credentials.passwords import is_password

    await count_for_account(request, "sign_in", key=f"prove {tester.public_id}")
    account = await in_session(resources_of(request), partial(account_by_id, tester_id=tester.id))
    check = partial(is_password, account.password_hash, fields.get("password", ""))
    return OwnPasswordTry(account, await _in_turn(request, check))


async def _in_turn(request: Request, work):  # type: ignore[no-untyped-def]
    resources: Resources = resources_of(request)
    return await to_thread.run_sync(work, limiter=resources.hashes)


NewPasswordField = Annotated[NewPassword, Depends(_new_password)]
TriedPassword = Annotated[PasswordTry, Depends(_password_try)]
TriedOwnPassword = Annotated[OwnPasswordTry, Depends(_own_password_try)]


async def _counted_sign_up(request: Request, fields: Fields) -> None:
    """Letters to one mailbox, whoever asks for them."""
    await count_for_account(request, "sign_up", key=fields.get("email", "").strip().casefold())


async def _counted_reset(request: Request, fields: Fields) -> None:
    await count_for_account(request, "reset", key=fields.get("email", "").strip().casefold())


CountedSignUp = Annotated[None, Depends(_counted_sign_up)]
CountedReset = Annotated[None, Depends(_counted_reset)]


async def _counted_step(request: Request, fields: Fields) -> AccountView:
    """Whose second factor is asked for; its tries are counted for the account."""
    from server.actions.second_step import account_of_step

    find = partial(account_of_step, step=fields.get("step", ""))
    account = await in_session(resources_of(request), find)
    await count_for_account(request, "sign_in", key=f"code {account.public_id}")
    return account


CountedStep = Annotated[AccountView, Depends(_counted_step)]
