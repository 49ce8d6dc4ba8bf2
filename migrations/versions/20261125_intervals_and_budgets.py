"""Intervals and budgets of a set's figures."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_intervals_and_budgets"
down_revision = "20261125_first_tables"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # A column with a default is added in place on both databases: no table is rebuilt.
    op.add_column(
        "metric_set", sa.Column("uncertainties", sa.Text(), server_default="{}", nullable=False)
    )


def downgrade() -> None:
    op.drop_column("metric_set", "uncertainties")
