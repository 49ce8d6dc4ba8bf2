"""The run page: figures, findings, the trace, fits with residuals, how it was made, the file."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from server.actions.revise_run import CORRECTABLE
from server.charts import fit_residuals, run_trace
from server.charts.figure import FigureTable
from server.model.bench import ClaimReading
from server.model.changes import RunVersion
from server.model.measured import Metric
from server.model.results import Reduction
from server.model.views import RunView, Tester
from server.model.words import MetricName, RunKind, RunState
from server.pages.claims import show_claims
from server.pages.load_figures import load_title, show_load
from server.pages.motor import MotorShown, show_motor
from server.pages.pictures import show_figure
from server.pages.rows import (
    figure_path,
    revision_links,
    show_changes,
    show_findings,
    show_plate,
    version_link,
)
from server.pages.run_details import (
    columns_table,
    file_values,
    instruments_table,
    method_values,
    rig_values,
    run_exports,
    specimen_values,
)
from server.pages.run_people import RunPeople
from server.pages.shapes import (
    ChangeShown,
    ClaimShown,
    FigureShown,
    FindingShown,
    Head,
    Link,
    PhotoShown,
    Value,
)
from server.wording.counts import count_of, show_date
from server.wording.figures import metric_help, metric_label, show_metric
from server.wording.labels import kind_word, source_word, state_help, state_word

HEADLINES: dict[RunKind, tuple[MetricName, ...]] = {
    RunKind.BRAKE: (
        MetricName.SHAFT_POWER_AT_RATED_CURRENT,
        MetricName.SHAFT_POWER_MAX_STEADY,
        MetricName.EFFICIENCY_MAX,
        MetricName.FREE_SPEED,
    ),
    RunKind.RUN_DOWN: (MetricName.DRAG, MetricName.ROTOR_INERTIA, MetricName.STORED_ENERGY),
    RunKind.RUN_UP: (MetricName.SHAFT_POWER_MAX_MOMENTARY, MetricName.FREE_SPEED),
    RunKind.IN_USE: (
        MetricName.SHAFT_POWER_IN_USE,
        MetricName.OPERATING_SPEED,
        MetricName.INPUT_POWER_IN_USE,
        MetricName.AGREEMENT_Z,
    ),
    RunKind.LOCKED_ROTOR: (
        MetricName.SHAFT_POWER_ROTOR_HELD,
        MetricName.INPUT_ROTOR_HELD,
        MetricName.CURRENT_ROTOR_HELD,
        MetricName.TORQUE_ROTOR_HELD,
    ),
}


@dataclass(frozen=True, slots=True)
class RunPage:
    head: Head
    title: str
    appliance: Link
    basis: str
    standing: str | None
    heads: tuple[Value, ...]
    findings: tuple[FindingShown, ...]
    figures: tuple[Value, ...]
    made_by: str | None
    earlier: tuple[Link, ...]
    missing: tuple[Value, ...]
    trace: FigureShown | None
    claims: tuple[ClaimShown, ...]
    load_title: str
    load: tuple[FigureShown, ...]
    residuals: tuple[FigureShown, ...]
    fits: tuple[Value, ...]
    motor: MotorShown | None
    method: tuple[Value, ...]
    rig: tuple[Value, ...]
    instruments: FigureTable | None
    specimen: tuple[Value, ...]
    plate: tuple[Value, ...]
    file: tuple[Value, ...]
    columns: FigureTable | None
    exports: tuple[Link, ...]
    changes: tuple[ChangeShown, ...]
    is_working: bool
    can_withdraw: bool
    withdraw_href: str
    people: RunPeople
    correct_href: str | None
    revisions: tuple[Link, ...]
    photos: tuple[PhotoShown, ...]


def run_page(
    view: RunView,
    *,
    readings: Sequence[ClaimReading],
    viewer: Tester | None,
    versions: Sequence[RunVersion] = (),
    people: RunPeople | None = None,
    photos: tuple[PhotoShown, ...] = (),
) -> RunPage:
    """`versions`: those of the run's figures that the viewer may see, the newest first."""
    name = f"{view.appliance.content.maker} {view.appliance.content.model}"
    path = f"/runs/{view.public_id}"
    title, reduction = _title(view), view.reduction
    metrics = reduction.metrics if reduction is not None else {}
    typed = readings[0].claim.value_typed if readings else None
    own_state = view.state if viewer and viewer.public_id == view.tester_id else None
    return RunPage(
        head=Head(
            title=f"{name}: {title}",
            description=_description(view, name, metrics),
            path=path,
            section="appliances",
            json_path=f"/api/v1{path}",
            kind="article",
            is_indexed=view.state is RunState.PUBLISHED,
        ),
        title=title,
        appliance=Link(name, f"/appliances/{view.appliance.public_id}-{view.appliance.slug}"),
        basis=_basis(view),
        standing=_standing(view),
        heads=tuple(_headline(metrics[n], view, typed) for n in _heads(view) if n in metrics),
        findings=show_findings(reduction.findings) if reduction is not None else (),
        figures=_figures(metrics, view, typed),
        made_by=f"Method {reduction.method_version}." if reduction is not None else None,
        earlier=tuple(version_link(view.public_id, v) for v in versions if not v.is_current),
        missing=_missing(metrics),
        trace=_trace(reduction),
        claims=_claims(view, readings),
        load_title=load_title(reduction),
        load=show_load(reduction),
        residuals=_residuals(reduction),
        fits=_fits(reduction),
        motor=show_motor(reduction),
        method=method_values(view),
        rig=rig_values(view),
        instruments=instruments_table(view.rig.content),
        specimen=specimen_values(view),
        plate=show_plate(view.plate),
        file=file_values(view),
        columns=columns_table(view.columns),
        exports=run_exports(view),
        changes=show_changes(view.journal),
        is_working=view.state is RunState.WORKING,
        can_withdraw=own_state in {RunState.PUBLISHED, RunState.WAITING},
        withdraw_href=f"{path}/withdraw",
        people=people or RunPeople(),
        correct_href=f"{path}/correct" if own_state in CORRECTABLE else None,
        revisions=revision_links(view),
        photos=photos,
    )


# Kinds whose figures a printed power can be set beside.
_WITH_CLAIMS = frozenset({RunKind.BRAKE, RunKind.RUN_UP, RunKind.LOCKED_ROTOR})


def _claims(view: RunView, readings: Sequence[ClaimReading]) -> tuple[ClaimShown, ...]:
    if view.reduction is None or view.details.kind not in _WITH_CLAIMS:
        return ()
    return show_claims(readings, plate=view.plate, run_id=view.public_id)


def _heads(view: RunView) -> tuple[MetricName, ...]:
    """The figures at the head; of a run-down only what came out, drag or inertia."""
    names = HEADLINES.get(view.details.kind, ())
    metrics = view.reduction.metrics if view.reduction is not None else {}
    known = tuple(n for n in names if n in metrics and metrics[n].value is not None)
    return known if known and view.details.kind is RunKind.RUN_DOWN else names


def _title(view: RunView) -> str:
    when = view.details.tested_on or view.created_at
    kind = view.details.kind
    words = f"{kind_word(kind)} run" if kind is RunKind.BRAKE else kind_word(kind)
    return f"{words}, {show_date(when)}"


def _basis(view: RunView) -> str:
    label = view.specimen.content.label
    return " · ".join(
        (
            f"by {view.tester}",
            f"specimen {label}" if label else "specimen not named",
            source_word(view.details.source),
            count_of(view.n_rows, "reading"),
        )
    )


def _standing(view: RunView) -> str | None:
    """What a reader must know of where the run stands; nothing for a published, current one."""
    if view.state is RunState.FAILED:
        return f"The figures could not be made: {view.failure or 'no reason was kept'}"
    if view.state is not RunState.PUBLISHED:
        word = state_word(view.state)
        return f"{word[:1].upper()}{word[1:]}. {state_help(view.state)}"
    if view.is_stale:
        return "These figures were made with an earlier version of the method."
    return None


def _description(view: RunView, name: str, metrics: Mapping[MetricName, Metric]) -> str:
    told = f"{_title(view)} of {name} by {view.tester}"
    if view.details.kind is RunKind.BRAKE:
        highest = show_metric(metrics.get(MetricName.SHAFT_POWER_MAX_STEADY))
        return f"{told}: highest steady shaft power {highest.text}."
    known = [n for n in _heads(view) if n in metrics and metrics[n].value is not None]
    if not known:
        return f"{told}."
    first = show_metric(metrics[known[0]]).text
    return f"{told}: {metric_label(known[0]).casefold()} {first}."


# What a reader may take for a measurement, and is none.
_BY_DEFINITION = frozenset({MetricName.SHAFT_POWER_ROTOR_HELD})


def _value(metric: Metric, view: RunView, typed: str | None = None) -> Value:
    """Horsepower stands beside what is read at the shaft only: the claim is about that."""
    is_shaft = metric.name.value.startswith(("shaft_power", "brake_reading"))
    shown = show_metric(metric, like=typed if is_shaft else None)
    by_definition = metric_help(metric.name) if metric.name in _BY_DEFINITION else None
    note = " · ".join(part for part in (shown.beside, shown.note, by_definition) if part) or None
    href = None if shown.is_missing else figure_path(view.public_id, metric.name)
    return Value(
        metric_label(metric.name), shown.text, note=note, href=href, is_missing=shown.is_missing
    )


def _headline(metric: Metric, view: RunView, typed: str | None) -> Value:
    """A figure at the head of the page; what it leaves open stands in the list below."""
    full = _value(metric, view, typed)
    beside = show_metric(metric, like=typed).beside if full.note else None
    is_shaft = metric.name.value.startswith("shaft_power")
    return replace(full, note=beside if is_shaft else None)


def _figures(
    metrics: Mapping[MetricName, Metric], view: RunView, typed: str | None
) -> tuple[Value, ...]:
    return tuple(
        _value(metrics[name], view, typed)
        for name in MetricName
        if name in metrics and metrics[name].value is not None
    )


def _missing(metrics: Mapping[MetricName, Metric]) -> tuple[Value, ...]:
    return tuple(
        Value(metric_label(name), metrics[name].reason or "no reason was kept")
        for name in MetricName
        if name in metrics and metrics[name].value is None
    )


def _trace(reduction: Reduction | None) -> FigureShown | None:
    if reduction is None or reduction.trace is None:
        return None
    return show_figure(run_trace(reduction.trace, reduction.segments))


def _residuals(reduction: Reduction | None) -> tuple[FigureShown, ...]:
    if reduction is None or not reduction.curves or not reduction.points:
        return ()
    if reduction.kind is not RunKind.BRAKE:
        return ()
    return (show_figure(fit_residuals(reduction), explore=False),)


def _fits(reduction: Reduction | None) -> tuple[Value, ...]:
    if reduction is None:
        return ()
    return tuple(
        Value(curve.quantity.replace("_", " ").capitalize(), curve.fit)
        for curve in reduction.curves
    )
