"""Runs in revisions, their files, and the figures made from them."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.model.words import Medium, RunKind, RunState, Severity, Source
from server.store.tables.metadata import JsonDict, JsonList, Key, PublicId, Table, one_of


class StoredFileRow(Table):
    """A file as it was sent, kept byte for byte under its SHA-256."""

    __tablename__ = "stored_file"
    __table_args__ = (CheckConstraint("n_bytes >= 0", name="size_not_negative"),)

    sha256: Mapped[str] = mapped_column(primary_key=True)
    n_bytes: Mapped[int]
    created_at: Mapped[datetime]


class RecordingRow(Table):
    """A checked recording, kept as Parquet under the digest of its channels.

    The row comes with the run, the file soon after: it can be made from the log at any time.
    """

    __tablename__ = "recording"

    sha256: Mapped[str] = mapped_column(primary_key=True)
    n_rows: Mapped[int]
    created_at: Mapped[datetime]


class RunRow(Table):
    """Where a run stands. What it says is in its revisions, what it shows in its metric sets.

    The two pointers go round in a circle with what points back at the run; they are deferrable,
    so that a restore can bring the rows in one after the other.
    """

    __tablename__ = "run"
    __table_args__ = (
        UniqueConstraint("tester_id", "idempotency_key"),
        CheckConstraint(one_of("state", RunState), name="state_known"),
        CheckConstraint(one_of("kind", RunKind), name="kind_known"),
        CheckConstraint(one_of("medium", Medium), name="medium_known"),
        CheckConstraint(
            "state <> 'published' OR (current_set_id IS NOT NULL AND published_at IS NOT NULL)",
            name="published_has_figures",
        ),
        CheckConstraint("state <> 'failed' OR failure IS NOT NULL", name="failed_has_reason"),
        Index("ix_run_newest", "created_at", "id"),
        Index("ix_run_of_appliance", "appliance_id", "created_at", "id"),
        Index("ix_run_of_tester", "tester_id", "created_at", "id"),
        Index("ix_run_by_state", "state", "created_at", "id"),
    )

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"))
    appliance_id: Mapped[int] = mapped_column(ForeignKey("appliance.id"))
    kind: Mapped[str]
    medium: Mapped[str | None]
    state: Mapped[str]
    failure: Mapped[str | None]
    idempotency_key: Mapped[str | None]
    request_sha256: Mapped[str]
    current_revision_id: Mapped[int | None] = mapped_column(
        ForeignKey("run_revision.id", use_alter=True, deferrable=True, initially="IMMEDIATE"),
        index=True,
    )
    current_set_id: Mapped[int | None] = mapped_column(
        ForeignKey("metric_set.id", use_alter=True, deferrable=True, initially="IMMEDIATE"),
        index=True,
    )
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    published_at: Mapped[datetime | None]
    # Not shown before this date, even once it was looked at (`accepted_at`).
    not_before: Mapped[date | None]
    accepted_at: Mapped[datetime | None]
    # Published by rule, to be looked at afterwards.
    needs_look: Mapped[bool] = mapped_column(server_default="0", index=True)
    assigned_to_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    assigned_at: Mapped[datetime | None]
    # Counts every move and decision: who decides on an older one is told so.
    version: Mapped[int] = mapped_column(server_default="0")


class RunRevisionRow(Table):
    """What a run says, as sent. Never changed.

    `columns` is the column map by position with the header beside it; `choices` what the sender
    overruled. `tested_on` is a local date; `tested_offset_min` its offset from UTC where known.
    """

    __tablename__ = "run_revision"
    __table_args__ = (
        UniqueConstraint("run_id", "number"),
        CheckConstraint(one_of("source", Source), name="source_known"),
        CheckConstraint("ambient_k > 0", name="ambient_positive"),
    )

    id: Mapped[Key]
    run_id: Mapped[int] = mapped_column(ForeignKey("run.id"))
    number: Mapped[int]
    specimen_id: Mapped[int] = mapped_column(ForeignKey("specimen.id"), index=True)
    plate_revision_id: Mapped[int] = mapped_column(ForeignKey("plate_revision.id"), index=True)
    rig_revision_id: Mapped[int] = mapped_column(ForeignKey("rig_revision.id"), index=True)
    source: Mapped[str]
    tested_on: Mapped[date | None]
    tested_offset_min: Mapped[int | None]
    ambient_k: Mapped[float | None]
    supply_note: Mapped[str | None]
    notes: Mapped[str | None]
    typed: Mapped[JsonDict]
    file_sha256: Mapped[str] = mapped_column(ForeignKey("stored_file.sha256"), index=True)
    file_name: Mapped[str]
    choices: Mapped[JsonList]
    columns: Mapped[JsonList]
    dialect: Mapped[JsonDict]
    n_rows: Mapped[int | None]
    recording_sha256: Mapped[str | None] = mapped_column(ForeignKey("recording.sha256"), index=True)
    created_at: Mapped[datetime]
    added_inertia_kg_m2: Mapped[float | None]
    cold_resistance_ohm: Mapped[float | None]
    hot_resistance_ohm: Mapped[float | None]
    resistance_uncertainty_rel: Mapped[float | None]
    cold_temperature_k: Mapped[float | None]
    cold_temperature_uncertainty_k: Mapped[float | None]
    winding_material: Mapped[str | None]
    winding_standard: Mapped[str | None]
    reference_temperature_k: Mapped[float | None]
    # Why this revision was made, in its sender's words.
    reason_id: Mapped[int | None] = mapped_column(ForeignKey("person_text.id"))


class MetricSetRow(Table):
    """The figures of one run revision by one method version. Sets are added, never changed.

    The long parts come last and apart, so that a list never reads them. `uncertainties` holds, by
    the figure's word, what its interval is and where that comes from; `motor` the motor's model,
    empty where none was looked for.
    """

    __tablename__ = "metric_set"
    __table_args__ = (
        Index(None, "run_revision_id", "id"),
        Index(None, "method_version"),
    )

    id: Mapped[Key]
    run_revision_id: Mapped[int] = mapped_column(ForeignKey("run_revision.id"))
    input_digest: Mapped[str]
    method_version: Mapped[str]
    was_published: Mapped[bool]
    created_at: Mapped[datetime]
    lag: Mapped[JsonDict]
    channels_used: Mapped[JsonList]
    segments: Mapped[JsonList]
    points: Mapped[JsonList]
    curves: Mapped[JsonList]
    uncertainties: Mapped[JsonDict] = mapped_column(server_default="{}")
    motor: Mapped[JsonDict] = mapped_column(server_default="{}")


class MetricSetTraceRow(Table):
    """The thinned recording of a metric set: large, and read by the run's page alone."""

    __tablename__ = "metric_set_trace"

    metric_set_id: Mapped[int] = mapped_column(ForeignKey("metric_set.id"), primary_key=True)
    trace: Mapped[JsonDict]


class MetricRow(Table):
    __tablename__ = "metric"
    __table_args__ = (
        CheckConstraint("(value IS NULL) = (reason IS NOT NULL)", name="value_or_reason"),
        CheckConstraint("standard_uncertainty >= 0", name="uncertainty_not_negative"),
        Index(None, "name", "value"),
    )

    metric_set_id: Mapped[int] = mapped_column(ForeignKey("metric_set.id"), primary_key=True)
    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[float | None]
    standard_uncertainty: Mapped[float | None]
    lower_bound: Mapped[bool]
    reason: Mapped[str | None]


class FindingRow(Table):
    __tablename__ = "finding"
    __table_args__ = (CheckConstraint(one_of("severity", Severity), name="severity_known"),)

    metric_set_id: Mapped[int] = mapped_column(ForeignKey("metric_set.id"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(index=True)
    severity: Mapped[str]
    evidence: Mapped[JsonDict]
