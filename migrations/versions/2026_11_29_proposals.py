"""Proposed changes of the catalogue.

Revision: 2026_11_29_proposals
After: 2026_11_29_drawing
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_proposals"
down_revision = "2026_11_29_drawing"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "proposal",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("source", sa.String(length=20), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("proposed_at", MOMENT, nullable=False),
        sa.Column("proposed_by", sa.Text(), nullable=False),
        sa.Column("proposer", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("touched", sa.Integer(), nullable=False),
        sa.Column("changes", sa.Text(), nullable=False),
        sa.Column("decided_at", MOMENT, nullable=True),
        sa.Column("decided_by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("accepted_as", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "state IN ('open', 'accepted', 'refused', 'withdrawn')", name=op.f("ck_proposal_state")
        ),
        sa.CheckConstraint(
            "source IN ('person', 'import', 'report', 'suggestion')", name=op.f("ck_proposal_source")
        ),
        sa.CheckConstraint("touched >= 1", name=op.f("ck_proposal_touched")),
        sa.PrimaryKeyConstraint("number", name="pk_proposal"),
    )
    op.create_index("ix_proposal_state", "proposal", ["state"])


def downgrade() -> None:
    op.drop_index("ix_proposal_state", table_name="proposal")
    op.drop_table("proposal")
