"""A known flaw may be recorded of several components, and a component may be the old one reworked.

Revision: 2026_11_29_flaws_of_several
After: 2026_11_28_order_bookings
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_flaws_of_several"
down_revision = "2026_11_28_order_bookings"
branch_labels = None
depends_on = None

NAME = sa.String(120).with_variant(sa.String(120, collation="C"), "postgresql")
CLAIM_NAME = sa.String(300).with_variant(sa.String(300, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "flaw_also_of",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.ForeignKeyConstraint(
            ["claim"], ["flaw.claim"], name="fk_flaw_also_of_claim_flaw", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_flaw_also_of_component_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", "component", name="pk_flaw_also_of"),
    )
    op.create_index("ix_flaw_also_of_component", "flaw_also_of", ["component"])
    with op.batch_alter_table("component") as batch:
        batch.add_column(sa.Column("reworked", sa.Boolean(), nullable=False, server_default=sa.false()))
    with op.batch_alter_table("component") as batch:
        batch.alter_column("reworked", server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("component") as batch:
        batch.drop_column("reworked")
    op.drop_index("ix_flaw_also_of_component", table_name="flaw_also_of")
    op.drop_table("flaw_also_of")
