"""Deliveries are kept as bookings; how far a line has come follows from those that were not taken back.

What lists said before becomes one booking each. Down again, the columns are told by the bookings that stand.

Revision: 2026_11_28_order_bookings
After: 2026_11_28_access
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_28_order_bookings"
down_revision = "2026_11_28_access"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)
NAME = sa.String(120).with_variant(sa.String(120, collation="C"), "postgresql")
BEFORE = "before bookings were kept"
COUNTS = ("received", "back_ordered", "given_up")


def upgrade() -> None:
    _create_bookings()
    op.execute(
        sa.text(
            "INSERT INTO order_booking (list, booking, at, who, supplier, delivery_note, note_key, remark,"
            " accepted, taken_back, taken_back_by, taken_back_why)"
            " SELECT name, 1, changed, '', '', '', '', :before, '', NULL, '', '' FROM order_list WHERE EXISTS"
            " (SELECT 1 FROM order_line WHERE list = name AND received + back_ordered + given_up > 0)"
        ).bindparams(before=BEFORE)
    )
    op.execute(
        "INSERT INTO order_booking_line (list, booking, line, received, back_ordered, promised, given_up)"
        " SELECT list, 1, line, received, back_ordered, NULL, given_up FROM order_line"
        " WHERE received + back_ordered + given_up > 0"
    )
    _remake_lines(())


def downgrade() -> None:
    _remake_lines(COUNTS)
    connection = op.get_bind()
    for row in _come(connection):
        connection.execute(
            sa.text(
                "UPDATE order_line SET received = :received, back_ordered = :back_ordered,"
                " given_up = :given_up WHERE list = :list AND line = :line"
            ),
            row,
        )
    op.drop_table("order_booking_line")
    op.drop_index("ix_order_booking_note_key", table_name="order_booking")
    op.drop_table("order_booking")


def _come(connection: sa.Connection) -> list[dict[str, object]]:
    """How far each line has come: counts added, the last promise as far as it is still open."""
    rows = connection.execute(
        sa.text(
            "SELECT said.list, said.line, said.received, said.back_ordered, said.given_up, line.pieces"
            " FROM order_booking_line AS said"
            " JOIN order_booking AS booking ON booking.list = said.list AND booking.booking = said.booking"
            " JOIN order_line AS line ON line.list = said.list AND line.line = said.line"
            " WHERE booking.taken_back IS NULL ORDER BY said.list, said.line, said.booking"
        )
    )
    found: dict[tuple[str, int], dict[str, object]] = {}
    for name, line, received, promised, given_up, pieces in rows:
        known = found.setdefault((name, line), {"list": name, "line": line, "received": 0, "given_up": 0})
        known["received"] += received
        known["given_up"] += given_up
        still = max(0, pieces - known["received"] - known["given_up"])
        known["back_ordered"] = min(promised, still)
    return list(found.values())


def _remake_lines(counts: tuple[str, ...]) -> None:
    """The table of lines with or without the counts. SQLite drops no column that a check speaks of."""
    kept = ("list", "line", "component", "supplier", "pieces")
    op.execute(f"CREATE TABLE order_line_kept AS SELECT {', '.join(kept)} FROM order_line")
    op.drop_index("ix_order_line_component", table_name="order_line")
    op.drop_table("order_line")
    op.create_table(
        "order_line",
        sa.Column("list", NAME, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("supplier", NAME, nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        *(sa.Column(count, sa.Integer(), nullable=False) for count in counts),
        *(
            sa.CheckConstraint(f"{column} >= 0", name=op.f(f"ck_order_line_{column}"))
            for column in ("pieces", *counts)
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
    columns, values = ", ".join((*kept, *counts)), ", ".join((*kept, *("0" for _ in counts)))
    op.execute(f"INSERT INTO order_line ({columns}) SELECT {values} FROM order_line_kept")
    op.drop_table("order_line_kept")


def _create_bookings() -> None:
    op.create_table(
        "order_booking",
        sa.Column("list", NAME, nullable=False),
        sa.Column("booking", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("supplier", NAME, nullable=False),
        sa.Column("delivery_note", sa.Text(), nullable=False),
        sa.Column("note_key", NAME, nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("accepted", sa.Text(), nullable=False),
        sa.Column("taken_back", MOMENT, nullable=True),
        sa.Column("taken_back_by", sa.Text(), nullable=False),
        sa.Column("taken_back_why", sa.Text(), nullable=False),
        sa.CheckConstraint("booking >= 1", name=op.f("ck_order_booking_booking")),
        sa.ForeignKeyConstraint(
            ["list"],
            ["order_list.name"],
            name="fk_order_booking_list_order_list",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("list", "booking", name="pk_order_booking"),
    )
    op.create_index("ix_order_booking_note_key", "order_booking", ["note_key"])
    op.create_table(
        "order_booking_line",
        sa.Column("list", NAME, nullable=False),
        sa.Column("booking", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("received", sa.Integer(), nullable=False),
        sa.Column("back_ordered", sa.Integer(), nullable=False),
        sa.Column("promised", sa.Date(), nullable=True),
        sa.Column("given_up", sa.Integer(), nullable=False),
        *(
            sa.CheckConstraint(f"{column} >= 0", name=op.f(f"ck_order_booking_line_{column}"))
            for column in COUNTS
        ),
        sa.ForeignKeyConstraint(
            ["list", "booking"],
            ["order_booking.list", "order_booking.booking"],
            name="fk_order_booking_line_list_booking_order_booking",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("list", "booking", "line", name="pk_order_booking_line"),
    )
