"""What is tested and what it is tested with: appliances, plates, claims, specimens, rigs."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.model.words import AbsorberType, MotorFamily, Supply
from server.store.tables.metadata import JsonDict, JsonList, Key, PublicId, Table, one_of


class ApplianceRow(Table):
    __tablename__ = "appliance"
    __table_args__ = (
        # Merged ones keep their key, so that an old spelling still leads to the right place.
        UniqueConstraint("maker_key", "model_key"),
        CheckConstraint("merged_into_id <> id", name="not_into_itself"),
    )

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    slug: Mapped[str]
    maker: Mapped[str]
    model: Mapped[str]
    maker_key: Mapped[str]
    model_key: Mapped[str]
    category: Mapped[str]
    model_number: Mapped[str | None]
    market: Mapped[str | None]
    produced: Mapped[str | None]
    merged_into_id: Mapped[int | None] = mapped_column(
        ForeignKey("appliance.id", deferrable=True, initially="IMMEDIATE"), index=True
    )
    created_by_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]


class PlateRevisionRow(Table):
    """The rating plate as read at one time. Never changed; the highest number is current."""

    __tablename__ = "plate_revision"
    __table_args__ = (
        UniqueConstraint("appliance_id", "number"),
        CheckConstraint("voltage_v > 0", name="voltage_positive"),
        CheckConstraint("frequency_hz > 0", name="frequency_positive"),
        CheckConstraint("current_a > 0", name="current_positive"),
        CheckConstraint("power_w > 0", name="power_positive"),
        CheckConstraint("speed_rad_s > 0", name="speed_positive"),
        CheckConstraint("circuit_a > 0", name="circuit_positive"),
        CheckConstraint(one_of("supply", Supply), name="supply_known"),
        CheckConstraint(one_of("motor_family", MotorFamily), name="motor_family_known"),
    )

    id: Mapped[Key]
    appliance_id: Mapped[int] = mapped_column(ForeignKey("appliance.id"))
    number: Mapped[int]
    content_sha256: Mapped[str]
    voltage_v: Mapped[float | None]
    supply: Mapped[str | None]
    frequency_hz: Mapped[float | None]
    current_a: Mapped[float | None]
    power_w: Mapped[float | None]
    speed_rad_s: Mapped[float | None]
    duty: Mapped[str | None]
    motor_family: Mapped[str]
    circuit_a: Mapped[float | None]
    typed: Mapped[JsonDict]
    created_by_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]


class ClaimRow(Table):
    __tablename__ = "claim"
    __table_args__ = (UniqueConstraint("appliance_id", "quantity", "value_si", "wording"),)

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    appliance_id: Mapped[int] = mapped_column(ForeignKey("appliance.id"))
    quantity: Mapped[str]
    value_si: Mapped[float]
    wording: Mapped[str]
    value_typed: Mapped[str]
    where_printed: Mapped[str | None]
    footnote: Mapped[str | None]
    seen_on: Mapped[date | None]
    created_by_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]


class SpecimenRow(Table):
    __tablename__ = "specimen"
    __table_args__ = (
        Index(None, "appliance_id", "owner_id"),
        CheckConstraint("hours >= 0", name="hours_not_negative"),
    )

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    appliance_id: Mapped[int] = mapped_column(ForeignKey("appliance.id"))
    owner_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"), index=True)
    label: Mapped[str | None]
    condition: Mapped[str | None]
    hours: Mapped[float | None]
    brushes_run_in: Mapped[bool | None]
    obtained: Mapped[str | None]
    created_at: Mapped[datetime]


class RigRow(Table):
    __tablename__ = "rig"

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    owner_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"), index=True)
    slug: Mapped[str]
    created_at: Mapped[datetime]


class RigRevisionRow(Table):
    """A rig as it stood for some runs. Never changed; the highest number is current.

    `instruments` and `drag` are JSON: they are read and written with their revision, never alone.
    """

    __tablename__ = "rig_revision"
    __table_args__ = (
        UniqueConstraint("rig_id", "number"),
        CheckConstraint("arm_m > 0", name="arm_positive"),
        CheckConstraint("inertia_kg_m2 >= 0", name="inertia_not_negative"),
        CheckConstraint("rotor_inertia_kg_m2 >= 0", name="rotor_inertia_not_negative"),
        CheckConstraint("arm_uncertainty_rel >= 0", name="arm_uncertainty_not_negative"),
        CheckConstraint("inertia_uncertainty_rel >= 0", name="inertia_uncertainty_not_negative"),
        CheckConstraint("drag_uncertainty_rel >= 0", name="drag_uncertainty_not_negative"),
        CheckConstraint("pulses_per_revolution > 0", name="pulses_positive"),
        CheckConstraint("averaging_s > 0", name="averaging_positive"),
        CheckConstraint("meter_bandwidth_hz > 0", name="bandwidth_positive"),
        CheckConstraint(one_of("absorber", AbsorberType), name="absorber_known"),
    )

    id: Mapped[Key]
    rig_id: Mapped[int] = mapped_column(ForeignKey("rig.id"))
    number: Mapped[int]
    content_sha256: Mapped[str] = mapped_column(index=True)
    name: Mapped[str | None]
    absorber: Mapped[str | None]
    arm_m: Mapped[float | None]
    inertia_kg_m2: Mapped[float | None]
    rotor_inertia_kg_m2: Mapped[float | None]
    arm_uncertainty_rel: Mapped[float | None]
    inertia_uncertainty_rel: Mapped[float | None]
    drag_uncertainty_rel: Mapped[float | None]
    arm_angle_rad: Mapped[float | None]
    arm_angle_uncertainty_rad: Mapped[float | None]
    pivot_friction_nm: Mapped[float | None]
    lead_resistance_ohm: Mapped[float | None]
    lead_resistance_uncertainty_rel: Mapped[float | None]
    drag: Mapped[JsonList]
    drag_before_sensor: Mapped[str | None]
    pulses_per_revolution: Mapped[float | None]
    averaging_s: Mapped[float]
    meter_bandwidth_hz: Mapped[float | None]
    meter_true_rms: Mapped[bool | None]
    meter_real_power: Mapped[bool | None]
    instruments: Mapped[JsonList]
    typed: Mapped[JsonDict]
    created_by_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]
