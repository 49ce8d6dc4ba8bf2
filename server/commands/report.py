"""Figures, findings and claims as tables on a terminal, from the contract's JSON."""

from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from server.model.measured import Metric
from server.model.words import Meaning, MetricName, Severity
from server.wording.figures import ZERO_CELSIUS_K, show_metric, show_power, show_ratio
from server.wording.labels import meaning_label, metric_label, severity_word

Json = dict[str, Any]


def print_report(console: Console, results: Json) -> None:
    """Print what `reduce --json` would print, for people."""
    console.print(_metrics(results["metrics"]))
    for claim in results["claims"]:
        console.print(_claim(claim))
    print_winding(console, results["winding_temperature"])
    for finding in results["findings"]:
        word = severity_word(Severity(finding["severity"]))
        told = finding["message"]
        if finding["severity"] != Severity.INFO:
            told += f" {finding['remedy']}"
        console.print(f"{word}: {escape(told)}", highlight=False)
    console.print(f"Method {results['method_version']}; ± is the 95 % interval.", style="dim")


def print_winding(console: Console, winding: Json | None) -> None:
    """One line: temperature, rise, and whose constant."""
    if winding is None:
        return
    if winding["temperature"] is None:
        console.print(f"Winding temperature: {winding['reason']}", highlight=False)
        return
    line = f"Winding temperature: {winding['temperature'] - ZERO_CELSIUS_K:.1f} °C"
    if winding["rise"] is not None:
        line += f", {winding['rise']:.1f} K above the ambient"
    law = f"{winding['material']}, {winding['standard']}: {winding['constant']:g}"
    console.print(f"{line} ({law})", highlight=False)


def _metric(name: str, shape: Json) -> Metric:
    return Metric(
        name=MetricName(name),
        value=shape["value"],
        standard_uncertainty=shape["standard_uncertainty"],
        lower_bound=shape["lower_bound"],
        reason=shape["reason"],
    )


def _metrics(metrics: Json) -> Table:
    table = Table("figure", "value", "note", title=None)
    for name, shape in metrics.items():
        shown = show_metric(_metric(name, shape))
        table.add_row(metric_label(MetricName(name)), shown.text, escape(shown.note or ""))
    return table


def _claim(claim: Json) -> Table:
    table = Table("what “power” could mean", "measured", "of the printed figure", "note")
    table.title = f"Printed: {escape(claim['wording'])}"
    for meaning in claim["meanings"]:
        value = meaning["value"]
        u = meaning["standard_uncertainty"]
        is_limit = meaning["meaning"] == Meaning.CIRCUIT_CONTINUOUS_LIMIT
        table.add_row(
            meaning_label(Meaning(meaning["meaning"])),
            "" if value is None else f"{value:.0f} VA" if is_limit else show_power(value, u),
            "" if meaning["ratio"] is None else show_ratio(meaning["ratio"]),
            escape(meaning["reason"] or ""),
        )
    for name in ("implied_current", "rotor_energy_time"):
        shown = show_metric(_metric(name, claim[name]))
        table.add_row(metric_label(MetricName(name)), shown.text, "", escape(shown.note or ""))
    return table
