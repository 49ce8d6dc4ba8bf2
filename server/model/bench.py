"""What a bench file describes: the appliance, its plate and claims, the rig, the run.

Every quantity is SI. `typed` keeps what the person wrote, by field name ("10 lbf·in").
"""

import math
from dataclasses import dataclass, field
from datetime import date

from server.model.measured import MeaningReading, Metric
from server.model.words import (
    AbsorberType,
    Channel,
    MotorFamily,
    RunKind,
    Source,
    Supply,
    WindingMaterial,
    WindingStandard,
)

Typed = dict[str, str]

REFERENCE_K = 296.15  # 23 °C, where data sheets state accuracy; common practice, no source


@dataclass(frozen=True, slots=True)
class Plate:
    """The rating plate, as one revision."""

    voltage_v: float | None = None
    supply: Supply | None = None
    frequency_hz: float | None = None
    current_a: float | None = None
    power_w: float | None = None
    speed_rad_s: float | None = None
    duty: str | None = None
    motor_family: MotorFamily = MotorFamily.UNKNOWN
    circuit_a: float | None = None
    typed: Typed = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Instrument:
    """Accuracy of what measures one channel: % of reading + % of range + digits.

    `of_reading` and `of_range` are fractions; `range`, `digits_si` and `resolution` are in the
    channel's SI unit. `digits` is the count of last digits, each worth one `resolution`.
    `temperature_coefficient_per_k` is the limit of a gain error for each kelvin away from
    `reference_temperature_k` (`REFERENCE_K` where none is given).
    """

    channel: Channel
    name: str | None = None
    of_reading: float | None = None
    range: float | None = None
    of_range: float | None = None
    digits: float | None = None
    resolution: float | None = None
    calibrated: date | None = None
    distribution: str | None = None
    coverage_factor: float | None = None
    temperature_coefficient_per_k: float | None = None
    reference_temperature_k: float | None = None
    typed: Typed = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Rig:
    """One revision of a brake rig.

    `drag` is torque lost before the sensor, (speed_rad_s, torque_nm) pairs in rising speed.
    `inertia_kg_m2` is everything that turns between air gap and torque sensor, the rotor included;
    `rotor_inertia_kg_m2` is the rotor alone. `*_uncertainty_rel` are relative standard
    uncertainties. `arm_angle_rad` is how far the arm departs from square to the force,
    `pivot_friction_nm` the limit of a torque that the cradle's bearings may hold back either way,
    `lead_resistance_ohm` all that lies between where voltage is measured and the motor.
    """

    name: str | None = None
    absorber: AbsorberType | None = None
    arm_m: float | None = None
    inertia_kg_m2: float | None = None
    rotor_inertia_kg_m2: float | None = None
    drag: tuple[tuple[float, float], ...] = ()
    drag_before_sensor: str | None = None
    pulses_per_revolution: float | None = None
    averaging_s: float = 0.1
    meter_bandwidth_hz: float | None = None
    meter_true_rms: bool | None = None
    meter_real_power: bool | None = None
    instruments: tuple[Instrument, ...] = ()
    arm_uncertainty_rel: float | None = None
    inertia_uncertainty_rel: float | None = None
    drag_uncertainty_rel: float | None = None
    arm_angle_rad: float | None = None
    arm_angle_uncertainty_rad: float | None = None
    pivot_friction_nm: float | None = None
    lead_resistance_ohm: float | None = None
    lead_resistance_uncertainty_rel: float | None = None
    typed: Typed = field(default_factory=dict)

    @property
    def effective_arm_m(self) -> float | None:
        """Length of the arm square to the force, m.

        Model:  arm cos(angle) exp(-u^2 / 2), the mean of arm cos(angle + e), e normal about 0

        Sources
        -------
        The mean of a cosine whose angle is uncertain: JCGM 100:2008, F.2.4.4.
        """
        if self.arm_m is None:
            return None
        u = self.arm_angle_uncertainty_rad or 0.0
        return self.arm_m * math.cos(self.arm_angle_rad or 0.0) * math.exp(-(u**2) / 2)


@dataclass(frozen=True, slots=True)
class Claim:
    """A printed figure, with its exact wording. `value_si` is in the quantity's SI unit."""

    quantity: str
    value_si: float
    wording: str
    value_typed: str
    where_printed: str | None = None
    footnote: str | None = None
    seen_on: date | None = None


@dataclass(frozen=True, slots=True)
class Appliance:
    """A make and model as sold."""

    maker: str
    model: str
    category: str
    model_number: str | None = None
    market: str | None = None
    produced: str | None = None


@dataclass(frozen=True, slots=True)
class Specimen:
    """The piece under test."""

    label: str | None = None
    condition: str | None = None
    hours: float | None = None
    brushes_run_in: bool | None = None
    obtained: str | None = None


@dataclass(frozen=True, slots=True)
class ColumnChoice:
    """The sender's word on one column, by header (or by position where headers repeat)."""

    header: str
    channel: Channel | None
    unit: str | None
    position: int | None = None


@dataclass(frozen=True, slots=True)
class RunDetails:
    """`added_inertia_kg_m2`: fixed on the shaft for some of a file's run-downs, not for others.

    `cold_resistance_ohm` of a winding at `cold_temperature_k`, `hot_resistance_ohm` of the same at
    the end of the run; `resistance_uncertainty_rel` of each alone, standard.
    `reference_temperature_k`: of the winding, that figures are carried to. `sheet`: which one of
    a workbook was read.
    """

    kind: RunKind = RunKind.BRAKE
    source: Source = Source.LOGGER
    tested_on: date | None = None
    ambient_k: float | None = None
    supply_note: str | None = None
    notes: str | None = None
    added_inertia_kg_m2: float | None = None
    cold_resistance_ohm: float | None = None
    hot_resistance_ohm: float | None = None
    resistance_uncertainty_rel: float | None = None
    cold_temperature_k: float | None = None
    cold_temperature_uncertainty_k: float | None = None
    winding_material: WindingMaterial | None = None
    winding_standard: WindingStandard | None = None
    reference_temperature_k: float | None = None
    sheet: str | None = None
    typed: Typed = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Bench:
    """A whole bench file. Every part may be absent."""

    plate: Plate = field(default_factory=Plate)
    rig: Rig = field(default_factory=Rig)
    claims: tuple[Claim, ...] = ()
    columns: tuple[ColumnChoice, ...] = ()
    appliance: Appliance | None = None
    specimen: Specimen = field(default_factory=Specimen)
    run: RunDetails = field(default_factory=RunDetails)


@dataclass(frozen=True, slots=True)
class ClaimReading:
    """A claim beside what one run (or set of figures) shows."""

    claim: Claim
    meanings: tuple[MeaningReading, ...]
    implied_current: Metric
    rotor_energy_time: Metric
