"""The arm's angle, the pivot's friction and the resistance of the leads of a rig."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_arm_and_leads"
down_revision = "20261125_added_inertia"
branch_labels = None
depends_on = None

COLUMNS = (
    "arm_angle_rad",
    "arm_angle_uncertainty_rad",
    "pivot_friction_nm",
    "lead_resistance_ohm",
    "lead_resistance_uncertainty_rel",
)


def upgrade() -> None:
    # Columns without a value are added in place on both databases: no table is rebuilt.
    for name in COLUMNS:
        op.add_column("rig_revision", sa.Column(name, sa.Double(), nullable=True))


def downgrade() -> None:
    for name in reversed(COLUMNS):
        op.drop_column("rig_revision", name)
