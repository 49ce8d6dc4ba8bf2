"""When a maintainer saw a statement."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_statement_looked_at"
down_revision = "20261126_people_and_moderation"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("statement", sa.Column("looked_at", sa.DateTime(timezone=True)))


def downgrade() -> None:
    with op.batch_alter_table("statement") as batch:
        batch.drop_column("looked_at")
