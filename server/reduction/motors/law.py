"""What a motor's law is: from speed and voltage at the terminals to current, torque, power."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from server.model.motor import LossKind
from server.model.words import Channel, MotorFamily
from server.reduction.arrays import Bools, Floats

OUTPUTS = (Channel.CURRENT, Channel.TORQUE, Channel.POWER)
OUTPUT_UNITS = ("A", "N m", "W")


@dataclass(frozen=True, slots=True)
class State:
    """Where a law is asked: speed (n,) rad/s, voltage (n,) V rms at the terminals.

    `current_near` (n,) A: where the search for the current starts.
    """

    speed: Floats
    voltage: Floats
    current_near: Floats


@dataclass(frozen=True, slots=True)
class Observed:
    """The load points of a run as arrays.

    `values`, `u` (3, n) in the order of `OUTPUTS`; `u` scatter only; `has` (3,) which of them
    were measured on their own. `u_speed` (n,) scatter of the speed. `rows` (n,): which of the
    run's load points these are.
    """

    state: State
    values: Floats
    u: Floats
    u_speed: Floats
    has: Bools
    is_ac: bool
    frequency_hz: float | None = None
    rows: tuple[int, ...] = ()

    @property
    def n(self) -> int:
        return int(self.state.speed.size)


@dataclass(frozen=True, slots=True)
class Constant:
    """One parameter of a law: where a fit starts, its lower limit, and what practice says of it.

    `usual`: (value, standard uncertainty), used as one more observation.
    """

    name: str
    unit: str
    start: float
    least: float = 0.0
    usual: tuple[float, float] | None = None

    @property
    def scale(self) -> float:
        return abs(self.start) or 1.0


Predict = Callable[[Floats, State], Floats]
Losses = Callable[[Floats, State], Mapping[LossKind, Floats]]


@dataclass(frozen=True, slots=True)
class Law:
    """A family's equations with the constants to be fitted.

    `predict(theta, state)`: theta (m, p) -> (m, 3, n) in the order of `OUTPUTS`.
    `losses(theta, state)`: -> (m, n) W by kind; they sum to input less shaft power.
    `resistances`: indices of the constants that follow the windings' temperature.
    `told_apart`: False where no run of this kind can tell iron from friction and windage.
    `below_rad_s`: the speed no drive reaches, where there is one.
    """

    name: str
    family: MotorFamily
    constants: tuple[Constant, ...]
    predict: Predict
    losses: Losses
    resistances: tuple[int, ...]
    told_apart: bool = False
    below_rad_s: float | None = None

    @property
    def start(self) -> Floats:
        return np.array([c.start for c in self.constants])


def columns(theta: Floats) -> list[Floats]:
    """Each parameter of theta (m, p) as (m, 1), ready to meet (n,)."""
    return [theta[:, i : i + 1] for i in range(theta.shape[1])]
