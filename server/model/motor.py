"""What the physics of a motor, fitted to the load points of a run, says. Plain floats, SI."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from server.model.words import METRIC_UNITS, Channel, MetricName, MotorFamily

MOTOR_METHOD = "motor-4"


class Identified(StrEnum):
    """How well the data fix a parameter."""

    FIXED = "fixed by the data"
    ROUGH = "known roughly"
    NOT_FIXED = "not fixed by the data"
    ASSUMED = "taken from practice, not from the data"


class LossKind(StrEnum):
    COPPER = "copper"
    BRUSH = "brush"
    IRON = "iron"
    ROTATION = "friction and windage"


@dataclass(frozen=True, slots=True)
class MotorParameter:
    """A physical constant of the motor. `is_derived`: made from the others, not in the covariance.

    The standard uncertainty holds scatter, misfit of the model and the instruments' limits.
    """

    name: str
    value: float
    standard_uncertainty: float
    unit: str
    identified: Identified
    is_derived: bool = False


@dataclass(frozen=True, slots=True)
class ChannelResiduals:
    """Measured less model, one per load point; `scatter` is what one residual was weighed with.

    A weight below one marks a point that the robust fit took down. `rms_rel`: of all residuals,
    over the channel's largest value.
    """

    channel: Channel
    unit: str
    residual: tuple[float, ...]
    scatter: tuple[float, ...]
    weight: tuple[float, ...]
    rms_rel: float


@dataclass(frozen=True, slots=True)
class ModelScore:
    """A candidate, and how much its information criterion is above the chosen one's.

    Negative: it fits better, but is not of the family on the plate.
    """

    model: str
    family: MotorFamily
    criterion_above_chosen: float
    n_parameters: int


@dataclass(frozen=True, slots=True)
class LossPart:
    """One or more kinds of loss that the run can't tell apart, W."""

    kinds: tuple[LossKind, ...]
    power_w: float
    standard_uncertainty: float


@dataclass(frozen=True, slots=True)
class PointLosses:
    """Where the power went at one load point: the parts beside measured input less output.

    `beyond_w`: measured less the sum of the parts, with its standard uncertainty.
    """

    torque_nm: float
    speed_rad_s: float
    input_power_w: float
    shaft_power_w: float
    parts: tuple[LossPart, ...]
    beyond_w: float
    u_beyond_w: float


@dataclass(frozen=True, slots=True)
class NormalisedMetric:
    """A figure carried by the model to plate voltage (and a winding temperature, where known).

    Never beside figures as tested in one comparison. `value` None comes with a `reason`.
    `is_beyond`: the model was read outside the speeds of the run.
    """

    name: MetricName
    as_tested: float
    value: float | None
    standard_uncertainty: float | None
    tested_voltage_v: float
    voltage_v: float
    winding_k: float | None = None
    is_beyond: bool = False
    reason: str | None = None
    basis: str = "normalised"

    @property
    def unit(self) -> str:
        return METRIC_UNITS[self.name]


@dataclass(frozen=True, slots=True)
class ModelCurve:
    """The model's prediction over speed at the voltage of the run; `is_beyond` the data: dashed."""

    speed_rad_s: tuple[float, ...]
    torque_nm: tuple[float, ...]
    current_a: tuple[float, ...]
    input_power_w: tuple[float, ...]
    is_beyond: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Warming:
    """Relative changes from the first load of a run to its repeat `after_s` later.

    None: the readings were noted without times.
    """

    after_s: float | None
    speed_rel: float
    u_speed_rel: float
    current_rel: float | None
    u_current_rel: float | None

    @property
    def is_seen(self) -> bool:
        """Whether the speed changed by more than scatter does in one run of several hundred."""
        return abs(self.speed_rel) > 3 * self.u_speed_rel


@dataclass(frozen=True, slots=True)
class MotorFit:
    """A motor's model and what follows from it; `model` None always comes with a `reason`.

    `is_voltage_from_plate`: it was not logged. `warming`: None where the first load was not
    repeated at the end.
    """

    family: MotorFamily
    model: str | None = None
    reason: str | None = None
    parameters: tuple[MotorParameter, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()
    residuals: tuple[ChannelResiduals, ...] = ()
    scores: tuple[ModelScore, ...] = ()
    losses: tuple[PointLosses, ...] = ()
    normalised: tuple[NormalisedMetric, ...] = ()
    curve: ModelCurve | None = None
    is_voltage_from_plate: bool = False
    warming: Warming | None = None
    method_version: str = MOTOR_METHOD

    @property
    def runner_up(self) -> ModelScore | None:
        return next((s for s in self.scores if s.model != self.model), None)

    @property
    def by_name(self) -> Mapping[str, MotorParameter]:
        return {p.name: p for p in self.parameters}
