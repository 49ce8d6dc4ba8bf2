"""How often something may be done, by account and by address.

`Limited("report")` beside a route counts the request: somebody signed in by the account, everybody
else by the address. What is tried against an account (its password, a reset) is counted for that
account too, by `count_for_account`, whoever tries it.

The counts are in the memory of each process, or shared in a store that BENCHLEDGER_RATE_STORE
names. The library slides its windows: half of the last hour's count weighs in at half past.
"""

import hashlib
import ipaddress
import math
import threading
import time
from typing import Any, Literal

from anyio import to_thread
from fastapi import Depends, Request

from server.dependencies.people import Viewer
from server.errors import TooMany, Unavailable
from server.model.views import Tester
from server.settings import Settings

Limit = Literal["sign_in", "sign_up", "reset", "report", "trial", "download"]


class Limits:
    """The counters of one process. The library is loaded with the first count."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._making = threading.Lock()
        self._strategy: Any = None

    def count(self, limit: Limit, *, by: Literal["address", "account"], key: str) -> None:
        """Count one try; blocks while a shared store answers.

        Raises
        ------
        TooMany: this one is over the limit, and is not counted.
        Unavailable: the shared store does not answer.
        """
        from limits import parse
        from limits.errors import StorageError

        rate = getattr(self._settings, f"limit_{limit}_by_{by}")
        if rate is None:
            return
        item = parse(rate)
        # A digest: addresses and e-mails of those who try are nobody's business.
        names = (limit, by, hashlib.sha256(key.encode(errors="surrogatepass")).hexdigest()[:32])
        try:
            strategy = self._made()
            if strategy.hit(item, *names):
                return
            reset_at = strategy.get_window_stats(item, *names).reset_time
        except StorageError as error:
            raise Unavailable("The counters of tries can't be reached. Try again soon.") from error
        raise TooMany(max(1, math.ceil(reset_at - time.time())))

    def _made(self) -> Any:
        from limits.storage import storage_from_string
        from limits.strategies import SlidingWindowCounterRateLimiter

        with self._making:
            if self._strategy is None:
                store = self._settings.rate_store or "memory://"
                storage = storage_from_string(store, wrap_exceptions=True)
                self._strategy = SlidingWindowCounterRateLimiter(storage)
            return self._strategy


def limits_of(request: Request) -> Limits:
    found: Limits = request.app.state.limits
    return found


def Limited(limit: Limit) -> Any:
    """A dependency that counts the request: `@router.post(…, dependencies=[Limited("report")])`."""

    async def count(request: Request, viewer: Viewer) -> None:
        await count_request(request, limit, viewer=viewer)

    return Depends(count)


async def count_request(request: Request, limit: Limit, *, viewer: Tester | None) -> None:
    """Count for the account of who is signed in, else for the address. Raises as `count`."""
    if viewer is not None and not viewer.is_visitor:
        await count_for_account(request, limit, key=viewer.public_id)
        return
    limits, address = limits_of(request), client_address(request)
    await to_thread.run_sync(lambda: limits.count(limit, by="address", key=address))


async def count_for_account(request: Request, limit: Limit, *, key: str) -> None:
    """Count a try against the account that `key` names, whoever tries. Raises as `count`."""
    limits = limits_of(request)
    await to_thread.run_sync(lambda: limits.count(limit, by="account", key=key))


def client_address(request: Request) -> str:
    """Where a request came from: its peer, or what the proxies that the settings trust saw.

    Each proxy appends whom it heard to X-Forwarded-For, so the one that counts stands as many
    places from the right as there are trusted proxies; what is before it anybody can write. Of an
    IPv6 address the first 64 bits count: one household has them all to itself.
    """
    settings: Settings = request.app.state.settings
    address = request.client.host if request.client is not None else ""
    if settings.trusted_proxies:
        told = ",".join(request.headers.getlist("x-forwarded-for")).split(",")
        if len(told) >= settings.trusted_proxies:
            address = told[-settings.trusted_proxies].strip() or address
    try:
        number = ipaddress.ip_address(address)
    except ValueError:
        return address[:100]
    if isinstance(number, ipaddress.IPv6Address):
        if number.ipv4_mapped is not None:
            return str(number.ipv4_mapped)
        return str(ipaddress.ip_network((number, 64), strict=False))
    return str(number)
