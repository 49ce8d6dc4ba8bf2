"""Files in pieces that wait to be sent as a run, and which file they became."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_uploads_for_runs"
down_revision = "20261126_photo_thumbnail"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("partial_upload") as batch:
        batch.add_column(sa.Column("is_for_run", sa.Boolean(), server_default="0", nullable=False))
        batch.add_column(sa.Column("file_sha256", sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("partial_upload") as batch:
        batch.drop_column("file_sha256")
        batch.drop_column("is_for_run")
