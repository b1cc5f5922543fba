"""A drawing of a range: its outlines, and where positions are on them.

Revision: 2026_11_29_drawing
After: 2026_11_29_upgrades
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_drawing"
down_revision = "2026_11_29_upgrades"
branch_labels = None
depends_on = None


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


NAME = _plain(120)


def _link(table: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([to], [f"{to}.name"], name=f"fk_{table}_{to}_{to}", deferrable=True)


def _view(table: str) -> sa.CheckConstraint:
    return sa.CheckConstraint("view IN ('side', 'plan')", name=op.f(f"ck_{table}_view"))


def _within(column: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{column} >= 0 AND {column} <= 1000", name=op.f(f"ck_mark_{column}"))


def upgrade() -> None:
    op.create_table(
        "outline",
        sa.Column("name", NAME, nullable=False),
        sa.Column("range", NAME, nullable=False),
        sa.Column("view", sa.String(4), nullable=False),
        sa.Column("points", sa.Text(), nullable=False),
        sa.Column("closed", sa.Boolean(), nullable=False),
        sa.Column("bodies", sa.Text(), nullable=False),
        _link("outline", "range"),
        _view("outline"),
        sa.PrimaryKeyConstraint("name", name="pk_outline"),
    )
    op.create_index("ix_outline_range", "outline", ["range"])
    op.create_table(
        "mark",
        sa.Column("name", _plain(300), nullable=False),
        sa.Column("position", NAME, nullable=False),
        sa.Column("range", NAME, nullable=False),
        sa.Column("view", sa.String(4), nullable=False),
        sa.Column("x", sa.Integer(), nullable=False),
        sa.Column("y", sa.Integer(), nullable=False),
        _link("mark", "position"),
        _link("mark", "range"),
        _view("mark"),
        _within("x"),
        _within("y"),
        sa.PrimaryKeyConstraint("name", name="pk_mark"),
    )
    for column in ("position", "range"):
        op.create_index(f"ix_mark_{column}", "mark", [column])


def downgrade() -> None:
    op.execute(sa.text("DELETE FROM record_change WHERE kind IN ('outline', 'mark')"))
    for column in ("position", "range"):
        op.drop_index(f"ix_mark_{column}", table_name="mark")
    op.drop_table("mark")
    op.drop_index("ix_outline_range", table_name="outline")
    op.drop_table("outline")
