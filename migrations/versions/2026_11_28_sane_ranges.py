"""What a kind of characteristic can be: its own least and most.

Revision: 2026_11_28_sane_ranges
After: 2026_11_28_loose_work
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_28_sane_ranges"
down_revision = "2026_11_28_loose_work"
branch_labels = None
depends_on = None

COLUMNS = ("least", "most")


def upgrade() -> None:
    with op.batch_alter_table("characteristic_kind") as batch:
        for name in COLUMNS:
            batch.add_column(sa.Column(name, sa.String(length=60), nullable=False, server_default=""))
    with op.batch_alter_table("characteristic_kind") as batch:
        for name in COLUMNS:
            batch.alter_column(name, server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("characteristic_kind") as batch:
        for name in reversed(COLUMNS):
            batch.drop_column(name)
