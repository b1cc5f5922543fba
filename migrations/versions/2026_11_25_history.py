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
    with op.batch_alter_table("revision") as batch:
        batch.add_column(sa.Column("touched", sa.Text(), nullable=False, server_default=""))
    op.execute(
        "UPDATE revision SET touched = COALESCE((SELECT string_agg(name, '; ' ORDER BY name) FROM range"
        " WHERE range.revision = revision.number), '')"
        if op.get_bind().dialect.name == "postgresql"
        else "UPDATE revision SET touched = COALESCE((SELECT group_concat(name, '; ') FROM"
        " (SELECT name FROM range WHERE range.revision = revision.number ORDER BY name)), '')"
    )
    with op.batch_alter_table("revision") as batch:
        batch.alter_column("touched", server_default=None)
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
    with op.batch_alter_table("revision") as batch:
        batch.drop_column("touched")
