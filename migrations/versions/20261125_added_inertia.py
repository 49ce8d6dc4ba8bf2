"""The inertia added to a shaft for a run-down."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_added_inertia"
down_revision = "20261125_motor_models"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # A column without a value is added in place on both databases: no table is rebuilt.
    op.add_column("run_revision", sa.Column("added_inertia_kg_m2", sa.Double(), nullable=True))


def downgrade() -> None:
    op.drop_column("run_revision", "added_inertia_kg_m2")
