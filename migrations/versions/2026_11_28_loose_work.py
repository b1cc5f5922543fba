"""The work that a loose part asks for: its effort and its minutes.

Revision: 2026_11_28_loose_work
After: 2026_11_25_order_lists
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_28_loose_work"
down_revision = "2026_11_25_order_lists"
branch_labels = None
depends_on = None

EFFORTS = "effort IN ('direct', 'with companions', 'machining', 'cutting')"


def upgrade() -> None:
    with op.batch_alter_table("component") as batch:
        batch.add_column(sa.Column("effort", sa.String(length=20), nullable=False, server_default="direct"))
        batch.add_column(sa.Column("minutes", sa.Integer(), nullable=False, server_default="0"))
        batch.create_check_constraint(op.f("ck_component_effort"), EFFORTS)
        batch.create_check_constraint(op.f("ck_component_minutes"), "minutes >= 0")
    with op.batch_alter_table("component") as batch:
        batch.alter_column("effort", server_default=None)
        batch.alter_column("minutes", server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("component") as batch:
        batch.drop_constraint(op.f("ck_component_effort"), type_="check")
        batch.drop_constraint(op.f("ck_component_minutes"), type_="check")
        batch.drop_column("minutes")
        batch.drop_column("effort")
