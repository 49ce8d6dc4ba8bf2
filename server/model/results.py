"""What a reduction gives back. Plain floats and tuples, ready to be stored as JSON."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from server.model.measured import Finding, Metric
from server.model.motor import MotorFit
from server.model.winding import WindingReference
from server.model.words import Channel, MetricName, RunKind, SegmentKind


@dataclass(frozen=True, slots=True)
class Segment:
    kind: SegmentKind
    start_s: float
    end_s: float
    first_row: int
    last_row: int


@dataclass(frozen=True, slots=True)
class LoadPoint:
    """One steady dwell, or one load bin of a sweep. Standard uncertainties beside the values.

    `u_*` here is scatter only (effective samples); instruments come in with the metrics.
    `first_row` to `last_row`: the rows as read, counted from 0; None where they are not kept.
    """

    start_s: float
    end_s: float
    is_dwell: bool
    n_samples: int
    n_effective: float
    torque_nm: float
    speed_rad_s: float
    shaft_power_w: float
    voltage_v: float | None = None
    current_a: float | None = None
    input_power_w: float | None = None
    apparent_power_va: float | None = None
    power_factor: float | None = None
    efficiency: float | None = None
    u_torque_nm: float | None = None
    u_speed_rad_s: float | None = None
    u_shaft_power_w: float | None = None
    u_current_a: float | None = None
    u_input_power_w: float | None = None
    u_efficiency: float | None = None
    first_row: int | None = None
    last_row: int | None = None


def rows_of_point(point: LoadPoint, segments: Sequence[Segment]) -> tuple[int, int] | None:
    """First and last row of a load point; of the segments it lies in where its own are not kept."""
    if point.first_row is not None and point.last_row is not None:
        return point.first_row, point.last_row
    around = [s for s in segments if s.start_s <= point.end_s and s.end_s >= point.start_s]
    if not around:
        return None
    return min(s.first_row for s in around), max(s.last_row for s in around)


@dataclass(frozen=True, slots=True)
class Curve:
    """A fitted curve along the load: y and its standard uncertainty over torque (N m).

    `beyond`: True where the curve leaves the data. `fit` says what was fitted and how chosen.
    """

    quantity: str
    unit: str
    torque_nm: tuple[float, ...]
    value: tuple[float, ...]
    standard_uncertainty: tuple[float, ...]
    beyond: tuple[bool, ...]
    fit: str


@dataclass(frozen=True, slots=True)
class Lag:
    """How far torque trails the other channels; `seconds` None where it could not be told."""

    seconds: float | None
    applied: bool
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Trace:
    """The recording thinned for a screen (at most some 1,200 points a channel), SI."""

    time_s: Mapping[str, tuple[float, ...]]
    value: Mapping[str, tuple[float | None, ...]]


@dataclass(frozen=True, slots=True)
class ReductionOptions:
    """What changes the figures beside recording, plate and rig. Part of the input digest.

    `rows_are_points`: each row is a load by itself, noted by hand or off a video. `ambient_k`
    counts where an instrument states a temperature coefficient, and is None where none does.
    `winding` None: figures are carried to plate voltage with the windings as they were.
    """

    tested_on: str | None = None
    min_dwell_s: float = 0.5
    rows_are_points: bool = False
    added_inertia_kg_m2: float | None = None
    ambient_k: float | None = None
    winding: WindingReference | None = None


@dataclass(frozen=True, slots=True)
class Reduction:
    kind: RunKind
    method_version: str
    metrics: Mapping[MetricName, Metric]
    findings: tuple[Finding, ...] = ()
    segments: tuple[Segment, ...] = ()
    points: tuple[LoadPoint, ...] = ()
    curves: tuple[Curve, ...] = ()
    lag: Lag = field(default_factory=lambda: Lag(None, False, "not looked for"))
    trace: Trace | None = None
    channels_used: tuple[Channel, ...] = ()
    motor: MotorFit | None = None
