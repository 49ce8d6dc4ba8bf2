"""The winding temperature that a run's figures are carried to."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_reference_temperature"
down_revision = "20261126_statement_looked_at"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # A column without a value is added in place on both databases: no table is rebuilt.
    op.add_column("run_revision", sa.Column("reference_temperature_k", sa.Double(), nullable=True))


def downgrade() -> None:
    op.drop_column("run_revision", "reference_temperature_k")
