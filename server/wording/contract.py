"""The JSON that `benchledger reduce --json` prints and the API repeats: the contract's words.

Everything is SI; an efficiency is a fraction. Nothing here rounds.
"""

from collections.abc import Mapping

from server.model.bench import ClaimReading
from server.model.budget import BudgetLine
from server.model.measured import COVERAGE, Finding, JsonValue, MeaningReading, Metric
from server.model.recording import Column
from server.model.results import Reduction
from server.model.winding import WindingReading
from server.model.words import MetricName
from server.wording.findings import finding_text
from server.wording.kind_contract import with_kind_words
from server.wording.motor import motor_to_json
from server.wording.winding import winding_to_json

Json = dict[str, JsonValue]


def reduction_to_json(
    reduction: Reduction,
    claims: tuple[ClaimReading, ...],
    columns: tuple[Column, ...],
    winding: WindingReading | None = None,
) -> Json:
    """The one JSON object of a reduced run."""
    found: Json = {
        "metrics": metrics_to_json(reduction.metrics),
        "findings": [finding_to_json(f) for f in reduction.findings],
        "claims": [claim_to_json(c) for c in claims],
        "columns": [column_to_json(c) for c in columns],
        "lag": {
            "seconds": reduction.lag.seconds,
            "applied": reduction.lag.applied,
            "reason": reduction.lag.reason,
        },
        "method_version": reduction.method_version,
        "kind": reduction.kind.value,
        "motor": motor_to_json(reduction.motor),
        "winding_temperature": winding_to_json(winding),
    }
    return with_kind_words(reduction, found)


def metrics_to_json(metrics: Mapping[MetricName, Metric]) -> Json:
    return {name.value: metric_to_json(metric) for name, metric in metrics.items()}


def metric_to_json(metric: Metric) -> Json:
    return {
        "value": metric.value,
        "unit": metric.unit,
        "standard_uncertainty": metric.standard_uncertainty,
        "lower_bound": metric.lower_bound,
        "reason": metric.reason,
        "interval": interval_to_json(metric),
        "degrees_of_freedom": metric.degrees_of_freedom,
        "method": metric.method,
        "budget": [budget_line_to_json(line) for line in metric.budget],
    }


def interval_to_json(metric: Metric) -> Json | None:
    if metric.interval_low is None or metric.interval_high is None:
        return None
    return {"low": metric.interval_low, "high": metric.interval_high, "coverage": COVERAGE}


def budget_line_to_json(line: BudgetLine) -> Json:
    return {
        "component": line.component,
        "standard_uncertainty": line.standard_uncertainty,
        "distribution": line.distribution,
        "sensitivity": line.sensitivity,
        "share": line.share,
    }


def finding_to_json(finding: Finding) -> Json:
    text = finding_text(finding)
    return {
        "code": finding.code.value,
        "severity": finding.severity.value,
        "message": text.message,
        "remedy": text.remedy,
        "where": text.where,
        "evidence": finding.evidence,
    }


def claim_to_json(reading: ClaimReading) -> Json:
    claim = reading.claim
    return {
        "wording": claim.wording,
        "quantity": claim.quantity,
        "value": claim.value_si,
        "meanings": [meaning_to_json(m) for m in reading.meanings],
        "implied_current": metric_to_json(reading.implied_current),
        "rotor_energy_time": metric_to_json(reading.rotor_energy_time),
    }


def meaning_to_json(reading: MeaningReading) -> Json:
    return {
        "meaning": reading.meaning.value,
        "value": reading.value,
        "standard_uncertainty": reading.standard_uncertainty,
        "ratio": reading.ratio,
        "ratio_standard_uncertainty": reading.ratio_standard_uncertainty,
        "lower_bound": reading.lower_bound,
        "reason": reading.reason,
        "probability_reached": reading.probability_reached,
        "verdict": reading.verdict,
        "guard_band": reading.guard_band,
    }


def column_to_json(column: Column) -> Json:
    return {
        "position": column.position,
        "header": column.header,
        "channel": column.channel.value if column.channel is not None else None,
        "unit": column.unit,
        "reason": column.reason,
    }
