"""Shapes of appliances, specimens and rigs."""

from datetime import date, datetime

from pydantic import Field

from server.api.shapes import (
    ClaimIn,
    ClaimOut,
    In,
    Line,
    MetricOut,
    Out,
    PlateIn,
    PlateOut,
    QuantityOut,
    QuantityText,
)


class ApplianceIn(In):
    """A make and model as sold, with its plate and printed claims where they are known."""

    maker: Line = Field(examples=["Millbeck"])
    model: Line = Field(examples=["WD-30"])
    category: Line = Field(examples=["wet/dry vacuum"])
    model_number: Line | None = None
    market: Line | None = Field(None, examples=["US"])
    produced: Line | None = Field(None, examples=["2019 to 2023"])
    plate: PlateIn | None = None
    claims: list[ClaimIn] = Field(default_factory=list, max_length=50)


class ListingOut(Out):
    """One row of the catalogue. Its figures are those of one run, the newest published one.

    `ratio`: highest steady shaft power over printed power.
    """

    id: str
    slug: str
    page: str
    maker: str
    model: str
    model_number: str | None
    category: str
    printed_power: QuantityOut | None
    runs: int
    specimens: int
    testers: int
    run: str | None
    metrics: dict[str, MetricOut]
    ratio: float | None
    ratio_standard_uncertainty: float | None
    updated_at: datetime


class ApplianceNameOut(Out):
    """An appliance where something else speaks of it."""

    id: str
    slug: str
    page: str
    maker: str
    model: str
    category: str


class MeaningOut(Out):
    """One meaning of “power” beside a claim. Volt-amperes for the plug's circuit, else watts."""

    meaning: str
    value: float | None
    standard_uncertainty: float | None
    ratio: float | None
    reason: str | None
    lower_bound: bool = False
    ratio_standard_uncertainty: float | None = None
    probability_reached: float | None = None
    verdict: str | None = None
    guard_band: float | None = None


class ClaimReadingOut(Out):
    """A claim read every way, beside what one run shows."""

    wording: str
    quantity: str
    value: float
    meanings: list[MeaningOut]
    implied_current: MetricOut
    rotor_energy_time: MetricOut


class ChangeOut(Out):
    """One line of what changed."""

    at: datetime
    act: str
    actor: str
    note: str | None


class FiguresOut(Out):
    """An appliance's headline figures: those of one run, named."""

    run: str
    method_version: str
    metrics: dict[str, MetricOut]
    claims: list[ClaimReadingOut]


class ApplianceOut(Out):
    """A make and model as sold: plate, claims, and the figures of its newest published run."""

    id: str
    slug: str
    page: str
    maker: str
    model: str
    category: str
    model_number: str | None
    market: str | None
    produced: str | None
    plate: PlateOut
    claims: list[ClaimOut]
    figures: FiguresOut | None
    specimens: int
    testers: int
    changes: list[ChangeOut]
    updated_at: datetime


class SpecimenIn(In):
    """One piece of an appliance."""

    label: Line | None = Field(None, examples=["A"])
    condition: Line | None = Field(None, examples=["used, cleaned"])
    hours: float | None = Field(None, ge=0, le=1e6, allow_inf_nan=False, examples=[12.5])
    brushes_run_in: bool | None = None
    obtained: Line | None = Field(None, examples=["bought second hand"])


class SpecimenOut(Out):
    id: str
    appliance: str | None
    label: str | None
    condition: str | None
    hours: float | None
    brushes_run_in: bool | None
    obtained: str | None


class InstrumentIn(In):
    """Accuracy of what measures one channel: % of reading + % of range + digits."""

    channel: str = Field(max_length=40, examples=["torque"])
    name: Line | None = None
    of_reading: QuantityText | None = Field(None, examples=["0.2 %"])
    range: QuantityText | None = Field(None, examples=["2 N m"])
    of_range: QuantityText | None = Field(None, examples=["0.1 %"])
    digits: float | None = Field(None, ge=0, le=1e6, allow_inf_nan=False, examples=[2])
    resolution: QuantityText | None = Field(None, examples=["0.001 N m"])
    calibrated: date | None = Field(None, examples=["2026-03-14"])
    distribution: str | None = Field(None, pattern="^(normal|rectangular|triangular)$")
    coverage_factor: float | None = Field(None, gt=0, le=100, allow_inf_nan=False)
    temperature_coefficient: QuantityText | None = Field(None, examples=["0.02 %/K"])
    reference_temperature: QuantityText | None = Field(None, examples=["23 °C"])


class InstrumentOut(Out):
    """`range` and `resolution` are in the channel's SI unit; fractions are fractions.

    `temperature_coefficient`: of reading per kelvin away from `reference_temperature` (K), which
    is 296.15 K where none is stated.
    """

    channel: str
    name: str | None
    of_reading: float | None
    range: QuantityOut | None
    of_range: float | None
    digits: float | None
    resolution: QuantityOut | None
    calibrated: date | None
    distribution: str | None
    coverage_factor: float | None
    temperature_coefficient: float | None = None
    reference_temperature: float | None = None


class RigIn(In):
    """A brake rig. `drag`: torque lost before the sensor, as [speed, torque] pairs."""

    name: Line | None = Field(None, examples=["Friction brake, 10 cm arm"])
    absorber: Line | None = Field(None, examples=["friction brake"])
    arm: QuantityText | None = Field(None, examples=["100 mm"])
    inertia: QuantityText | None = Field(None, examples=["3e-4 kg m^2"])
    rotor_inertia: QuantityText | None = Field(None, examples=["4e-5 kg m^2"])
    drag: list[tuple[QuantityText, QuantityText]] = Field(default_factory=list, max_length=500)
    drag_before_sensor: Line | None = None
    pulses_per_revolution: float | None = Field(None, gt=0, le=1e6, allow_inf_nan=False)
    averaging: QuantityText | None = Field(None, examples=["100 ms"])
    meter_bandwidth: QuantityText | None = Field(None, examples=["100 kHz"])
    meter_true_rms: bool | None = None
    meter_real_power: bool | None = None
    arm_uncertainty: QuantityText | None = Field(None, examples=["0.5 %"])
    inertia_uncertainty: QuantityText | None = Field(None, examples=["5 %"])
    drag_uncertainty: QuantityText | None = Field(None, examples=["10 %"])
    arm_angle: QuantityText | None = Field(None, examples=["2 deg"])
    arm_angle_uncertainty: QuantityText | None = Field(None, examples=["1 deg"])
    pivot_friction: QuantityText | None = Field(None, examples=["0.002 N m"])
    lead_resistance: QuantityText | None = Field(None, examples=["0.15 ohm"])
    lead_resistance_uncertainty: QuantityText | None = Field(None, examples=["10 %"])
    instruments: list[InstrumentIn] = Field(default_factory=list, max_length=40)


class DragOut(Out):
    """Torque lost before the sensor at one speed."""

    speed: float
    torque: float


class RigOut(Out):
    """A rig as one of its revisions describes it."""

    id: str
    slug: str
    revision: int
    name: str | None
    absorber: str | None
    arm: QuantityOut | None
    inertia: QuantityOut | None
    rotor_inertia: QuantityOut | None
    drag: list[DragOut]
    drag_before_sensor: str | None
    pulses_per_revolution: float | None
    averaging: QuantityOut
    meter_bandwidth: QuantityOut | None
    meter_true_rms: bool | None
    meter_real_power: bool | None
    arm_uncertainty: float | None
    inertia_uncertainty: float | None
    drag_uncertainty: float | None
    arm_angle: QuantityOut | None
    arm_angle_uncertainty: QuantityOut | None
    pivot_friction: QuantityOut | None
    lead_resistance: QuantityOut | None
    lead_resistance_uncertainty: float | None
    instruments: list[InstrumentOut]
