"""Shapes of runs and of what is made from them."""

from datetime import date, datetime
from typing import Any

from pydantic import ConfigDict, Field

from server.api.motor_shapes import MotorOut
from server.api.shapes import MetricOut, Out, PlateOut
from server.api.thing_shapes import (
    ApplianceNameOut,
    ChangeOut,
    ClaimReadingOut,
    RigOut,
    SpecimenOut,
)


class FindingOut(Out):
    """Something the numbers show that a reader must know."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "code": "peak_not_bracketed",
                    "severity": "warning",
                    "message": "Power still rises at the highest load that was reached.",
                    "remedy": "Load the motor further, until power is seen to fall.",
                    "where": None,
                    "evidence": {"highest_torque_nm": 0.41},
                }
            ]
        }
    )
    code: str
    severity: str
    message: str
    remedy: str
    where: str | None
    evidence: dict[str, Any]


class ColumnOut(Out):
    """One column of the file as it was read. `channel` null: kept under its own name."""

    position: int
    header: str
    channel: str | None
    unit: str | None
    reason: str


class LagOut(Out):
    """How far torque trails the other channels; `seconds` null where it could not be told."""

    seconds: float | None
    applied: bool
    reason: str | None = None


class DragFoundOut(MetricOut):
    """Drag torque at `speed`; at any speed w it is the sum of coefficients[p] w^p."""

    speed: float | None
    coefficients: list[float] | None
    coefficient_uncertainties: list[float] | None
    coefficient_units: list[str] | None = None


class WindingOut(Out):
    """Temperature of a winding from its resistance, cold and hot; K. `constant` of the law is as
    `standard` has it for `material`."""

    temperature: float | None
    standard_uncertainty: float | None
    rise: float | None
    rise_standard_uncertainty: float | None
    unit: str
    material: str
    standard: str
    constant: float
    reason: str | None


class ResultsOut(Out):
    """The figures of a run: what `benchledger reduce --json` prints of the same file.

    `rotor_inertia`, `drag`: of a run-down. `operating_speed`, `shaft_power_in_use`,
    `agreement_z`: of a run in use. They stand among the metrics too; null for other kinds.
    """

    metrics: dict[str, MetricOut]
    findings: list[FindingOut]
    claims: list[ClaimReadingOut]
    columns: list[ColumnOut]
    lag: LagOut
    method_version: str
    kind: str
    motor: MotorOut | None = None
    winding_temperature: WindingOut | None = None
    rotor_inertia: MetricOut | None = None
    drag: DragFoundOut | None = None
    operating_speed: MetricOut | None = None
    shaft_power_in_use: MetricOut | None = None
    agreement_z: MetricOut | None = None


class FileOut(Out):
    """The file as it was sent, kept byte for byte."""

    name: str
    sha256: str
    bytes: int


class RunRowOut(Out):
    """A run in a list, with its headline figures."""

    id: str
    page: str
    state: str
    kind: str
    tested_on: date | None
    created_at: datetime
    tester: str
    specimen: str | None
    rig: str | None
    appliance: str
    appliance_name: str
    metrics: dict[str, MetricOut]


class RunOut(Out):
    """A run. `results` is null while it is `working`, or where its file could not be used."""

    id: str
    page: str
    state: str = Field(examples=["published"])
    revision: int
    kind: str
    source: str
    tested_on: date | None
    ambient: float | None = Field(description="K")
    supply_note: str | None
    added_inertia: float | None
    cold_resistance: float | None = Field(description="ohm")
    hot_resistance: float | None = Field(description="ohm")
    cold_temperature: float | None = Field(description="K")
    reference_temperature: float | None = Field(
        description="K; of the winding, that normalised figures are carried to"
    )
    notes: str | None
    tester: str
    appliance: ApplianceNameOut
    specimen: SpecimenOut
    rig: RigOut
    plate: PlateOut
    file: FileOut
    rows: int
    stale: bool = Field(description="An older method made these figures")
    failure: str | None
    results: ResultsOut | None
    changes: list[ChangeOut]
    created_at: datetime
    updated_at: datetime


class RunStatusOut(Out):
    """Where a run stands; ask again while it is `working`."""

    id: str
    state: str
    failure: str | None
    run: str
    page: str


class NamedMetricOut(MetricOut):
    """A measured figure with its name."""

    name: str


class VersionOut(Out):
    """One set of a run's figures. `is_current`: the one that the run shows.

    `was_published` false: only its tester sees it.
    """

    number: int = Field(examples=[1])
    page: str
    method_version: str = Field(examples=["brake-1"])
    made_at: datetime
    is_current: bool
    was_published: bool


class VersionFiguresOut(VersionOut):
    """A version with its figures and findings, in the shapes that the run's own parts have."""

    metrics: list[NamedMetricOut]
    findings: list[FindingOut]


class PointOut(Out):
    """One steady dwell, or one load bin of a sweep, in SI. `u_…`: standard uncertainty, scatter.

    `first_row` to `last_row`: rows of the log from 0, or the segment's where its own are not kept.
    """

    start: float
    end: float
    first_row: int | None
    last_row: int | None
    is_dwell: bool
    samples: int
    effective_samples: float
    torque: float
    speed: float
    shaft_power: float
    voltage: float | None
    current: float | None
    power: float | None
    apparent_power: float | None
    power_factor: float | None
    efficiency: float | None
    u_torque: float | None
    u_speed: float | None
    u_shaft_power: float | None
    u_current: float | None
    u_power: float | None
    u_efficiency: float | None


class CurveOut(Out):
    """A fitted curve over torque (N m). `beyond`: where it leaves the data."""

    quantity: str
    unit: str
    fit: str
    torque: list[float]
    value: list[float]
    standard_uncertainty: list[float]
    beyond: list[bool]


class SegmentOut(Out):
    kind: str
    start: float
    end: float
    first_row: int
    last_row: int


class TraceChannelOut(Out):
    """One channel over time (s from the start), thinned for a screen."""

    channel: str
    unit: str
    time: list[float]
    value: list[float | None]


class TraceOut(Out):
    channels: list[TraceChannelOut]
    segments: list[SegmentOut]


class ComparedOut(Out):
    """One appliance of a comparison, with the figures and curves of its newest published run."""

    appliance: ApplianceNameOut
    plate: PlateOut
    run: str | None
    method_version: str | None
    metrics: dict[str, MetricOut]
    claims: list[ClaimReadingOut]
    curves: list[CurveOut]
    chance_of_highest: float | None = Field(
        description="Chance that its pooled highest steady shaft power is the highest of these; "
        "null without such a figure, or where fewer than two have one.",
        examples=[0.92],
    )
