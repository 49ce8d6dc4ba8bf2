"""The store's views to the API's shapes: the one place where SI-suffixed names become words."""

from collections.abc import Mapping, Sequence

from server.api import shapes, thing_shapes
from server.model.bench import Appliance, Claim, Instrument, Plate, Rig, Specimen
from server.model.measured import Metric
from server.model.views import JournalRow, ListingRow, Stored
from server.model.words import CHANNEL_UNITS, MetricName
from server.wording.contract import budget_line_to_json, interval_to_json
from server.wording.journal import actor_word

# SI units of what a claim may be about.
CLAIM_UNITS = {
    "power": "W",
    "apparent_power": "VA",
    "current": "A",
    "voltage": "V",
    "frequency": "Hz",
    "speed": "rad/s",
    "torque": "N m",
    "efficiency": "",
    "power_factor": "",
    "air_power": "W",
    "airflow": "m^3/s",
    "suction": "Pa",
    "energy": "J",
}


def quantity(value: float | None, unit: str, typed: str | None) -> shapes.QuantityOut | None:
    if value is None:
        return None
    return shapes.QuantityOut(value=value, unit=unit, typed=typed)


def metric(found: Metric) -> shapes.MetricOut:
    return shapes.MetricOut(
        value=found.value,
        unit=found.unit,
        standard_uncertainty=found.standard_uncertainty,
        lower_bound=found.lower_bound,
        reason=found.reason,
        interval=_interval(found),
        degrees_of_freedom=found.degrees_of_freedom,
        method=found.method,
        budget=[shapes.BudgetLineOut(**budget_line_to_json(line)) for line in found.budget],
    )


def _interval(found: Metric) -> shapes.IntervalOut | None:
    interval = interval_to_json(found)
    return None if interval is None else shapes.IntervalOut(**interval)


def metrics(found: Mapping[MetricName, Metric]) -> dict[str, shapes.MetricOut]:
    return {name.value: metric(one) for name, one in found.items()}


def plate(found: Plate, revision: int | None) -> shapes.PlateOut:
    def given(field: str, unit: str) -> shapes.QuantityOut | None:
        return quantity(getattr(found, field), unit, found.typed.get(field))

    return shapes.PlateOut(
        revision=revision,
        voltage=given("voltage_v", "V"),
        supply=found.supply.value if found.supply is not None else None,
        frequency=given("frequency_hz", "Hz"),
        current=given("current_a", "A"),
        power=given("power_w", "W"),
        speed=given("speed_rad_s", "rad/s"),
        duty=found.duty,
        motor_family=found.motor_family.value,
        circuit=given("circuit_a", "A"),
    )


def claim(found: Claim, public_id: str | None = None) -> shapes.ClaimOut:
    return shapes.ClaimOut(
        id=public_id,
        quantity=found.quantity,
        value=shapes.QuantityOut(
            value=found.value_si,
            unit=CLAIM_UNITS.get(found.quantity, ""),
            typed=found.value_typed,
        ),
        wording=found.wording,
        where_printed=found.where_printed,
        footnote=found.footnote,
        seen_on=found.seen_on,
    )


def listing(row: ListingRow) -> thing_shapes.ListingOut:
    return thing_shapes.ListingOut(
        id=row.public_id,
        slug=row.slug,
        page=appliance_page(row.public_id, row.slug),
        maker=row.maker,
        model=row.model,
        model_number=row.model_number,
        category=row.category,
        printed_power=quantity(row.printed_power_w, "W", row.printed_power_typed),
        runs=row.n_runs,
        specimens=row.n_specimens,
        testers=row.n_testers,
        run=row.run_id,
        metrics=metrics(row.metrics),
        ratio=row.ratio,
        ratio_standard_uncertainty=row.ratio_standard_uncertainty,
        updated_at=row.updated_at,
    )


def appliance_page(public_id: str, slug: str) -> str:
    return f"/appliances/{public_id}-{slug}"


def run_page(public_id: str) -> str:
    return f"/runs/{public_id}"


def appliance_name(stored: Stored[Appliance]) -> thing_shapes.ApplianceNameOut:
    return thing_shapes.ApplianceNameOut(
        id=stored.public_id,
        slug=stored.slug,
        page=appliance_page(stored.public_id, stored.slug),
        maker=stored.content.maker,
        model=stored.content.model,
        category=stored.content.category,
    )


def specimen(stored: Stored[Specimen], appliance_id: str | None) -> thing_shapes.SpecimenOut:
    found = stored.content
    return thing_shapes.SpecimenOut(
        id=stored.public_id,
        appliance=appliance_id,
        label=found.label,
        condition=found.condition,
        hours=found.hours,
        brushes_run_in=found.brushes_run_in,
        obtained=found.obtained,
    )


def rig(stored: Stored[Rig]) -> thing_shapes.RigOut:
    found = stored.content

    def given(field: str, unit: str) -> shapes.QuantityOut | None:
        return quantity(getattr(found, field), unit, found.typed.get(field))

    return thing_shapes.RigOut(
        id=stored.public_id,
        slug=stored.slug,
        revision=stored.revision,
        name=found.name,
        absorber=found.absorber.value if found.absorber is not None else None,
        arm=given("arm_m", "m"),
        inertia=given("inertia_kg_m2", "kg m^2"),
        rotor_inertia=given("rotor_inertia_kg_m2", "kg m^2"),
        drag=[thing_shapes.DragOut(speed=w, torque=m) for w, m in found.drag],
        drag_before_sensor=found.drag_before_sensor,
        pulses_per_revolution=found.pulses_per_revolution,
        averaging=shapes.QuantityOut(
            value=found.averaging_s, unit="s", typed=found.typed.get("averaging_s")
        ),
        meter_bandwidth=given("meter_bandwidth_hz", "Hz"),
        meter_true_rms=found.meter_true_rms,
        meter_real_power=found.meter_real_power,
        arm_uncertainty=found.arm_uncertainty_rel,
        inertia_uncertainty=found.inertia_uncertainty_rel,
        drag_uncertainty=found.drag_uncertainty_rel,
        arm_angle=given("arm_angle_rad", "rad"),
        arm_angle_uncertainty=given("arm_angle_uncertainty_rad", "rad"),
        pivot_friction=given("pivot_friction_nm", "N m"),
        lead_resistance=given("lead_resistance_ohm", "ohm"),
        lead_resistance_uncertainty=found.lead_resistance_uncertainty_rel,
        instruments=[instrument(one) for one in found.instruments],
    )


def instrument(found: Instrument) -> thing_shapes.InstrumentOut:
    unit, typed = CHANNEL_UNITS[found.channel], found.typed
    return thing_shapes.InstrumentOut(
        channel=found.channel.value,
        name=found.name,
        of_reading=found.of_reading,
        range=quantity(found.range, unit, typed.get("range")),
        of_range=found.of_range,
        digits=found.digits,
        resolution=quantity(found.resolution, unit, typed.get("resolution")),
        calibrated=found.calibrated,
        distribution=found.distribution,
        coverage_factor=found.coverage_factor,
        temperature_coefficient=found.temperature_coefficient_per_k,
        reference_temperature=found.reference_temperature_k,
    )


def changes(rows: Sequence[JournalRow]) -> list[thing_shapes.ChangeOut]:
    return [
        thing_shapes.ChangeOut(at=row.at, act=row.act, actor=actor_word(row), note=row.note)
        for row in rows
    ]
