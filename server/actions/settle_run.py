"""Store the figures of a run, and publish it if no finding holds it back."""

from dataclasses import replace

from sqlalchemy import exists, insert, select
from sqlalchemy.orm import Session

from server.actions.move_run import move_run
from server.actions.prepare_run import PreparedRun
from server.actions.standing import is_drawn_for_a_look, is_published_at_once
from server.model.measured import Finding
from server.model.publishing import PublishingRule
from server.model.results import Reduction
from server.model.words import FindingCode, RunState, Severity
from server.store.database import insert_if_absent
from server.store.journal import SYSTEM, now
from server.store.shapes import set_values, trace_value
from server.store.tables import (
    AuditEventRow,
    FindingRow,
    MetricRow,
    MetricSetRow,
    MetricSetTraceRow,
    RecordingRow,
    RunRevisionRow,
    RunRow,
)
from server.store.types import plain_json

# How many earlier runs of the same file a finding names.
MAX_NAMED = 5
AT_ONCE = PublishingRule()


def fill_in_reading(session: Session, *, revision: RunRevisionRow, prepared: PreparedRun) -> None:
    """Note how the file was read: once, with the first figures; the revision is fixed then."""
    log = prepared.log
    stored = {
        "sha256": prepared.recording_sha256,
        "n_rows": log.n_rows,
        "created_at": now(),
    }
    insert_if_absent(session, RecordingRow, stored, unique=("sha256",))
    revision.columns = plain_json(log.columns)
    revision.dialect = dict(log.dialect)
    revision.n_rows = log.n_rows
    revision.recording_sha256 = prepared.recording_sha256


def settle_run(
    session: Session,
    *,
    run: RunRow,
    revision: RunRevisionRow,
    reduction: Reduction,
    input_digest: str,
    rule: PublishingRule = AT_ONCE,
) -> None:
    """Store a first set of figures and decide where the run goes from `working`.

    Without a finding of severity error, and where the rule lets it, it is published by actor
    `system`, on its date where it has one; else it waits until a person has looked at it.
    """
    same = same_file_finding(session, run=run, revision=revision)
    findings = (*reduction.findings, *same)
    reduction = replace(reduction, findings=findings)
    row = add_metric_set(
        session, revision_id=revision.id, reduction=reduction, input_digest=input_digest
    )
    run.current_set_id = row.id
    holds = any(finding.severity is Severity.ERROR for finding in findings)
    if (
        holds
        or must_wait(session, run=run)
        or not is_published_at_once(session, run=run, rule=rule)
    ):
        move_run(session, run=run, to=RunState.WAITING, actor=SYSTEM)
        return
    is_looked_at = is_drawn_for_a_look(run.public_id, share=rule.look_share)
    if run.not_before is not None and run.not_before > now().date():
        move_run(session, run=run, to=RunState.WAITING, actor=SYSTEM)
        run.accepted_at = now()
    else:
        move_run(session, run=run, to=RunState.PUBLISHED, actor=SYSTEM)
    run.needs_look = is_looked_at


def must_wait(session: Session, *, run: RunRow) -> bool:
    """Whether somebody returned this run, so that its correction is looked at whatever the rule."""
    event = AuditEventRow
    returned = exists().where(
        event.subject_kind == "run",
        event.subject_id == run.id,
        event.act == f"run {RunState.RETURNED.value}",
    )
    return run.published_at is None and bool(session.execute(select(returned)).scalar_one())


def add_metric_set(
    session: Session, *, revision_id: int, reduction: Reduction, input_digest: str
) -> MetricSetRow:
    """Store figures as a new set; which set is current is for the caller to say."""
    row = MetricSetRow(
        run_revision_id=revision_id,
        input_digest=input_digest,
        was_published=False,
        created_at=now(),
        **set_values(reduction),
    )
    session.add(row)
    session.flush()
    metrics = [
        {
            "metric_set_id": row.id,
            "name": metric.name.value,
            "value": metric.value,
            "standard_uncertainty": metric.standard_uncertainty,
            "lower_bound": metric.lower_bound,
            "reason": metric.reason,
        }
        for metric in reduction.metrics.values()
    ]
    findings = [
        {
            "metric_set_id": row.id,
            "position": position,
            "code": finding.code.value,
            "severity": finding.severity.value,
            "evidence": finding.evidence,
        }
        for position, finding in enumerate(reduction.findings)
    ]
    if metrics:
        session.execute(insert(MetricRow), metrics)
    if findings:
        session.execute(insert(FindingRow), findings)
    if reduction.trace is not None:
        trace = MetricSetTraceRow(metric_set_id=row.id, trace=trace_value(reduction.trace))
        session.add(trace)
    return row


def same_file_finding(
    session: Session, *, run: RunRow, revision: RunRevisionRow
) -> tuple[Finding, ...]:
    """Whether the same file was sent before: told only of the sender's own or published runs."""
    earlier = (
        session.execute(
            select(RunRow.public_id)
            .join(RunRevisionRow, RunRevisionRow.run_id == RunRow.id)
            .where(
                RunRevisionRow.file_sha256 == revision.file_sha256,
                RunRow.id != run.id,
                RunRow.state != RunState.WITHDRAWN,
                (RunRow.tester_id == run.tester_id) | (RunRow.state == RunState.PUBLISHED),
            )
            .distinct()
            .order_by(RunRow.public_id)
            .limit(MAX_NAMED)
        )
        .scalars()
        .all()
    )
    if not earlier:
        return ()
    evidence: dict[str, object] = {"runs": list(earlier)}
    return (Finding(FindingCode.SAME_FILE, Severity.WARNING, evidence),)  # type: ignore[arg-type]
