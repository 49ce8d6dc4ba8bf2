"""How long a tester lets pass from one calibration of an instrument to the next."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_calibration_months"
down_revision = "20261126_uploads_for_runs"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Without a value: the usual year. The column is added in place on both databases.
    months = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.add_column("tester", sa.Column("calibration_months", months, nullable=True))


def downgrade() -> None:
    op.drop_column("tester", "calibration_months")
