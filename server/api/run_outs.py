"""Runs to the API's shapes."""

from collections.abc import Sequence

from server.actions.read_run_claims import read_run_claims
from server.actions.read_run_winding import read_run_winding
from server.api import outs, run_shapes, thing_shapes
from server.model.bench import ClaimReading
from server.model.results import Curve, LoadPoint, Reduction, Segment, rows_of_point
from server.model.views import ApplianceView, RunRow, RunView
from server.model.words import CHANNEL_UNITS
from server.wording.contract import claim_to_json, reduction_to_json


def run_row(row: RunRow) -> run_shapes.RunRowOut:
    return run_shapes.RunRowOut(
        id=row.public_id,
        page=outs.run_page(row.public_id),
        state=row.state.value,
        kind=row.kind,
        tested_on=row.tested_on,
        created_at=row.created_at,
        tester=row.tester,
        specimen=row.specimen,
        rig=row.rig,
        appliance=row.appliance_id,
        appliance_name=row.appliance_name,
        metrics=outs.metrics(row.metrics),
    )


def run(view: RunView) -> run_shapes.RunOut:
    details = view.details
    return run_shapes.RunOut(
        id=view.public_id,
        page=outs.run_page(view.public_id),
        state=view.state.value,
        revision=view.revision,
        kind=details.kind.value,
        source=details.source.value,
        tested_on=details.tested_on,
        ambient=details.ambient_k,
        supply_note=details.supply_note,
        added_inertia=details.added_inertia_kg_m2,
        cold_resistance=details.cold_resistance_ohm,
        hot_resistance=details.hot_resistance_ohm,
        cold_temperature=details.cold_temperature_k,
        reference_temperature=details.reference_temperature_k,
        notes=details.notes,
        tester=view.tester,
        appliance=outs.appliance_name(view.appliance),
        specimen=outs.specimen(view.specimen, view.appliance.public_id),
        rig=outs.rig(view.rig),
        plate=outs.plate(view.plate, None),
        file=run_shapes.FileOut(
            name=view.file.name, sha256=view.file.sha256, bytes=view.file.n_bytes
        ),
        rows=view.n_rows,
        stale=view.is_stale,
        failure=view.failure,
        results=results(view),
        changes=outs.changes(view.journal),
        created_at=view.created_at,
        updated_at=view.updated_at,
    )


def status(view: RunView) -> run_shapes.RunStatusOut:
    return run_shapes.RunStatusOut(
        id=view.public_id,
        state=view.state.value,
        failure=view.failure,
        run=f"/api/v1/runs/{view.public_id}",
        page=outs.run_page(view.public_id),
    )


def results(view: RunView) -> run_shapes.ResultsOut | None:
    if view.reduction is None:
        return None
    readings = read_run_claims(view)
    return run_shapes.ResultsOut.model_validate(
        reduction_to_json(view.reduction, readings, view.columns, read_run_winding(view))
    )


def claim_readings(readings: Sequence[ClaimReading]) -> list[thing_shapes.ClaimReadingOut]:
    return [thing_shapes.ClaimReadingOut.model_validate(claim_to_json(one)) for one in readings]


def point(found: LoadPoint, segments: Sequence[Segment]) -> run_shapes.PointOut:
    first, last = rows_of_point(found, segments) or (None, None)
    return run_shapes.PointOut(
        start=found.start_s,
        end=found.end_s,
        first_row=first,
        last_row=last,
        is_dwell=found.is_dwell,
        samples=found.n_samples,
        effective_samples=found.n_effective,
        torque=found.torque_nm,
        speed=found.speed_rad_s,
        shaft_power=found.shaft_power_w,
        voltage=found.voltage_v,
        current=found.current_a,
        power=found.input_power_w,
        apparent_power=found.apparent_power_va,
        power_factor=found.power_factor,
        efficiency=found.efficiency,
        u_torque=found.u_torque_nm,
        u_speed=found.u_speed_rad_s,
        u_shaft_power=found.u_shaft_power_w,
        u_current=found.u_current_a,
        u_power=found.u_input_power_w,
        u_efficiency=found.u_efficiency,
    )


def curve(found: Curve) -> run_shapes.CurveOut:
    return run_shapes.CurveOut(
        quantity=found.quantity,
        unit=found.unit,
        fit=found.fit,
        torque=list(found.torque_nm),
        value=list(found.value),
        standard_uncertainty=list(found.standard_uncertainty),
        beyond=list(found.beyond),
    )


def trace(reduction: Reduction) -> run_shapes.TraceOut:
    found = reduction.trace
    channels = [] if found is None else list(found.value)
    return run_shapes.TraceOut(
        channels=[
            run_shapes.TraceChannelOut(
                channel=name,
                unit=_unit(name),
                time=list(found.time_s[name]),
                value=list(found.value[name]),
            )
            for name in channels
            if found is not None
        ],
        segments=[
            run_shapes.SegmentOut(
                kind=one.kind.value,
                start=one.start_s,
                end=one.end_s,
                first_row=one.first_row,
                last_row=one.last_row,
            )
            for one in reduction.segments
        ],
    )


def _unit(name: str) -> str:
    known = {channel.value: unit for channel, unit in CHANNEL_UNITS.items()}
    return known.get(name, "")


def appliance(view: ApplianceView) -> thing_shapes.ApplianceOut:
    stored, best = view.appliance, view.best
    figures = None
    if best is not None and best.reduction is not None:
        figures = thing_shapes.FiguresOut(
            run=best.public_id,
            method_version=best.reduction.method_version,
            metrics=outs.metrics(best.reduction.metrics),
            claims=claim_readings(read_run_claims(best)),
        )
    return thing_shapes.ApplianceOut(
        id=stored.public_id,
        slug=stored.slug,
        page=outs.appliance_page(stored.public_id, stored.slug),
        maker=stored.content.maker,
        model=stored.content.model,
        category=stored.content.category,
        model_number=stored.content.model_number,
        market=stored.content.market,
        produced=stored.content.produced,
        plate=outs.plate(view.plate, view.plate_revision),
        claims=[outs.claim(one) for one in view.claims],
        figures=figures,
        specimens=view.n_specimens,
        testers=view.n_testers,
        changes=outs.changes(view.journal),
        updated_at=view.updated_at,
    )


def compared(view: ApplianceView, *, chance_of_highest: float | None) -> run_shapes.ComparedOut:
    best = view.best
    reduction = best.reduction if best is not None else None
    return run_shapes.ComparedOut(
        appliance=outs.appliance_name(view.appliance),
        plate=outs.plate(view.plate, view.plate_revision),
        run=best.public_id if best is not None and reduction is not None else None,
        method_version=reduction.method_version if reduction is not None else None,
        metrics=outs.metrics(reduction.metrics) if reduction is not None else {},
        claims=claim_readings(read_run_claims(best)) if best is not None else [],
        curves=[curve(one) for one in reduction.curves] if reduction is not None else [],
        chance_of_highest=chance_of_highest,
    )
