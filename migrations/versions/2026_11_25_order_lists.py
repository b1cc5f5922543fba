"""Order lists from draft to closed, and the shop's own store.

Revision: 2026_11_25_order_lists
After: 2026_11_25_offers
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_order_lists"
down_revision = "2026_11_25_offers"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)
NAME = sa.String(120).with_variant(sa.String(120, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "shop_stock",
        sa.Column("component", NAME, nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_shop_stock_quantity")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_shop_stock_version")),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_shop_stock_component_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("component", name="pk_shop_stock"),
    )
    state = op.create_table(
        "stock_state",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_stock_state"),
    )
    op.bulk_insert(state, [{"number": 1, "version": 0}])
    op.create_table(
        "order_list",
        sa.Column("name", NAME, nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("catalogue_revision", sa.Integer(), nullable=False),
        sa.Column("made", MOMENT, nullable=False),
        sa.Column("changed", MOMENT, nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "state IN ('draft', 'sent', 'partly received', 'received', 'closed')",
            name=op.f("ck_order_list_state"),
        ),
        sa.CheckConstraint("version >= 1", name=op.f("ck_order_list_version")),
        sa.PrimaryKeyConstraint("name", name="pk_order_list"),
    )
    op.create_index("ix_order_list_made", "order_list", ["made"])
    op.create_table(
        "order_line",
        sa.Column("list", NAME, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("supplier", NAME, nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("received", sa.Integer(), nullable=False),
        sa.Column("back_ordered", sa.Integer(), nullable=False),
        sa.Column("given_up", sa.Integer(), nullable=False),
        *(
            sa.CheckConstraint(f"{column} >= 0", name=op.f(f"ck_order_line_{column}"))
            for column in ("pieces", "received", "back_ordered", "given_up")
        ),
        sa.ForeignKeyConstraint(
            ["list"],
            ["order_list.name"],
            name="fk_order_line_list_order_list",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_order_line_component_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("list", "line", name="pk_order_line"),
    )
    op.create_index("ix_order_line_component", "order_line", ["component"])
    op.create_table(
        "order_event",
        sa.Column(
            "id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=True, nullable=False
        ),
        sa.Column("list", NAME, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["list"],
            ["order_list.name"],
            name="fk_order_event_list_order_list",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name="pk_order_event"),
    )
    op.create_index("ix_order_event_list", "order_event", ["list"])


def downgrade() -> None:
    for table, index in (("order_event", "ix_order_event_list"), ("order_line", "ix_order_line_component")):
        op.drop_index(index, table_name=table)
        op.drop_table(table)
    op.drop_index("ix_order_list_made", table_name="order_list")
    op.drop_table("order_list")
    op.drop_table("stock_state")
    op.drop_table("shop_stock")
