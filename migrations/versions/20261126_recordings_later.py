"""A recording's file comes after its row, so the row no longer says how large it is."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_recordings_later"
down_revision = "20261126_calibration_months"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_column("recording", "n_bytes")


def downgrade() -> None:
    op.add_column(
        "recording", sa.Column("n_bytes", sa.BigInteger(), nullable=False, server_default="0")
    )
