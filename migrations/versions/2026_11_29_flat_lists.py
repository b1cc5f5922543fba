"""Flat lists: mappings that are kept, their decisions and issues.

Revision: 2026_11_29_flat_lists
After: 2026_11_29_events
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_flat_lists"
down_revision = "2026_11_29_events"
branch_labels = None
depends_on = None


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "flat_list",
        sa.Column("name", _plain(120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("mapping", sa.Text(), nullable=False),
        sa.Column("decisions", sa.Text(), nullable=False),
        sa.Column("issue", sa.Text(), nullable=False),
        sa.Column("issue_file", sa.Text(), nullable=False),
        sa.Column("taken", sa.Text(), nullable=False),
        sa.Column("taken_file", sa.Text(), nullable=False),
        sa.Column("taken_revision", sa.Integer(), nullable=True),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("version >= 1", name=op.f("ck_flat_list_version")),
        sa.PrimaryKeyConstraint("name", name="pk_flat_list"),
    )


def downgrade() -> None:
    op.drop_table("flat_list")
