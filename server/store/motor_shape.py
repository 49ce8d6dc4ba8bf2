"""A motor's model to JSON and back."""

from collections.abc import Mapping
from typing import Any

from server.model.motor import (
    ChannelResiduals,
    Identified,
    LossKind,
    LossPart,
    ModelCurve,
    ModelScore,
    MotorFit,
    MotorParameter,
    NormalisedMetric,
    PointLosses,
    Warming,
)
from server.model.words import Channel, MetricName, MotorFamily
from server.store.types import plain_json


def motor_value(motor: MotorFit | None) -> dict[str, Any]:
    """What the column holds; empty where no model was looked for."""
    value: dict[str, Any] = plain_json(motor) if motor is not None else {}
    return value


def motor_of(stored: Mapping[str, Any]) -> MotorFit | None:
    if not stored:
        return None
    curve = stored["curve"]
    return MotorFit(
        family=MotorFamily(stored["family"]),
        model=stored["model"],
        reason=stored["reason"],
        parameters=tuple(
            MotorParameter(**{**p, "identified": Identified(p["identified"])})
            for p in stored["parameters"]
        ),
        covariance=tuple(tuple(row) for row in stored["covariance"]),
        residuals=tuple(
            ChannelResiduals(**{**_tuples(r), "channel": Channel(r["channel"])})
            for r in stored["residuals"]
        ),
        scores=tuple(
            ModelScore(**{**s, "family": MotorFamily(s["family"])}) for s in stored["scores"]
        ),
        losses=tuple(
            PointLosses(**{**at, "parts": tuple(_part(p) for p in at["parts"])})
            for at in stored["losses"]
        ),
        normalised=tuple(
            NormalisedMetric(**{**n, "name": MetricName(n["name"])}) for n in stored["normalised"]
        ),
        curve=ModelCurve(**_tuples(curve)) if curve is not None else None,
        is_voltage_from_plate=stored["is_voltage_from_plate"],
        warming=Warming(**stored["warming"]) if stored["warming"] is not None else None,
        method_version=stored["method_version"],
    )


def _part(item: Mapping[str, Any]) -> LossPart:
    return LossPart(**{**item, "kinds": tuple(LossKind(k) for k in item["kinds"])})


def _tuples(item: Mapping[str, Any]) -> dict[str, Any]:
    return {k: tuple(v) if isinstance(v, list) else v for k, v in item.items()}
