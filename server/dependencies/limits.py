"""How often something may be done, by account and by address.

`Limited("report")` beside a route counts the request: somebody signed in by the account, everybody
else by the address. What is tried against an account (its password, a reset) is counted for that
account too, by `count_for_account`, whoever tries it.

The counts are shared in a store that BENCHLEDGER_RATE_STORE names, or in the memory of each
process. One of several processes then takes its share of each limit, so that all of them together
never allow more than the setting says; who is always answered by the same one gets the share alone.
Reading is counted in memory always: pages stay readable, and quick, while the store is away.
"""

import hashlib
import ipaddress
import math
import threading
import time
from typing import Any, Literal

from anyio import to_thread
from fastapi import Depends, Request

from server.dependencies.own_counts import OwnCounts
from server.dependencies.people import Viewer
from server.errors import TooMany, Unavailable
from server.model.views import Tester
from server.settings import Settings

Limit = Literal["sign_in", "sign_up", "reset", "report", "trial", "download"]
By = Literal["address", "account"]
_READ = "limit_read_by_address"


class Limits:
    """The counters of one web process of `n_processes`."""

    def __init__(self, settings: Settings, *, n_processes: int = 1) -> None:
        self._settings = settings
        self._rates = settings.rates
        self._shares = {
            name: (max(n // n_processes, 1), window_s)
            for name, (n, window_s) in self._rates.items()
        }
        self._own = OwnCounts()
        self._making = threading.Lock()
        self._strategy: Any = None

    @property
    def is_shared(self) -> bool:
        """Whether a count is a question to a store over the network."""
        return self._settings.rate_store is not None

    @property
    def counts_reading(self) -> bool:
        return _READ in self._shares

    def count(self, limit: Limit, *, by: By, key: str) -> None:
        """Count one try; blocks while a shared store answers.

        Raises
        ------
        TooMany: this one is over the limit, and is not counted.
        Unavailable: the shared store does not answer.
        """
        name = f"limit_{limit}_by_{by}"
        if name not in self._rates:
            return
        # A digest: addresses and e-mails of those who try are nobody's business.
        digest = hashlib.sha256(key.encode(errors="surrogatepass")).hexdigest()[:32]
        if self.is_shared:
            self._count_shared(name, (limit, by, digest))
        else:
            self._count_own(name, f"{name}:{digest}")

    def count_reading(self, address: str) -> None:
        """Count an answer before it is made. Raises TooMany."""
        self._count_own(_READ, f"{_READ}:{address}")

    def weigh_reading(self, address: str, n: int) -> None:
        """Let the answer that was counted weigh so much more, or less."""
        self._own.add(f"{_READ}:{address}", n, window_s=self._shares[_READ][1])

    def _count_own(self, name: str, key: str) -> None:
        most, window_s = self._shares[name]
        wait_s = self._own.hit(key, most=most, window_s=window_s)
        if wait_s is not None:
            raise TooMany(max(1, math.ceil(wait_s)))

    def _count_shared(self, name: str, names: tuple[str, ...]) -> None:
        from limits import RateLimitItemPerSecond
        from limits.errors import StorageError

        item = RateLimitItemPerSecond(*self._rates[name])
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
                storage = storage_from_string(str(self._settings.rate_store), wrap_exceptions=True)
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
    await _count(request, limit, by="address", key=client_address(request))


async def count_for_account(request: Request, limit: Limit, *, key: str) -> None:
    """Count a try against the account that `key` names, whoever tries. Raises as `count`."""
    await _count(request, limit, by="account", key=key)


async def _count(request: Request, limit: Limit, *, by: By, key: str) -> None:
    limits = limits_of(request)
    if limits.is_shared:
        await to_thread.run_sync(lambda: limits.count(limit, by=by, key=key))
    else:
        limits.count(limit, by=by, key=key)


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
