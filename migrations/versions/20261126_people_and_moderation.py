"""Accounts, moderation, photographs, files in pieces, live tests, signed heads of the journal."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_people_and_moderation"
down_revision = "20261126_winding_resistance"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TIME = sa.DateTime(timezone=True)

ADDED: tuple[tuple[str, sa.Column], ...] = (
    ("api_token", sa.Column("used_at", TIME)),
    ("audit_event", sa.Column("note_digest", sa.Text())),
    ("person_text", sa.Column("salt", sa.Text())),
    ("run", sa.Column("not_before", sa.Date())),
    ("run", sa.Column("accepted_at", TIME)),
    ("run", sa.Column("needs_look", sa.Boolean(), server_default="0", nullable=False)),
    ("run", sa.Column("assigned_at", TIME)),
    ("run", sa.Column("version", BIG, server_default="0", nullable=False)),
    ("tester", sa.Column("role", sa.Text(), server_default="tester", nullable=False)),
    ("tester", sa.Column("email", sa.Text())),
    ("tester", sa.Column("email_key", sa.Text())),
    ("tester", sa.Column("email_confirmed_at", TIME)),
    ("tester", sa.Column("password_hash", sa.Text())),
    ("tester", sa.Column("is_vouched", sa.Boolean(), server_default="0", nullable=False)),
    ("tester", sa.Column("consented_at", TIME)),
    ("tester", sa.Column("consented_licence", sa.Text())),
    ("tester", sa.Column("expires_at", TIME)),
    ("tester", sa.Column("erased_at", TIME)),
)
# table, column, what it points at
POINTERS = (
    ("draft", "run_id", "run"),
    ("job", "photo_id", "photo"),
    ("run", "assigned_to_id", "tester"),
    ("run_revision", "reason_id", "person_text"),
)
INDEXES = (
    ("ix_draft_run_id", "draft", ["run_id"], False),
    ("ix_job_photo_id", "job", ["photo_id"], False),
    ("ix_run_needs_look", "run", ["needs_look"], False),
    ("ix_tester_expires_at", "tester", ["expires_at"], False),
    ("uq_tester_email_key", "tester", ["email_key"], True),
)
NEW_TABLES = (
    "external_identity",
    "maker_domain",
    "maker_tie",
    "one_time_secret",
    "partial_upload",
    "passkey",
    "totp",
    "concern",
    "live_test",
    "statement",
    "audit_head",
    "photo",
    "remark",
)


def upgrade() -> None:
    make_tables()
    for table, column in ADDED:
        op.add_column(table, column)
    for pointer in POINTERS:
        add_pointer(*pointer)
    for name, table, columns, is_unique in INDEXES:
        op.create_index(name, table, columns, unique=is_unique)
    set_actors("'tester', 'reader', 'system', 'operator'")
    # Sign-ins are for hours: everybody signs in again.
    op.drop_table("web_session")
    make_web_session()


def downgrade() -> None:
    op.drop_table("web_session")
    op.create_table(
        "web_session",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("token_id", BIG, nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.Column("expires_at", TIME, nullable=False),
        sa.ForeignKeyConstraint(
            ["token_id"], ["api_token.id"], name="fk_web_session_token_id_api_token"
        ),
        sa.PrimaryKeyConstraint("sha256", name="pk_web_session"),
    )
    op.create_index("ix_web_session_expires_at", "web_session", ["expires_at"])
    op.create_index("ix_web_session_token_id", "web_session", ["token_id"])
    op.execute("UPDATE audit_event SET actor = 'system' WHERE actor = 'reader'")
    set_actors("'tester', 'system', 'operator'")
    for name, table, _columns, _is_unique in reversed(INDEXES):
        op.drop_index(name, table)
    for table, column, _to in reversed(POINTERS):
        op.drop_column(table, column)
    for table, added in reversed(ADDED):
        op.drop_column(table, added.name)
    for table in reversed(NEW_TABLES):
        op.drop_table(table)


def add_pointer(table: str, column: str, to: str) -> None:
    """A column with its foreign key; SQLite takes both at once without rebuilding the table."""
    name = f"fk_{table}_{column}_{to}"
    kind = "INTEGER" if op.get_bind().dialect.name == "sqlite" else "BIGINT"
    op.execute(
        f'ALTER TABLE "{table}" ADD COLUMN {column} {kind} CONSTRAINT {name} REFERENCES "{to}" (id)'
    )


def set_actors(listed: str) -> None:
    with op.batch_alter_table("audit_event") as batch:
        batch.drop_constraint(op.f("ck_audit_event_actor_known"), type_="check")
        batch.create_check_constraint(op.f("ck_audit_event_actor_known"), f"actor IN ({listed})")


def make_web_session() -> None:
    op.create_table(
        "web_session",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tester_id", BIG, nullable=False),
        sa.Column("token_id", BIG, nullable=True),
        sa.Column("agent", sa.Text(), nullable=True),
        sa.Column("created_at", TIME, nullable=False),
        sa.Column("seen_at", TIME, nullable=False),
        sa.Column("proved_at", TIME, nullable=True),
        sa.Column("second_factor_at", TIME, nullable=True),
        sa.Column("expires_at", TIME, nullable=False),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name="fk_web_session_tester_id_tester"
        ),
        sa.ForeignKeyConstraint(
            ["token_id"], ["api_token.id"], name="fk_web_session_token_id_api_token"
        ),
        sa.PrimaryKeyConstraint("sha256", name="pk_web_session"),
        sa.UniqueConstraint("public_id", name="uq_web_session_public_id"),
    )
    op.create_index("ix_web_session_expires_at", "web_session", ["expires_at"])
    op.create_index("ix_web_session_tester_id", "web_session", ["tester_id"])
    op.create_index("ix_web_session_token_id", "web_session", ["token_id"])


def make_tables() -> None:
    op.create_table(
        "external_identity",
        sa.Column("id", BIG, nullable=False),
        sa.Column("tester_id", BIG, nullable=False),
        sa.Column("issuer", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name="fk_external_identity_tester_id_tester"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_external_identity"),
        sa.UniqueConstraint("issuer", "subject", name="uq_external_identity_issuer_subject"),
    )
    op.create_index("ix_external_identity_tester_id", "external_identity", ["tester_id"])

    op.create_table(
        "maker_domain",
        sa.Column("id", BIG, nullable=False),
        sa.Column("maker_key", sa.Text(), nullable=False),
        sa.Column("domain", sa.Text(), nullable=False),
        sa.Column("set_by_id", BIG, nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.ForeignKeyConstraint(
            ["set_by_id"], ["tester.id"], name="fk_maker_domain_set_by_id_tester"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_maker_domain"),
        sa.UniqueConstraint("maker_key", "domain", name="uq_maker_domain_maker_key_domain"),
    )
    op.create_table(
        "maker_tie",
        sa.Column("id", BIG, nullable=False),
        sa.Column("tester_id", BIG, nullable=False),
        sa.Column("maker_key", sa.Text(), nullable=False),
        sa.Column("maker", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("mailbox", sa.Text(), nullable=True),
        sa.Column("confirmed_at", TIME, nullable=True),
        sa.Column("created_at", TIME, nullable=False),
        sa.CheckConstraint(
            "kind IN ('tie', 'representative')", name=op.f("ck_maker_tie_kind_known")
        ),
        sa.ForeignKeyConstraint(["tester_id"], ["tester.id"], name="fk_maker_tie_tester_id_tester"),
        sa.PrimaryKeyConstraint("id", name="pk_maker_tie"),
        sa.UniqueConstraint(
            "tester_id", "maker_key", "kind", name="uq_maker_tie_tester_id_maker_key_kind"
        ),
    )
    op.create_index("ix_maker_tie_maker_key", "maker_tie", ["maker_key"])

    op.create_table(
        "one_time_secret",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("tester_id", BIG, nullable=True),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.Column("expires_at", TIME, nullable=False),
        sa.Column("used_at", TIME, nullable=True),
        sa.CheckConstraint(
            "purpose IN ('confirm e-mail', 'change e-mail', 'reset password', 'confirm mailbox', "
            "'recovery', 'challenge', 'command')",
            name=op.f("ck_one_time_secret_purpose_known"),
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name="fk_one_time_secret_tester_id_tester"
        ),
        sa.PrimaryKeyConstraint("sha256", name="pk_one_time_secret"),
    )
    op.create_index("ix_one_time_secret_expires_at", "one_time_secret", ["expires_at"])
    op.create_index("ix_one_time_secret_tester_id", "one_time_secret", ["tester_id"])

    op.create_table(
        "partial_upload",
        sa.Column("id", BIG, nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tester_id", BIG, nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("n_bytes", BIG, nullable=False),
        sa.Column("n_received", BIG, nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.Column("updated_at", TIME, nullable=False),
        sa.CheckConstraint(
            "n_received <= n_bytes", name=op.f("ck_partial_upload_not_over_its_length")
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name="fk_partial_upload_tester_id_tester"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_partial_upload"),
        sa.UniqueConstraint("public_id", name="uq_partial_upload_public_id"),
    )
    op.create_index("ix_partial_upload_tester_id", "partial_upload", ["tester_id"])
    op.create_index("ix_partial_upload_updated_at", "partial_upload", ["updated_at"])

    op.create_table(
        "passkey",
        sa.Column("id", BIG, nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tester_id", BIG, nullable=False),
        sa.Column("credential_id", sa.Text(), nullable=False),
        sa.Column("public_key", sa.Text(), nullable=False),
        sa.Column("sign_count", BIG, nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.Column("used_at", TIME, nullable=True),
        sa.ForeignKeyConstraint(["tester_id"], ["tester.id"], name="fk_passkey_tester_id_tester"),
        sa.PrimaryKeyConstraint("id", name="pk_passkey"),
        sa.UniqueConstraint("credential_id", name="uq_passkey_credential_id"),
        sa.UniqueConstraint("public_id", name="uq_passkey_public_id"),
    )
    op.create_index("ix_passkey_tester_id", "passkey", ["tester_id"])

    op.create_table(
        "totp",
        sa.Column("tester_id", BIG, autoincrement=False, nullable=False),
        sa.Column("sealed_secret", sa.Text(), nullable=False),
        sa.Column("confirmed_at", TIME, nullable=True),
        sa.Column("last_step", BIG, nullable=True),
        sa.ForeignKeyConstraint(["tester_id"], ["tester.id"], name="fk_totp_tester_id_tester"),
        sa.PrimaryKeyConstraint("tester_id", name="pk_totp"),
    )
    op.create_table(
        "concern",
        sa.Column("id", BIG, nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("appliance_id", BIG, nullable=True),
        sa.Column("run_id", BIG, nullable=True),
        sa.Column("claim_id", BIG, nullable=True),
        sa.Column("figure", sa.Text(), nullable=True),
        sa.Column("text_id", BIG, nullable=False),
        sa.Column("contact_id", BIG, nullable=True),
        sa.Column("by_id", BIG, nullable=True),
        sa.Column("not_for_id", BIG, nullable=True),
        sa.Column("assigned_to_id", BIG, nullable=True),
        sa.Column("assigned_at", TIME, nullable=True),
        sa.Column("answer_id", BIG, nullable=True),
        sa.Column("decided_by_id", BIG, nullable=True),
        sa.Column("created_at", TIME, nullable=False),
        sa.Column("decided_at", TIME, nullable=True),
        sa.Column("version", BIG, nullable=False),
        sa.CheckConstraint(
            "kind IN ('problem', 'contest', 'notice', 'request')",
            name=op.f("ck_concern_kind_known"),
        ),
        sa.CheckConstraint("state IN ('open', 'settled')", name=op.f("ck_concern_state_known")),
        sa.ForeignKeyConstraint(
            ["answer_id"], ["person_text.id"], name="fk_concern_answer_id_person_text"
        ),
        sa.ForeignKeyConstraint(
            ["appliance_id"], ["appliance.id"], name="fk_concern_appliance_id_appliance"
        ),
        sa.ForeignKeyConstraint(
            ["assigned_to_id"], ["tester.id"], name="fk_concern_assigned_to_id_tester"
        ),
        sa.ForeignKeyConstraint(["by_id"], ["tester.id"], name="fk_concern_by_id_tester"),
        sa.ForeignKeyConstraint(["claim_id"], ["claim.id"], name="fk_concern_claim_id_claim"),
        sa.ForeignKeyConstraint(
            ["contact_id"], ["person_text.id"], name="fk_concern_contact_id_person_text"
        ),
        sa.ForeignKeyConstraint(
            ["decided_by_id"], ["tester.id"], name="fk_concern_decided_by_id_tester"
        ),
        sa.ForeignKeyConstraint(["not_for_id"], ["tester.id"], name="fk_concern_not_for_id_tester"),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_concern_run_id_run"),
        sa.ForeignKeyConstraint(
            ["text_id"], ["person_text.id"], name="fk_concern_text_id_person_text"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_concern"),
        sa.UniqueConstraint("public_id", name="uq_concern_public_id"),
    )
    op.create_index("ix_concern_by_id", "concern", ["by_id"])
    op.create_index("ix_concern_claim_id", "concern", ["claim_id"])
    op.create_index("ix_concern_of_appliance", "concern", ["appliance_id", "id"])
    op.create_index("ix_concern_of_run", "concern", ["run_id", "id"])
    op.create_index("ix_concern_queue", "concern", ["state", "created_at", "id"])

    op.create_table(
        "live_test",
        sa.Column("id", BIG, nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("tester_id", BIG, nullable=False),
        sa.Column("title", sa.Text(), nullable=True),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("n_updates", BIG, nullable=False),
        sa.Column("started_at", TIME, nullable=False),
        sa.Column("updated_at", TIME, nullable=False),
        sa.Column("ended_at", TIME, nullable=True),
        sa.Column("expires_at", TIME, nullable=False),
        sa.Column("run_id", BIG, nullable=True),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_live_test_run_id_run"),
        sa.ForeignKeyConstraint(["tester_id"], ["tester.id"], name="fk_live_test_tester_id_tester"),
        sa.PrimaryKeyConstraint("id", name="pk_live_test"),
        sa.UniqueConstraint("address", name="uq_live_test_address"),
    )
    op.create_index("ix_live_test_expires_at", "live_test", ["expires_at"])
    op.create_index("ix_live_test_run_id", "live_test", ["run_id"])
    op.create_index("ix_live_test_tester_id", "live_test", ["tester_id"])

    op.create_table(
        "statement",
        sa.Column("id", BIG, nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("claim_id", BIG, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("text_id", BIG, nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("stated_on", sa.Date(), nullable=False),
        sa.Column("by_id", BIG, nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.Column("removed_at", TIME, nullable=True),
        sa.Column("reason_id", BIG, nullable=True),
        sa.CheckConstraint(
            "kind IN ('maker', 'correspondence')", name=op.f("ck_statement_kind_known")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["tester.id"], name="fk_statement_by_id_tester"),
        sa.ForeignKeyConstraint(["claim_id"], ["claim.id"], name="fk_statement_claim_id_claim"),
        sa.ForeignKeyConstraint(
            ["reason_id"], ["person_text.id"], name="fk_statement_reason_id_person_text"
        ),
        sa.ForeignKeyConstraint(
            ["text_id"], ["person_text.id"], name="fk_statement_text_id_person_text"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_statement"),
        sa.UniqueConstraint("public_id", name="uq_statement_public_id"),
    )
    op.create_index("ix_statement_claim_id", "statement", ["claim_id"])

    op.create_table(
        "audit_head",
        sa.Column("id", BIG, nullable=False),
        sa.Column("seal_id", BIG, nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("n_seals", BIG, nullable=False),
        sa.Column("signed_at", TIME, nullable=False),
        sa.Column("key_id", sa.Text(), nullable=False),
        sa.Column("signature", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["seal_id"], ["audit_seal.id"], name="fk_audit_head_seal_id_audit_seal"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_audit_head"),
        sa.UniqueConstraint("seal_id", name="uq_audit_head_seal_id"),
    )
    op.create_table(
        "photo",
        sa.Column("id", BIG, nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tester_id", BIG, nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("draft_id", BIG, nullable=True),
        sa.Column("run_id", BIG, nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("failure", sa.Text(), nullable=True),
        sa.Column("sent_sha256", sa.Text(), nullable=True),
        sa.Column("file_sha256", sa.Text(), nullable=True),
        sa.Column("choices", sa.Text(), nullable=False),
        sa.Column("width", BIG, nullable=True),
        sa.Column("height", BIG, nullable=True),
        sa.Column("created_at", TIME, nullable=False),
        sa.CheckConstraint(
            "state IN ('working', 'ready', 'refused')", name=op.f("ck_photo_state_known")
        ),
        sa.CheckConstraint("subject IN ('plate', 'rig')", name=op.f("ck_photo_subject_known")),
        sa.ForeignKeyConstraint(
            ["draft_id"], ["draft.id"], name="fk_photo_draft_id_draft", ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["file_sha256"], ["stored_file.sha256"], name="fk_photo_file_sha256_stored_file"
        ),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_photo_run_id_run"),
        sa.ForeignKeyConstraint(
            ["sent_sha256"], ["stored_file.sha256"], name="fk_photo_sent_sha256_stored_file"
        ),
        sa.ForeignKeyConstraint(["tester_id"], ["tester.id"], name="fk_photo_tester_id_tester"),
        sa.PrimaryKeyConstraint("id", name="pk_photo"),
        sa.UniqueConstraint("public_id", name="uq_photo_public_id"),
    )
    op.create_index("ix_photo_draft_id", "photo", ["draft_id"])
    op.create_index("ix_photo_file_sha256", "photo", ["file_sha256"])
    op.create_index("ix_photo_run_id", "photo", ["run_id"])
    op.create_index("ix_photo_sent_sha256", "photo", ["sent_sha256"])
    op.create_index("ix_photo_tester_id", "photo", ["tester_id"])

    op.create_table(
        "remark",
        sa.Column("id", BIG, nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("run_id", BIG, nullable=False),
        sa.Column("run_revision_id", BIG, nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("text_id", BIG, nullable=False),
        sa.Column("by_id", BIG, nullable=False),
        sa.Column("created_at", TIME, nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["tester.id"], name="fk_remark_by_id_tester"),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_remark_run_id_run"),
        sa.ForeignKeyConstraint(
            ["run_revision_id"], ["run_revision.id"], name="fk_remark_run_revision_id_run_revision"
        ),
        sa.ForeignKeyConstraint(
            ["text_id"], ["person_text.id"], name="fk_remark_text_id_person_text"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_remark"),
        sa.UniqueConstraint("public_id", name="uq_remark_public_id"),
    )
    op.create_index("ix_remark_run_id", "remark", ["run_id"])
    op.create_index("ix_remark_run_revision_id", "remark", ["run_revision_id"])
