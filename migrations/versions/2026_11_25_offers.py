"""Suppliers, offers, taxes, exchange rates; precedences, tightenings; tools, amounts, what goes on first.

Revision: 2026_11_25_offers
After: 2026_11_25_answered_once
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_offers"
down_revision = "2026_11_25_answered_once"
branch_labels = None
depends_on = None


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


NAME = _plain(120)
CLAIM_NAME = _plain(300)
KINDS = (
    "characteristic", "fitment", "substitute", "flaw", "companion", "conflict", "joint", "budget",
    "supersession",
)  # fmt: skip
NEW_KINDS = ("precedence", "tightening")
BUYING = ("supplier", "offer", "tax", "exchange_rate")
LEAST = {"price": 1, "deposit": 0, "pack": 1, "least": 1, "lead_days": 0, "stock": 0}
DAYS = "valid_from IS NULL OR valid_to IS NULL OR valid_from <= valid_to"


def _in(column: str, words: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


def _kinds_of_claim(words: tuple[str, ...]) -> None:
    with op.batch_alter_table("claim") as batch:
        batch.drop_constraint(op.f("ck_claim_kind"), type_="check")
        batch.create_check_constraint(op.f("ck_claim_kind"), _in("kind", words))


def _column(name: str, type_: sa.types.TypeEngine, default: str = "") -> sa.Column:
    """A column for rows that are there already."""
    return sa.Column(name, type_, nullable=False, server_default=default)


def _link(table: str, column: str, to: str, key: str, *, cascade: bool = False) -> sa.ForeignKeyConstraint:
    name = f"fk_{table}_{column}_{to}"
    gone = {"ondelete": "CASCADE"} if cascade else {}
    return sa.ForeignKeyConstraint([column], [f"{to}.{key}"], name=name, deferrable=True, **gone)


def upgrade() -> None:
    _kinds_of_claim((*KINDS, *NEW_KINDS))
    with op.batch_alter_table("fitment") as batch:
        batch.add_column(_column("tools", sa.Text()))
    with op.batch_alter_table("fitment") as batch:
        batch.alter_column("tools", server_default=None)
    with op.batch_alter_table("companion_alternative") as batch:
        batch.add_column(sa.Column("amount", sa.Float(), nullable=True))
        batch.add_column(_column("amount_written", sa.String(60)))
        batch.add_column(_column("goes_on", sa.String(6)))
        batch.create_check_constraint(op.f("ck_companion_alternative_amount"), "amount > 0")
        batch.create_check_constraint(
            op.f("ck_companion_alternative_goes_on"), _in("goes_on", ("", "before", "after"))
        )
    with op.batch_alter_table("companion_alternative") as batch:
        batch.alter_column("amount_written", server_default=None)
        batch.alter_column("goes_on", server_default=None)
    _fitting()
    _buying()


def _fitting() -> None:
    op.create_table(
        "precedence",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("position", NAME, nullable=False),
        sa.Column("other_position", NAME, nullable=False),
        sa.Column("work", sa.String(10), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint("work IN ('fitting', 'removing')", name=op.f("ck_precedence_work")),
        sa.CheckConstraint("position <> other_position", name=op.f("ck_precedence_two_positions")),
        _link("precedence", "claim", "claim", "name", cascade=True),
        _link("precedence", "position", "position", "name"),
        _link("precedence", "other_position", "position", "name"),
        sa.PrimaryKeyConstraint("claim", name="pk_precedence"),
    )
    op.create_index("ix_precedence_position", "precedence", ["position"])
    op.create_index("ix_precedence_other_position", "precedence", ["other_position"])
    op.create_table(
        "tightening",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("position", NAME, nullable=False),
        sa.Column("component", NAME, nullable=True),
        sa.Column("fastener", sa.Text(), nullable=False),
        sa.Column("torque", sa.String(60), nullable=False),
        sa.Column("torque_low", sa.Float(), nullable=False),
        sa.Column("torque_high", sa.Float(), nullable=False),
        sa.Column("angle", sa.String(60), nullable=False),
        sa.Column("angle_low", sa.Float(), nullable=True),
        sa.Column("angle_high", sa.Float(), nullable=True),
        sa.CheckConstraint("torque_low > 0", name=op.f("ck_tightening_torque")),
        _link("tightening", "claim", "claim", "name", cascade=True),
        _link("tightening", "position", "position", "name"),
        _link("tightening", "component", "component", "number"),
        sa.PrimaryKeyConstraint("claim", name="pk_tightening"),
    )
    op.create_index("ix_tightening_position", "tightening", ["position"])
    op.create_index("ix_tightening_component", "tightening", ["component"])


def _buying() -> None:
    op.create_table(
        "supplier",
        sa.Column("name", NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("carriage", sa.BigInteger(), nullable=False),
        sa.Column("carriage_free_from", sa.BigInteger(), nullable=True),
        sa.Column("least_order", sa.BigInteger(), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=False),
        sa.Column("market", NAME, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        *(
            sa.CheckConstraint(f"{column} >= 0", name=op.f(f"ck_supplier_{column}"))
            for column in ("carriage", "carriage_free_from", "least_order", "lead_days")
        ),
        sa.PrimaryKeyConstraint("name", name="pk_supplier"),
    )
    op.create_table(
        "offer",
        sa.Column("name", CLAIM_NAME, nullable=False),
        sa.Column("supplier", NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("price", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.Column("pack", sa.Integer(), nullable=False),
        sa.Column("least", sa.Integer(), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=True),
        sa.Column("stock", sa.Integer(), nullable=True),
        sa.Column("deposit", sa.BigInteger(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=True),
        sa.Column("valid_to", sa.Date(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        *(
            sa.CheckConstraint(f"{column} >= {least}", name=op.f(f"ck_offer_{column}"))
            for column, least in LEAST.items()
        ),
        sa.CheckConstraint(DAYS, name=op.f("ck_offer_days")),
        _link("offer", "supplier", "supplier", "name"),
        _link("offer", "component", "component", "number"),
        sa.PrimaryKeyConstraint("name", name="pk_offer"),
    )
    op.create_index("ix_offer_supplier", "offer", ["supplier"])
    op.create_index("ix_offer_component", "offer", ["component"])
    op.create_table(
        "tax",
        sa.Column("name", NAME, nullable=False),
        sa.Column("market", NAME, nullable=False),
        sa.Column("section", NAME, nullable=True),
        sa.Column("rate", sa.Integer(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=True),
        sa.Column("valid_to", sa.Date(), nullable=True),
        sa.CheckConstraint("rate >= 0 AND rate <= 1000000", name=op.f("ck_tax_rate")),
        sa.CheckConstraint(DAYS, name=op.f("ck_tax_days")),
        _link("tax", "section", "section", "name"),
        sa.PrimaryKeyConstraint("name", name="pk_tax"),
    )
    op.create_index("ix_tax_market", "tax", ["market"])
    op.create_index("ix_tax_section", "tax", ["section"])
    op.create_table(
        "exchange_rate",
        sa.Column("name", NAME, nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.Column("rate", sa.BigInteger(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.CheckConstraint("rate >= 1", name=op.f("ck_exchange_rate_rate")),
        sa.PrimaryKeyConstraint("name", name="pk_exchange_rate"),
    )
    op.create_index("ix_exchange_rate_currency_valid_from", "exchange_rate", ["currency", "valid_from"])


def downgrade() -> None:
    gone = (*NEW_KINDS, *BUYING)
    op.execute(sa.text(f"DELETE FROM record_change WHERE {_in('kind', gone)}"))
    for name in ("offer", "tax", "supplier", "exchange_rate", "precedence", "tightening"):
        op.drop_table(name)
    new = _in("kind", NEW_KINDS)
    op.execute(sa.text(f"DELETE FROM claim_evidence WHERE claim IN (SELECT name FROM claim WHERE {new})"))
    op.execute(sa.text(f"DELETE FROM claim WHERE {new}"))
    with op.batch_alter_table("companion_alternative") as batch:
        batch.drop_constraint(op.f("ck_companion_alternative_amount"), type_="check")
        batch.drop_constraint(op.f("ck_companion_alternative_goes_on"), type_="check")
        for column in ("goes_on", "amount_written", "amount"):
            batch.drop_column(column)
    with op.batch_alter_table("fitment") as batch:
        batch.drop_column("tools")
    _kinds_of_claim(KINDS)
