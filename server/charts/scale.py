"""Axes: nice ticks and where a value lies."""

import math
from dataclasses import dataclass, field

from server.wording.numbers import fixed

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


def nice_step(span: float, n_wanted: int) -> float:
    """The smallest of 1, 2, 2.5, 5 × 10^k that needs at most `n_wanted` steps over the span."""
    raw = span / max(n_wanted, 1)
    if not raw > 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(raw))
    return next((s * power for s in _STEPS if s * power >= raw * (1 - 1e-9)), 10.0 * power)


def nice_bounds(
    low: float, high: float, n_wanted: int = 5, *, with_zero: bool = True
) -> tuple[float, float]:
    """Bounds that contain both, on whole steps; zero is kept in unless it means nothing."""
    if with_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low < 1e-12:  # nothing that is shown is smaller
        return low, low + 1.0
    step = nice_step(high - low, n_wanted)
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def ticks(low: float, high: float, n_wanted: int) -> list[float]:
    """Whole multiples of a nice step within the bounds."""
    step = nice_step(high - low, n_wanted)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]


def tick_texts(values: list[float]) -> list[str]:
    """Ticks written to the decimals their step needs."""
    if len(values) < 2:
        return [fixed(v, 0) for v in values]
    step = abs(values[1] - values[0])
    place = max(0, -math.floor(math.log10(step) + 1e-9))
    if abs(round(step, place) - step) > step * 1e-6:
        place += 1
    return [fixed(v, place) for v in values]


@dataclass(slots=True)
class Scale:
    """Maps [low, high] onto pixels [start, end]; end may lie before start."""

    low: float
    high: float
    start: float
    end: float
    factor: float = field(init=False)

    def __post_init__(self) -> None:
        self.factor = (self.end - self.start) / ((self.high - self.low) or 1.0)

    def at(self, value: float) -> float:
        return self.start + (value - self.low) * self.factor
