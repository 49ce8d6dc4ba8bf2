"""Cold and hot resistance of a winding, noted with a run."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_winding_resistance"
down_revision = "20261126_arm_and_leads"
branch_labels = None
depends_on = None

NUMBERS = (
    "cold_resistance_ohm",
    "hot_resistance_ohm",
    "resistance_uncertainty_rel",
    "cold_temperature_k",
    "cold_temperature_uncertainty_k",
)
WORDS = ("winding_material", "winding_standard")


def upgrade() -> None:
    # Columns without a value are added in place on both databases: no table is rebuilt.
    for name in NUMBERS:
        op.add_column("run_revision", sa.Column(name, sa.Double(), nullable=True))
    for name in WORDS:
        op.add_column("run_revision", sa.Column(name, sa.Text(), nullable=True))


def downgrade() -> None:
    for name in reversed((*NUMBERS, *WORDS)):
        op.drop_column("run_revision", name)
