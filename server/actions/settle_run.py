"""Store the figures of a run, and publish it if no finding holds it back."""

from dataclasses import replace

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from server.actions.move_run import move_run
from server.model.measured import Finding
from server.model.results import Reduction
from server.model.words import FindingCode, RunState, Severity
from server.store.journal import SYSTEM, now
from server.store.shapes import set_values, trace_value
from server.store.tables import (
    FindingRow,
    MetricRow,
    MetricSetRow,
    MetricSetTraceRow,
    RunRevisionRow,
    RunRow,
)

# How many earlier runs of the same file a finding names.
MAX_NAMED = 5


def settle_run(
    session: Session,
    *,
    run: RunRow,
    revision: RunRevisionRow,
    reduction: Reduction,
    input_digest: str,
) -> None:
    """Store a first set of figures and decide where the run goes from `working`.

    The rule: without a finding of severity error it is published, by actor `system`; else it
    waits until a person has looked at it.
    """
    same = same_file_finding(session, run=run, revision=revision)
    findings = (*reduction.findings, *same)
    reduction = replace(reduction, findings=findings)
    row = add_metric_set(
        session, revision_id=revision.id, reduction=reduction, input_digest=input_digest
    )
    run.current_set_id = row.id
    holds = any(finding.severity is Severity.ERROR for finding in findings)
    move_run(
        session,
        run=run,
        to=RunState.WAITING if holds else RunState.PUBLISHED,
        actor=SYSTEM,
    )


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
