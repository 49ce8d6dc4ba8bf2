"""The small form of a photograph, for pages on phones."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_photo_thumbnail"
down_revision = "20261126_reference_temperature"
branch_labels = None
depends_on = None

NAME = "fk_photo_small_sha256_stored_file"


def upgrade() -> None:
    with op.batch_alter_table("photo") as batch:
        batch.add_column(sa.Column("small_sha256", sa.Text(), nullable=True))
        batch.create_foreign_key(NAME, "stored_file", ["small_sha256"], ["sha256"])
        batch.create_index("ix_photo_small_sha256", ["small_sha256"])


def downgrade() -> None:
    with op.batch_alter_table("photo") as batch:
        batch.drop_index("ix_photo_small_sha256")
        batch.drop_constraint(NAME, type_="foreignkey")
        batch.drop_column("small_sha256")
