"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_first_tables"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "recording",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("n_bytes", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("n_rows", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_recording")),
    )
    op.create_table(
        "stored_file",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("n_bytes", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("n_bytes >= 0", name=op.f("ck_stored_file_size_not_negative")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_stored_file")),
    )
    op.create_table(
        "tester",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tester")),
        sa.UniqueConstraint("public_id", name=op.f("uq_tester_public_id")),
    )
    op.create_table(
        "api_token",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column(
            "tester_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_api_token_tester_id_tester")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_token")),
        sa.UniqueConstraint("public_id", name=op.f("uq_api_token_public_id")),
        sa.UniqueConstraint("sha256", name=op.f("uq_api_token_sha256")),
    )
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_token_tester_id"), ["tester_id"], unique=False)

    op.create_table(
        "appliance",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("slug", sa.Text(), nullable=False),
        sa.Column("maker", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("maker_key", sa.Text(), nullable=False),
        sa.Column("model_key", sa.Text(), nullable=False),
        sa.Column("category", sa.Text(), nullable=False),
        sa.Column("model_number", sa.Text(), nullable=True),
        sa.Column("market", sa.Text(), nullable=True),
        sa.Column("produced", sa.Text(), nullable=True),
        sa.Column(
            "merged_into_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column(
            "created_by_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("merged_into_id <> id", name=op.f("ck_appliance_not_into_itself")),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["tester.id"], name=op.f("fk_appliance_created_by_id_tester")
        ),
        sa.ForeignKeyConstraint(
            ["merged_into_id"],
            ["appliance.id"],
            name=op.f("fk_appliance_merged_into_id_appliance"),
            initially="IMMEDIATE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_appliance")),
        sa.UniqueConstraint(
            "maker_key", "model_key", name=op.f("uq_appliance_maker_key_model_key")
        ),
        sa.UniqueConstraint("public_id", name=op.f("uq_appliance_public_id")),
    )
    with op.batch_alter_table("appliance", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_appliance_merged_into_id"), ["merged_into_id"], unique=False
        )

    op.create_table(
        "draft",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column(
            "tester_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("file_sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("form", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["file_sha256"], ["stored_file.sha256"], name=op.f("fk_draft_file_sha256_stored_file")
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_draft_tester_id_tester")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft")),
        sa.UniqueConstraint("public_id", name=op.f("uq_draft_public_id")),
    )
    with op.batch_alter_table("draft", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_draft_file_sha256"), ["file_sha256"], unique=False)
        batch_op.create_index("ix_draft_of_tester", ["tester_id", "updated_at"], unique=False)

    op.create_table(
        "person_text",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("tester_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("text", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_person_text_tester_id_tester")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person_text")),
    )
    with op.batch_alter_table("person_text", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_person_text_tester_id"), ["tester_id"], unique=False)

    op.create_table(
        "rig",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("owner_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("slug", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["owner_id"], ["tester.id"], name=op.f("fk_rig_owner_id_tester")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rig")),
        sa.UniqueConstraint("public_id", name=op.f("uq_rig_public_id")),
    )
    with op.batch_alter_table("rig", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_rig_owner_id"), ["owner_id"], unique=False)

    op.create_table(
        "audit_event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("tester_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("subject_kind", sa.Text(), nullable=False),
        sa.Column(
            "subject_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("note_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.CheckConstraint(
            "(actor = 'tester') = (tester_id IS NOT NULL)", name=op.f("ck_audit_event_tester_named")
        ),
        sa.CheckConstraint(
            "actor IN ('tester', 'system', 'operator')", name=op.f("ck_audit_event_actor_known")
        ),
        sa.ForeignKeyConstraint(
            ["note_id"], ["person_text.id"], name=op.f("fk_audit_event_note_id_person_text")
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_audit_event_tester_id_tester")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_event")),
    )
    with op.batch_alter_table("audit_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_event_note_id"), ["note_id"], unique=False)
        batch_op.create_index(
            "ix_audit_event_subject", ["subject_kind", "subject_id", "id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_audit_event_tester_id"), ["tester_id"], unique=False)

    op.create_table(
        "claim",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column(
            "appliance_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("value_si", sa.Double(), nullable=False),
        sa.Column("wording", sa.Text(), nullable=False),
        sa.Column("value_typed", sa.Text(), nullable=False),
        sa.Column("where_printed", sa.Text(), nullable=True),
        sa.Column("footnote", sa.Text(), nullable=True),
        sa.Column("seen_on", sa.Date(), nullable=True),
        sa.Column(
            "created_by_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["appliance_id"], ["appliance.id"], name=op.f("fk_claim_appliance_id_appliance")
        ),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["tester.id"], name=op.f("fk_claim_created_by_id_tester")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_claim")),
        sa.UniqueConstraint(
            "appliance_id",
            "quantity",
            "value_si",
            "wording",
            name=op.f("uq_claim_appliance_id_quantity_value_si_wording"),
        ),
        sa.UniqueConstraint("public_id", name=op.f("uq_claim_public_id")),
    )
    op.create_table(
        "plate_revision",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "appliance_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("number", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("content_sha256", sa.Text(), nullable=False),
        sa.Column("voltage_v", sa.Double(), nullable=True),
        sa.Column("supply", sa.Text(), nullable=True),
        sa.Column("frequency_hz", sa.Double(), nullable=True),
        sa.Column("current_a", sa.Double(), nullable=True),
        sa.Column("power_w", sa.Double(), nullable=True),
        sa.Column("speed_rad_s", sa.Double(), nullable=True),
        sa.Column("duty", sa.Text(), nullable=True),
        sa.Column("motor_family", sa.Text(), nullable=False),
        sa.Column("circuit_a", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column(
            "created_by_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "motor_family IN ('series', 'permanent magnet', 'induction', 'unknown')",
            name=op.f("ck_plate_revision_motor_family_known"),
        ),
        sa.CheckConstraint("supply IN ('AC', 'DC')", name=op.f("ck_plate_revision_supply_known")),
        sa.CheckConstraint("circuit_a > 0", name=op.f("ck_plate_revision_circuit_positive")),
        sa.CheckConstraint("current_a > 0", name=op.f("ck_plate_revision_current_positive")),
        sa.CheckConstraint("frequency_hz > 0", name=op.f("ck_plate_revision_frequency_positive")),
        sa.CheckConstraint("power_w > 0", name=op.f("ck_plate_revision_power_positive")),
        sa.CheckConstraint("speed_rad_s > 0", name=op.f("ck_plate_revision_speed_positive")),
        sa.CheckConstraint("voltage_v > 0", name=op.f("ck_plate_revision_voltage_positive")),
        sa.ForeignKeyConstraint(
            ["appliance_id"],
            ["appliance.id"],
            name=op.f("fk_plate_revision_appliance_id_appliance"),
        ),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["tester.id"], name=op.f("fk_plate_revision_created_by_id_tester")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plate_revision")),
        sa.UniqueConstraint(
            "appliance_id", "number", name=op.f("uq_plate_revision_appliance_id_number")
        ),
    )
    op.create_table(
        "rig_revision",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("rig_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("number", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("content_sha256", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("absorber", sa.Text(), nullable=True),
        sa.Column("arm_m", sa.Double(), nullable=True),
        sa.Column("inertia_kg_m2", sa.Double(), nullable=True),
        sa.Column("rotor_inertia_kg_m2", sa.Double(), nullable=True),
        sa.Column("arm_uncertainty_rel", sa.Double(), nullable=True),
        sa.Column("inertia_uncertainty_rel", sa.Double(), nullable=True),
        sa.Column("drag_uncertainty_rel", sa.Double(), nullable=True),
        sa.Column("drag", sa.Text(), nullable=False),
        sa.Column("drag_before_sensor", sa.Text(), nullable=True),
        sa.Column("pulses_per_revolution", sa.Double(), nullable=True),
        sa.Column("averaging_s", sa.Double(), nullable=False),
        sa.Column("meter_bandwidth_hz", sa.Double(), nullable=True),
        sa.Column("meter_true_rms", sa.Boolean(), nullable=True),
        sa.Column("meter_real_power", sa.Boolean(), nullable=True),
        sa.Column("instruments", sa.Text(), nullable=False),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column(
            "created_by_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "absorber IN ('friction brake', 'eddy-current brake', 'hysteresis brake', 'generator', 'fan', 'other')",  # noqa: E501
            name=op.f("ck_rig_revision_absorber_known"),
        ),
        sa.CheckConstraint("arm_m > 0", name=op.f("ck_rig_revision_arm_positive")),
        sa.CheckConstraint(
            "arm_uncertainty_rel >= 0", name=op.f("ck_rig_revision_arm_uncertainty_not_negative")
        ),
        sa.CheckConstraint("averaging_s > 0", name=op.f("ck_rig_revision_averaging_positive")),
        sa.CheckConstraint(
            "drag_uncertainty_rel >= 0", name=op.f("ck_rig_revision_drag_uncertainty_not_negative")
        ),
        sa.CheckConstraint("inertia_kg_m2 >= 0", name=op.f("ck_rig_revision_inertia_not_negative")),
        sa.CheckConstraint(
            "inertia_uncertainty_rel >= 0",
            name=op.f("ck_rig_revision_inertia_uncertainty_not_negative"),
        ),
        sa.CheckConstraint(
            "meter_bandwidth_hz > 0", name=op.f("ck_rig_revision_bandwidth_positive")
        ),
        sa.CheckConstraint(
            "pulses_per_revolution > 0", name=op.f("ck_rig_revision_pulses_positive")
        ),
        sa.CheckConstraint(
            "rotor_inertia_kg_m2 >= 0", name=op.f("ck_rig_revision_rotor_inertia_not_negative")
        ),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["tester.id"], name=op.f("fk_rig_revision_created_by_id_tester")
        ),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_rig_revision_rig_id_rig")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rig_revision")),
        sa.UniqueConstraint("rig_id", "number", name=op.f("uq_rig_revision_rig_id_number")),
    )
    with op.batch_alter_table("rig_revision", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_rig_revision_content_sha256"), ["content_sha256"], unique=False
        )

    op.create_table(
        "run",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column(
            "tester_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "appliance_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("medium", sa.Text(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("failure", sa.Text(), nullable=True),
        sa.Column("idempotency_key", sa.Text(), nullable=True),
        sa.Column("request_sha256", sa.Text(), nullable=False),
        sa.Column(
            "current_revision_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
        ),
        sa.Column(
            "current_set_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("published_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "kind IN ('brake', 'run_down', 'run_up', 'in_use', 'locked_rotor', 'fluid')",
            name=op.f("ck_run_kind_known"),
        ),
        sa.CheckConstraint("medium IN ('air', 'water')", name=op.f("ck_run_medium_known")),
        sa.CheckConstraint(
            "state <> 'failed' OR failure IS NOT NULL", name=op.f("ck_run_failed_has_reason")
        ),
        sa.CheckConstraint(
            "state <> 'published' OR (current_set_id IS NOT NULL AND published_at IS NOT NULL)",
            name=op.f("ck_run_published_has_figures"),
        ),
        sa.CheckConstraint(
            "state IN ('working', 'waiting', 'published', 'returned', 'withdrawn', 'failed')",
            name=op.f("ck_run_state_known"),
        ),
        sa.ForeignKeyConstraint(
            ["appliance_id"], ["appliance.id"], name=op.f("fk_run_appliance_id_appliance")
        ),
        sa.ForeignKeyConstraint(
            ["current_revision_id"],
            ["run_revision.id"],
            name=op.f("fk_run_current_revision_id_run_revision"),
            initially="IMMEDIATE",
            deferrable=True,
            use_alter=True,
        ),
        sa.ForeignKeyConstraint(
            ["current_set_id"],
            ["metric_set.id"],
            name=op.f("fk_run_current_set_id_metric_set"),
            initially="IMMEDIATE",
            deferrable=True,
            use_alter=True,
        ),
        sa.ForeignKeyConstraint(["tester_id"], ["tester.id"], name=op.f("fk_run_tester_id_tester")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run")),
        sa.UniqueConstraint("public_id", name=op.f("uq_run_public_id")),
        sa.UniqueConstraint(
            "tester_id", "idempotency_key", name=op.f("uq_run_tester_id_idempotency_key")
        ),
    )
    with op.batch_alter_table("run", schema=None) as batch_op:
        batch_op.create_index("ix_run_by_state", ["state", "created_at", "id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_run_current_revision_id"), ["current_revision_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_run_current_set_id"), ["current_set_id"], unique=False)
        batch_op.create_index("ix_run_newest", ["created_at", "id"], unique=False)
        batch_op.create_index(
            "ix_run_of_appliance", ["appliance_id", "created_at", "id"], unique=False
        )
        batch_op.create_index("ix_run_of_tester", ["tester_id", "created_at", "id"], unique=False)

    op.create_table(
        "specimen",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column(
            "appliance_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("owner_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("label", sa.Text(), nullable=True),
        sa.Column("condition", sa.Text(), nullable=True),
        sa.Column("hours", sa.Double(), nullable=True),
        sa.Column("brushes_run_in", sa.Boolean(), nullable=True),
        sa.Column("obtained", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("hours >= 0", name=op.f("ck_specimen_hours_not_negative")),
        sa.ForeignKeyConstraint(
            ["appliance_id"], ["appliance.id"], name=op.f("fk_specimen_appliance_id_appliance")
        ),
        sa.ForeignKeyConstraint(
            ["owner_id"], ["tester.id"], name=op.f("fk_specimen_owner_id_tester")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_specimen")),
        sa.UniqueConstraint("public_id", name=op.f("uq_specimen_public_id")),
    )
    with op.batch_alter_table("specimen", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_specimen_appliance_id_owner_id"),
            ["appliance_id", "owner_id"],
            unique=False,
        )
        batch_op.create_index(batch_op.f("ix_specimen_owner_id"), ["owner_id"], unique=False)

    op.create_table(
        "web_session",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("token_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["token_id"], ["api_token.id"], name=op.f("fk_web_session_token_id_api_token")
        ),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_web_session")),
    )
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_web_session_expires_at"), ["expires_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_web_session_token_id"), ["token_id"], unique=False)

    op.create_table(
        "audit_seal",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("event_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("previous_digest", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("sealed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["event_id"], ["audit_event.id"], name=op.f("fk_audit_seal_event_id_audit_event")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_seal")),
        sa.UniqueConstraint("digest", name=op.f("uq_audit_seal_digest")),
        sa.UniqueConstraint("event_id", name=op.f("uq_audit_seal_event_id")),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("run_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("tries", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("leased_by", sa.Text(), nullable=True),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("error", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "state IN ('queued', 'running', 'done', 'parked')", name=op.f("ck_job_state_known")
        ),
        sa.CheckConstraint("tries >= 0", name=op.f("ck_job_tries_not_negative")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_job_run_id_run")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
    )
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.create_index("ix_job_next", ["state", "id"], unique=False)
        batch_op.create_index(batch_op.f("ix_job_run_id"), ["run_id"], unique=False)

    op.create_table(
        "run_revision",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("run_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("number", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "specimen_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "plate_revision_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=False,
        ),
        sa.Column(
            "rig_revision_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("tested_on", sa.Date(), nullable=True),
        sa.Column(
            "tested_offset_min", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("ambient_k", sa.Double(), nullable=True),
        sa.Column("supply_note", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("file_sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("choices", sa.Text(), nullable=False),
        sa.Column("columns", sa.Text(), nullable=False),
        sa.Column("dialect", sa.Text(), nullable=False),
        sa.Column("n_rows", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("recording_sha256", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "source IN ('logger', 'by_hand', 'video')", name=op.f("ck_run_revision_source_known")
        ),
        sa.CheckConstraint("ambient_k > 0", name=op.f("ck_run_revision_ambient_positive")),
        sa.ForeignKeyConstraint(
            ["file_sha256"],
            ["stored_file.sha256"],
            name=op.f("fk_run_revision_file_sha256_stored_file"),
        ),
        sa.ForeignKeyConstraint(
            ["plate_revision_id"],
            ["plate_revision.id"],
            name=op.f("fk_run_revision_plate_revision_id_plate_revision"),
        ),
        sa.ForeignKeyConstraint(
            ["recording_sha256"],
            ["recording.sha256"],
            name=op.f("fk_run_revision_recording_sha256_recording"),
        ),
        sa.ForeignKeyConstraint(
            ["rig_revision_id"],
            ["rig_revision.id"],
            name=op.f("fk_run_revision_rig_revision_id_rig_revision"),
        ),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_run_revision_run_id_run")),
        sa.ForeignKeyConstraint(
            ["specimen_id"], ["specimen.id"], name=op.f("fk_run_revision_specimen_id_specimen")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_revision")),
        sa.UniqueConstraint("run_id", "number", name=op.f("uq_run_revision_run_id_number")),
    )
    with op.batch_alter_table("run_revision", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_run_revision_file_sha256"), ["file_sha256"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_run_revision_plate_revision_id"), ["plate_revision_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_run_revision_recording_sha256"), ["recording_sha256"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_run_revision_rig_revision_id"), ["rig_revision_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_run_revision_specimen_id"), ["specimen_id"], unique=False
        )

    op.create_table(
        "metric_set",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "run_revision_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("input_digest", sa.Text(), nullable=False),
        sa.Column("method_version", sa.Text(), nullable=False),
        sa.Column("was_published", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("lag", sa.Text(), nullable=False),
        sa.Column("channels_used", sa.Text(), nullable=False),
        sa.Column("segments", sa.Text(), nullable=False),
        sa.Column("points", sa.Text(), nullable=False),
        sa.Column("curves", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["run_revision_id"],
            ["run_revision.id"],
            name=op.f("fk_metric_set_run_revision_id_run_revision"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_metric_set")),
    )
    with op.batch_alter_table("metric_set", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_metric_set_method_version"), ["method_version"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_metric_set_run_revision_id_id"), ["run_revision_id", "id"], unique=False
        )

    op.create_table(
        "finding",
        sa.Column(
            "metric_set_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "severity IN ('info', 'warning', 'error')", name=op.f("ck_finding_severity_known")
        ),
        sa.ForeignKeyConstraint(
            ["metric_set_id"], ["metric_set.id"], name=op.f("fk_finding_metric_set_id_metric_set")
        ),
        sa.PrimaryKeyConstraint("metric_set_id", "position", name=op.f("pk_finding")),
    )
    with op.batch_alter_table("finding", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_finding_code"), ["code"], unique=False)

    op.create_table(
        "listing",
        sa.Column(
            "appliance_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=False,
            nullable=False,
        ),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("slug", sa.Text(), nullable=False),
        sa.Column("maker", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("model_number", sa.Text(), nullable=True),
        sa.Column("category", sa.Text(), nullable=False),
        sa.Column(
            "name_key", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False
        ),
        sa.Column("maker_key", sa.Text(), nullable=False),
        sa.Column("printed_power_w", sa.Double(), nullable=True),
        sa.Column("printed_power_typed", sa.Text(), nullable=True),
        sa.Column("n_runs", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "n_specimens", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "n_testers", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("run_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("run_public_id", sa.Text(), nullable=True),
        sa.Column(
            "metric_set_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("shaft_power_at_rated_current", sa.Double(), nullable=True),
        sa.Column("shaft_power_max_steady", sa.Double(), nullable=True),
        sa.Column("shaft_power_max_momentary", sa.Double(), nullable=True),
        sa.Column("efficiency_max", sa.Double(), nullable=True),
        sa.Column("free_speed", sa.Double(), nullable=True),
        sa.Column("ratio", sa.Double(), nullable=True),
        sa.Column("ratio_standard_uncertainty", sa.Double(), nullable=True),
        sa.Column("figures", sa.Text(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("rewritten_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["appliance_id"], ["appliance.id"], name=op.f("fk_listing_appliance_id_appliance")
        ),
        sa.ForeignKeyConstraint(
            ["metric_set_id"], ["metric_set.id"], name=op.f("fk_listing_metric_set_id_metric_set")
        ),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_listing_run_id_run")),
        sa.PrimaryKeyConstraint("appliance_id", name=op.f("pk_listing")),
    )
    with op.batch_alter_table("listing", schema=None) as batch_op:
        batch_op.create_index(
            "ix_listing_category_efficiency",
            ["category", "efficiency_max", "appliance_id"],
            unique=False,
        )
        batch_op.create_index(
            "ix_listing_category_name", ["category", "name_key", "appliance_id"], unique=False
        )
        batch_op.create_index(
            "ix_listing_category_newest", ["category", "updated_at", "appliance_id"], unique=False
        )
        batch_op.create_index(
            "ix_listing_category_printed",
            ["category", "printed_power_w", "appliance_id"],
            unique=False,
        )
        batch_op.create_index(
            "ix_listing_category_rated",
            ["category", "shaft_power_at_rated_current", "appliance_id"],
            unique=False,
        )
        batch_op.create_index(
            "ix_listing_category_ratio", ["category", "ratio", "appliance_id"], unique=False
        )
        batch_op.create_index(
            "ix_listing_category_steady",
            ["category", "shaft_power_max_steady", "appliance_id"],
            unique=False,
        )
        batch_op.create_index(
            "ix_listing_efficiency_max", ["efficiency_max", "appliance_id"], unique=False
        )
        batch_op.create_index("ix_listing_free_speed", ["free_speed", "appliance_id"], unique=False)
        batch_op.create_index("ix_listing_maker", ["name_key", "appliance_id"], unique=False)
        batch_op.create_index(
            "ix_listing_maker_key", ["maker_key", "updated_at", "appliance_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_listing_metric_set_id"), ["metric_set_id"], unique=False
        )
        batch_op.create_index("ix_listing_newest", ["updated_at", "appliance_id"], unique=False)
        batch_op.create_index(
            "ix_listing_printed_power", ["printed_power_w", "appliance_id"], unique=False
        )
        batch_op.create_index("ix_listing_ratio", ["ratio", "appliance_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_listing_rewritten_at"), ["rewritten_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_listing_run_id"), ["run_id"], unique=False)
        batch_op.create_index(
            "ix_listing_shaft_momentary",
            ["shaft_power_max_momentary", "appliance_id"],
            unique=False,
        )
        batch_op.create_index(
            "ix_listing_shaft_rated", ["shaft_power_at_rated_current", "appliance_id"], unique=False
        )
        batch_op.create_index(
            "ix_listing_shaft_steady", ["shaft_power_max_steady", "appliance_id"], unique=False
        )

    op.create_table(
        "metric",
        sa.Column(
            "metric_set_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("standard_uncertainty", sa.Double(), nullable=True),
        sa.Column("lower_bound", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "(value IS NULL) = (reason IS NOT NULL)", name=op.f("ck_metric_value_or_reason")
        ),
        sa.CheckConstraint(
            "standard_uncertainty >= 0", name=op.f("ck_metric_uncertainty_not_negative")
        ),
        sa.ForeignKeyConstraint(
            ["metric_set_id"], ["metric_set.id"], name=op.f("fk_metric_metric_set_id_metric_set")
        ),
        sa.PrimaryKeyConstraint("metric_set_id", "name", name=op.f("pk_metric")),
    )
    with op.batch_alter_table("metric", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_metric_name_value"), ["name", "value"], unique=False)

    op.create_table(
        "metric_set_trace",
        sa.Column(
            "metric_set_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("trace", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["metric_set_id"],
            ["metric_set.id"],
            name=op.f("fk_metric_set_trace_metric_set_id_metric_set"),
        ),
        sa.PrimaryKeyConstraint("metric_set_id", name=op.f("pk_metric_set_trace")),
    )
    op.create_table(
        "listing_word",
        sa.Column(
            "word", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False
        ),
        sa.Column(
            "appliance_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.ForeignKeyConstraint(
            ["appliance_id"],
            ["listing.appliance_id"],
            name=op.f("fk_listing_word_appliance_id_listing"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("word", "appliance_id", name=op.f("pk_listing_word")),
    )
    with op.batch_alter_table("listing_word", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_listing_word_appliance_id_word"), ["appliance_id", "word"], unique=False
        )

    # The run points at its current revision and figures, which point back at the run. SQLite takes
    # the two keys above with the table; PostgreSQL needs both tables first.
    if op.get_bind().dialect.name == "postgresql":
        op.create_foreign_key(
            "fk_run_current_revision_id_run_revision",
            "run",
            "run_revision",
            ["current_revision_id"],
            ["id"],
            deferrable=True,
            initially="IMMEDIATE",
        )
        op.create_foreign_key(
            "fk_run_current_set_id_metric_set",
            "run",
            "metric_set",
            ["current_set_id"],
            ["id"],
            deferrable=True,
            initially="IMMEDIATE",
        )


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint("fk_run_current_set_id_metric_set", "run", type_="foreignkey")
        op.drop_constraint("fk_run_current_revision_id_run_revision", "run", type_="foreignkey")
    with op.batch_alter_table("listing_word", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_listing_word_appliance_id_word"))

    op.drop_table("listing_word")
    op.drop_table("metric_set_trace")
    with op.batch_alter_table("metric", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_metric_name_value"))

    op.drop_table("metric")
    with op.batch_alter_table("listing", schema=None) as batch_op:
        batch_op.drop_index("ix_listing_shaft_steady")
        batch_op.drop_index("ix_listing_shaft_rated")
        batch_op.drop_index("ix_listing_shaft_momentary")
        batch_op.drop_index(batch_op.f("ix_listing_run_id"))
        batch_op.drop_index(batch_op.f("ix_listing_rewritten_at"))
        batch_op.drop_index("ix_listing_ratio")
        batch_op.drop_index("ix_listing_printed_power")
        batch_op.drop_index("ix_listing_newest")
        batch_op.drop_index(batch_op.f("ix_listing_metric_set_id"))
        batch_op.drop_index("ix_listing_maker_key")
        batch_op.drop_index("ix_listing_maker")
        batch_op.drop_index("ix_listing_free_speed")
        batch_op.drop_index("ix_listing_efficiency_max")
        batch_op.drop_index("ix_listing_category_steady")
        batch_op.drop_index("ix_listing_category_ratio")
        batch_op.drop_index("ix_listing_category_rated")
        batch_op.drop_index("ix_listing_category_printed")
        batch_op.drop_index("ix_listing_category_newest")
        batch_op.drop_index("ix_listing_category_name")
        batch_op.drop_index("ix_listing_category_efficiency")

    op.drop_table("listing")
    with op.batch_alter_table("finding", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_finding_code"))

    op.drop_table("finding")
    with op.batch_alter_table("metric_set", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_metric_set_run_revision_id_id"))
        batch_op.drop_index(batch_op.f("ix_metric_set_method_version"))

    op.drop_table("metric_set")
    with op.batch_alter_table("run_revision", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_run_revision_specimen_id"))
        batch_op.drop_index(batch_op.f("ix_run_revision_rig_revision_id"))
        batch_op.drop_index(batch_op.f("ix_run_revision_recording_sha256"))
        batch_op.drop_index(batch_op.f("ix_run_revision_plate_revision_id"))
        batch_op.drop_index(batch_op.f("ix_run_revision_file_sha256"))

    op.drop_table("run_revision")
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_job_run_id"))
        batch_op.drop_index("ix_job_next")

    op.drop_table("job")
    op.drop_table("audit_seal")
    with op.batch_alter_table("web_session", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_web_session_token_id"))
        batch_op.drop_index(batch_op.f("ix_web_session_expires_at"))

    op.drop_table("web_session")
    with op.batch_alter_table("specimen", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_specimen_owner_id"))
        batch_op.drop_index(batch_op.f("ix_specimen_appliance_id_owner_id"))

    op.drop_table("specimen")
    with op.batch_alter_table("run", schema=None) as batch_op:
        batch_op.drop_index("ix_run_of_tester")
        batch_op.drop_index("ix_run_of_appliance")
        batch_op.drop_index("ix_run_newest")
        batch_op.drop_index(batch_op.f("ix_run_current_set_id"))
        batch_op.drop_index(batch_op.f("ix_run_current_revision_id"))
        batch_op.drop_index("ix_run_by_state")

    op.drop_table("run")
    with op.batch_alter_table("rig_revision", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_rig_revision_content_sha256"))

    op.drop_table("rig_revision")
    op.drop_table("plate_revision")
    op.drop_table("claim")
    with op.batch_alter_table("audit_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_audit_event_tester_id"))
        batch_op.drop_index("ix_audit_event_subject")
        batch_op.drop_index(batch_op.f("ix_audit_event_note_id"))

    op.drop_table("audit_event")
    with op.batch_alter_table("rig", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_rig_owner_id"))

    op.drop_table("rig")
    with op.batch_alter_table("person_text", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_person_text_tester_id"))

    op.drop_table("person_text")
    with op.batch_alter_table("draft", schema=None) as batch_op:
        batch_op.drop_index("ix_draft_of_tester")
        batch_op.drop_index(batch_op.f("ix_draft_file_sha256"))

    op.drop_table("draft")
    with op.batch_alter_table("appliance", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_appliance_merged_into_id"))

    op.drop_table("appliance")
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_api_token_tester_id"))

    op.drop_table("api_token")
    op.drop_table("tester")
    op.drop_table("stored_file")
    op.drop_table("recording")
