"""Rows and JSON to the model's frozen dataclasses, and back. The one place of this mapping."""

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import date
from typing import Any

from server.model.bench import (
    Appliance,
    Claim,
    ColumnChoice,
    Instrument,
    Plate,
    Rig,
    RunDetails,
    Specimen,
)
from server.model.budget import BudgetLine
from server.model.measured import Finding, Metric
from server.model.recording import Column
from server.model.results import Curve, Lag, LoadPoint, Reduction, Segment, Trace
from server.model.words import (
    AbsorberType,
    Channel,
    FindingCode,
    MetricName,
    MotorFamily,
    RunKind,
    SegmentKind,
    Severity,
    Source,
    Supply,
    WindingMaterial,
    WindingStandard,
)
from server.store.motor_shape import motor_of, motor_value
from server.store.types import plain_json

PLATE_FIELDS = tuple(f.name for f in fields(Plate))
RIG_FIELDS = tuple(f.name for f in fields(Rig))
CLAIM_FIELDS = tuple(f.name for f in fields(Claim))
SPECIMEN_FIELDS = tuple(f.name for f in fields(Specimen))
# A look-up here takes a third of the enum's own, and a page makes hundreds.
METRIC_BY_WORD = {name.value: name for name in MetricName}
WINDING_NUMBERS = (
    "cold_resistance_ohm",
    "hot_resistance_ohm",
    "resistance_uncertainty_rel",
    "cold_temperature_k",
    "cold_temperature_uncertainty_k",
    "reference_temperature_k",
)
APPLIANCE_FIELDS = tuple(f.name for f in fields(Appliance))


def plate_values(plate: Plate) -> dict[str, Any]:
    """Column values of a plate revision."""
    return {name: getattr(plate, name) for name in PLATE_FIELDS}


def plate_of(row: Any) -> Plate:
    values = {name: getattr(row, name) for name in PLATE_FIELDS}
    values["supply"] = Supply(row.supply) if row.supply is not None else None
    values["motor_family"] = MotorFamily(row.motor_family)
    return Plate(**values)


def rig_values(rig: Rig) -> dict[str, Any]:
    values = {name: getattr(rig, name) for name in RIG_FIELDS}
    values["drag"] = plain_json(rig.drag)
    values["instruments"] = plain_json(rig.instruments)
    return values


def rig_of(row: Any) -> Rig:
    values = {name: getattr(row, name) for name in RIG_FIELDS}
    values["absorber"] = AbsorberType(row.absorber) if row.absorber is not None else None
    values["drag"] = tuple((speed, torque) for speed, torque in row.drag)
    values["instruments"] = tuple(_instrument(item) for item in row.instruments)
    return Rig(**values)


def _instrument(item: Mapping[str, Any]) -> Instrument:
    calibrated = item["calibrated"]
    values = dict(item)
    values["channel"] = Channel(item["channel"])
    values["calibrated"] = date.fromisoformat(calibrated) if calibrated else None
    return Instrument(**values)


def claim_of(row: Any) -> Claim:
    return Claim(**{name: getattr(row, name) for name in CLAIM_FIELDS})


def specimen_of(row: Any) -> Specimen:
    return Specimen(**{name: getattr(row, name) for name in SPECIMEN_FIELDS})


def appliance_of(row: Any) -> Appliance:
    return Appliance(**{name: getattr(row, name) for name in APPLIANCE_FIELDS})


def details_of(row: Any, *, kind: str) -> RunDetails:
    return RunDetails(
        kind=RunKind(kind),
        source=Source(row.source),
        tested_on=row.tested_on,
        ambient_k=row.ambient_k,
        supply_note=row.supply_note,
        notes=row.notes,
        added_inertia_kg_m2=row.added_inertia_kg_m2,
        **{name: getattr(row, name) for name in WINDING_NUMBERS},
        winding_material=WindingMaterial(row.winding_material) if row.winding_material else None,
        winding_standard=WindingStandard(row.winding_standard) if row.winding_standard else None,
        sheet=row.typed.get("sheet"),
        typed=row.typed,
    )


def winding_values(details: RunDetails) -> dict[str, Any]:
    """Column values of what a run notes of its winding."""
    words = {name: getattr(details, name) for name in ("winding_material", "winding_standard")}
    return {name: getattr(details, name) for name in WINDING_NUMBERS} | {
        name: None if word is None else word.value for name, word in words.items()
    }


def columns_of(items: list[dict[str, Any]]) -> tuple[Column, ...]:
    return tuple(
        Column(**{**item, "channel": Channel(item["channel"]) if item["channel"] else None})
        for item in items
    )


def choices_of(items: list[dict[str, Any]]) -> tuple[ColumnChoice, ...]:
    return tuple(
        ColumnChoice(**{**item, "channel": Channel(item["channel"]) if item["channel"] else None})
        for item in items
    )


def set_values(reduction: Reduction) -> dict[str, Any]:
    """Column values of a metric set's long parts."""
    return {
        "method_version": reduction.method_version,
        "lag": plain_json(reduction.lag),
        "channels_used": plain_json(reduction.channels_used),
        "segments": plain_json(reduction.segments),
        "points": plain_json(reduction.points),
        "curves": plain_json(reduction.curves),
        "uncertainties": uncertainties_value(reduction.metrics),
        "motor": motor_value(reduction.motor),
    }


def uncertainties_value(metrics: Mapping[MetricName, Metric]) -> dict[str, Any]:
    """Interval and budget of each figure that has one."""
    return {
        name.value: {
            "interval": [m.interval_low, m.interval_high],
            "degrees_of_freedom": m.degrees_of_freedom,
            "method": m.method,
            "budget": plain_json(m.budget),
        }
        for name, m in metrics.items()
        if m.method is not None
    }


def with_uncertainty(
    metric: Metric, stored: Mapping[str, Any] | None, *, with_budget: bool = True
) -> Metric:
    """A figure with its interval and, if wanted, its budget, where its set has them."""
    if stored is None:
        return metric
    low, high = stored["interval"]
    return replace(
        metric,
        interval_low=low,
        interval_high=high,
        degrees_of_freedom=stored["degrees_of_freedom"],
        method=stored["method"],
        budget=tuple(BudgetLine(**line) for line in stored["budget"]) if with_budget else (),
    )


def trace_value(trace: Trace) -> dict[str, Any]:
    return {"time_s": dict(trace.time_s), "value": dict(trace.value)}


def metric_of(row: Any) -> Metric:
    return Metric(
        name=METRIC_BY_WORD[row.name],
        value=row.value,
        standard_uncertainty=row.standard_uncertainty,
        lower_bound=row.lower_bound,
        reason=row.reason,
    )


def finding_of(row: Any) -> Finding:
    return Finding(
        code=FindingCode(row.code), severity=Severity(row.severity), evidence=row.evidence
    )


def figures_value(metrics: Mapping[MetricName, Metric]) -> dict[str, Any]:
    """What a list shows of some metrics, in one column."""
    return {
        name.value: [m.value, m.standard_uncertainty, m.lower_bound, m.reason]
        for name, m in metrics.items()
    }


def metrics_of(figures: Mapping[str, list[Any]]) -> dict[MetricName, Metric]:
    by_word = METRIC_BY_WORD
    return {
        (name := by_word[word]): Metric(name, value, u, bound, reason)
        for word, (value, u, bound, reason) in figures.items()
    }


def reduction_of(
    row: Any,
    *,
    kind: str,
    metrics: Mapping[MetricName, Metric],
    findings: tuple[Finding, ...],
    trace: Mapping[str, Any] | None,
    with_model: bool,
) -> Reduction:
    """`with_model`: with segments, the motor's model and the figures' budgets."""
    stored = row.uncertainties
    return Reduction(
        kind=RunKind(kind),
        method_version=row.method_version,
        metrics={
            name: with_uncertainty(metric, stored.get(name.value), with_budget=with_model)
            for name, metric in metrics.items()
        },
        findings=findings,
        segments=_segments(row.segments) if with_model else (),
        points=tuple(LoadPoint(**point) for point in row.points),
        curves=tuple(_curve(curve) for curve in row.curves),
        lag=Lag(**row.lag),
        trace=_trace(trace) if trace is not None else None,
        channels_used=tuple(Channel(word) for word in row.channels_used),
        motor=motor_of(row.motor) if with_model else None,
    )


def _segments(items: list[dict[str, Any]]) -> tuple[Segment, ...]:
    return tuple(Segment(**{**one, "kind": SegmentKind(one["kind"])}) for one in items)


def _curve(item: Mapping[str, Any]) -> Curve:
    values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in item.items()}
    return Curve(**values)


def _trace(item: Mapping[str, Any]) -> Trace:
    return Trace(
        time_s={name: tuple(values) for name, values in item["time_s"].items()},
        value={name: tuple(values) for name, values in item["value"].items()},
    )
