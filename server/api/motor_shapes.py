"""Shapes of a motor's model."""

from server.api.shapes import Out


class MotorParameterOut(Out):
    """A physical constant; `identified`: how well the data fix it."""

    value: float
    standard_uncertainty: float
    unit: str
    identified: str
    derived: bool


class MotorModelOut(Out):
    """A candidate; `criterion_above_chosen`: AICc less that of the model that is kept."""

    model: str
    family: str
    criterion_above_chosen: float
    parameters: int


class MotorResidualsOut(Out):
    """Measured less model at each load point; `scatter` is what it was weighed with."""

    channel: str
    unit: str
    residual: list[float]
    scatter: list[float]
    rms_of_largest: float
    weight: list[float]


class LossPartOut(Out):
    """Kinds of loss that the run can't tell apart, watts."""

    kinds: list[str]
    power: float
    standard_uncertainty: float


class PointLossesOut(Out):
    """Losses at one load point; `beyond`: measured less the sum of the parts."""

    torque: float
    speed: float
    input_power: float
    shaft_power: float
    parts: list[LossPartOut]
    beyond: float
    beyond_standard_uncertainty: float


class NormalisedOut(Out):
    """A figure carried to plate voltage by the model; `basis` is "normalised"."""

    name: str
    basis: str
    value: float | None
    standard_uncertainty: float | None
    as_tested: float
    tested_voltage: float
    voltage: float
    winding_temperature: float | None
    beyond: bool
    reason: str | None


class MotorCurveOut(Out):
    """The model over speed, SI; `beyond` the data where true."""

    speed: list[float]
    torque: list[float]
    current: list[float]
    input_power: list[float]
    beyond: list[bool]


class WarmingOut(Out):
    """Relative changes from the first load to its repeat, `after` seconds later.

    `after` is null where the readings were noted without times.
    """

    after: float | None
    speed_change: float
    speed_change_standard_uncertainty: float
    current_change: float | None
    current_change_standard_uncertainty: float | None


class MotorOut(Out):
    """The physics of the motor, fitted to the load points; `model` null comes with a `reason`."""

    family: str
    model: str | None
    reason: str | None
    method_version: str
    parameters: dict[str, MotorParameterOut]
    covariance: list[list[float]]
    runner_up: str | None
    models: list[MotorModelOut]
    residuals: list[MotorResidualsOut]
    losses: list[PointLossesOut]
    normalised: list[NormalisedOut]
    curve: MotorCurveOut | None
    warming: WarmingOut | None
    notes: list[str]
