"""The history of the catalogue: what each edit changed, and what stood there before.

Revision: 2026_11_25_history
After: 2026_11_25_builds
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_history"
down_revision = "2026_11_25_builds"
branch_labels = None
depends_on = None

NAME = sa.String(300).with_variant(sa.String(300, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "record_change",
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("name", NAME, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["revision"], ["revision.number"], name="fk_record_change_revision_revision", deferrable=True
        ),
        sa.PrimaryKeyConstraint("kind", "name", "revision", name="pk_record_change"),
    )
    op.create_index("ix_record_change_revision_kind_name", "record_change", ["revision", "kind", "name"])


def downgrade() -> None:
    op.drop_index("ix_record_change_revision_kind_name", table_name="record_change")
    op.drop_table("record_change")
