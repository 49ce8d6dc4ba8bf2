"""Runs, findings, plates and changes as the rows that several pages show."""

from collections.abc import Iterable, Mapping, Sequence

from server.model.bench import Plate
from server.model.changes import RunVersion
from server.model.measured import Finding, Metric
from server.model.views import JournalRow, RunRow, RunView
from server.model.words import MetricName, MotorFamily, Severity
from server.pages.shapes import ChangeShown, FigureCell, FindingShown, Link, RunShown, Value
from server.wording.counts import show_date
from server.wording.figures import NOT_STATED, show_metric, show_plain, unbroken
from server.wording.findings import finding_text
from server.wording.journal import change_text
from server.wording.labels import family_word, kind_word, severity_word, state_word

RUN_FIGURES: tuple[tuple[MetricName, str], ...] = (
    (MetricName.SHAFT_POWER_AT_RATED_CURRENT, "Shaft, at rated current"),
    (MetricName.SHAFT_POWER_MAX_STEADY, "Shaft, highest steady"),
    (MetricName.EFFICIENCY_MAX, "Best efficiency"),
)


def run_name(run: RunRow) -> str:
    when = run.tested_on or run.created_at
    return f"{kind_word(run.kind)}, {show_date(when)}"


def figure_path(run_id: str, name: MetricName) -> str:
    """The page that follows one figure of a run down to the bytes of its file."""
    return f"/runs/{run_id}/figures/{name.value}"


def version_path(run_id: str, number: int) -> str:
    """The page of one version of a run's figures."""
    return f"/runs/{run_id}/versions/{number}"


def version_link(run_id: str, version: RunVersion) -> Link:
    words = f"Version {version.number}: {version.method_version}, {show_date(version.made_at)}"
    if version.is_current:
        words += ", today’s"
    elif not version.was_published:
        words += ", never published"
    return Link(words, version_path(run_id, version.number))


def figure_cells(
    metrics: Mapping[MetricName, Metric],
    wanted: Sequence[tuple[MetricName, str]] = RUN_FIGURES,
    *,
    run_id: str,
) -> tuple[FigureCell, ...]:
    cells = []
    for name, label in wanted:
        shown = show_metric(metrics.get(name))
        href = None if shown.is_missing else figure_path(run_id, name)
        cells.append(FigureCell(label, shown.text, shown.is_missing, href))
    return tuple(cells)


def show_run(run: RunRow) -> RunShown:
    return RunShown(
        name=run_name(run),
        href=f"/runs/{run.public_id}",
        appliance=run.appliance_name,
        appliance_href=f"/appliances/{run.appliance_id}-{run.appliance_slug}",
        specimen=run.specimen or "not named",
        tester=run.tester,
        figures=figure_cells(run.metrics, run_id=run.public_id),
        standing=state_word(run.state),
    )


def show_runs(runs: Iterable[RunRow]) -> tuple[RunShown, ...]:
    return tuple(show_run(run) for run in runs)


_WEIGHT_ORDER = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.INFO: 2}
_WEIGHT_CLASS = {Severity.ERROR: "holds", Severity.WARNING: "check", Severity.INFO: "note"}


def show_findings(findings: Iterable[Finding]) -> tuple[FindingShown, ...]:
    """Findings in words, the weighty ones first."""
    shown = []
    for finding in sorted(findings, key=lambda f: _WEIGHT_ORDER[f.severity]):
        words = finding_text(finding)
        shown.append(
            FindingShown(
                weight=severity_word(finding.severity),
                weight_class=_WEIGHT_CLASS[finding.severity],
                message=words.message,
                remedy=words.remedy,
                where=words.where,
            )
        )
    return tuple(shown)


def show_plate(plate: Plate) -> tuple[Value, ...]:
    """The rating plate, as typed where it was typed."""
    voltage = _plate_figure(plate, "voltage_v", plate.voltage_v, "V")
    if plate.voltage_v is not None and plate.supply is not None:
        voltage += " DC" if plate.supply.value == "DC" else " AC"
    if plate.voltage_v is not None and plate.frequency_hz is not None:
        voltage += f" {_plate_figure(plate, 'frequency_hz', plate.frequency_hz, 'Hz')}"
    rows = [
        ("Voltage", voltage),
        ("Current", _plate_figure(plate, "current_a", plate.current_a, "A")),
        ("Power", _plate_figure(plate, "power_w", plate.power_w, "W")),
        ("Speed", _plate_figure(plate, "speed_rad_s", plate.speed_rad_s, "rad/s")),
        ("Motor", family_word(plate.motor_family)),
        ("Plug’s circuit", _plate_figure(plate, "circuit_a", plate.circuit_a, "A")),
    ]
    if plate.duty:
        rows.append(("Duty", plate.duty))
    unknown = {NOT_STATED, family_word(MotorFamily.UNKNOWN)}
    return tuple(Value(label, text, is_missing=text in unknown) for label, text in rows)


def _plate_figure(plate: Plate, name: str, value_si: float | None, unit: str) -> str:
    if value_si is None:
        return NOT_STATED
    typed = plate.typed.get(name)
    return unbroken(typed) if typed else show_plain(value_si, unit)


def revision_links(view: RunView) -> tuple[Link, ...]:
    """Links to the revisions of a run that had more than one, the newest first."""
    if view.revision < 2:
        return ()
    return tuple(
        Link(f"Revision {n}, as it was", f"/runs/{view.public_id}/revisions/{n}")
        if n != view.revision
        else Link(f"Revision {n}, beside the one before", f"/runs/{view.public_id}/revisions/{n}")
        for n in range(view.revision, 0, -1)
    )


def show_changes(journal: Iterable[JournalRow]) -> tuple[ChangeShown, ...]:
    return tuple(
        ChangeShown(
            iso=row.at.isoformat(timespec="seconds"),
            day=show_date(row.at),
            text=change_text(row),
        )
        for row in journal
    )
