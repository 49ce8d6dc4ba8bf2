"""The motor's model of a set."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_motor_models"
down_revision = "20261125_intervals_and_budgets"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # A column with a default is added in place on both databases: no table is rebuilt.
    op.add_column("metric_set", sa.Column("motor", sa.Text(), server_default="{}", nullable=False))


def downgrade() -> None:
    op.drop_column("metric_set", "motor")
