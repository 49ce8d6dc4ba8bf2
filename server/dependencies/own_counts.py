"""Counts in the memory of one process, over windows that slide.

Half of the last window's count weighs in at half past, as in a shared store. The library's own
memory storage starts a thread with each count, some 90 µs; this takes three.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(slots=True)
class _Window:
    """What was counted in the window under way and in the one before, by key."""

    number: int = -1
    now: dict[str, int] = field(default_factory=dict)
    before: dict[str, int] = field(default_factory=dict)


class OwnCounts:
    def __init__(self, clock: Callable[[], float] = time.time) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._windows: dict[int, _Window] = {}

    def hit(self, key: str, *, most: int, window_s: int) -> float | None:
        """Count one; or, where that would be over `most` in a window, the seconds to wait."""
        with self._lock:
            window, left_s = self._at(window_s)
            now, before = window.now.get(key, 0), window.before.get(key, 0)
            if now + int(before * left_s / window_s) < most:
                window.now[key] = now + 1
                return None
        if now < most:
            return max(left_s - (most - now) / before * window_s, 0.0)
        return left_s + max(window_s * (1 - most / now), 0.0)

    def add(self, key: str, n: int, *, window_s: int) -> None:
        """Let what was counted weigh more, or less where `n` is negative."""
        with self._lock:
            window, _ = self._at(window_s)
            window.now[key] = max(window.now.get(key, 0) + n, 0)

    def _at(self, window_s: int) -> tuple[_Window, float]:
        """The window of now and how much of it is left; what is older than two is forgotten."""
        number, gone_s = divmod(self._clock(), window_s)
        window = self._windows.setdefault(window_s, _Window())
        if window.number != number:
            window.before = window.now if window.number == number - 1 else {}
            window.number, window.now = int(number), {}
        return window, window_s - gone_s
