"""What is off, or made safe, for work at a position; where loose parts go in; what is tightened again.

Revision: 2026_11_28_access
After: 2026_11_28_sane_ranges
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_28_access"
down_revision = "2026_11_28_sane_ranges"
branch_labels = None
depends_on = None


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


NAME = _plain(120)
CLAIM_NAME = _plain(300)
KINDS = (
    "characteristic", "fitment", "substitute", "flaw", "companion", "conflict", "joint", "budget",
    "supersession", "precedence", "tightening",
)  # fmt: skip
KINDS_NOW = (*KINDS[:-1], "access", "tightening")
STATES = ("off", "carried over", "disconnected", "depressurised", "on stands", "drained", "bled")
PLACES = {
    "position": "position.name",
    "component": "component.number",
    "other_position": "position.name",
    "other_component": "component.number",
}


def _in(column: str, words: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


def _kinds_of_claim(words: tuple[str, ...]) -> None:
    with op.batch_alter_table("claim") as batch:
        batch.drop_constraint(op.f("ck_claim_kind"), type_="check")
        batch.create_check_constraint(op.f("ck_claim_kind"), _in("kind", words))


def upgrade() -> None:
    _kinds_of_claim(KINDS_NOW)
    with op.batch_alter_table("tightening") as batch:
        batch.add_column(sa.Column("again_after", sa.String(60), nullable=False, server_default=""))
        batch.add_column(sa.Column("again_after_low", sa.Float(), nullable=True))
        batch.add_column(sa.Column("again_after_high", sa.Float(), nullable=True))
    with op.batch_alter_table("tightening") as batch:
        batch.alter_column("again_after", server_default=None)
    op.create_table(
        "access",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("position", NAME, nullable=False),
        sa.Column("component", NAME, nullable=True),
        sa.Column("other_position", NAME, nullable=False),
        sa.Column("other_component", NAME, nullable=True),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("opening", sa.Text(), nullable=False),
        sa.Column("closing", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint(_in("state", STATES), name=op.f("ck_access_state")),
        sa.CheckConstraint(
            "position <> other_position OR state NOT IN ('off', 'carried over')",
            name=op.f("ck_access_two_positions"),
        ),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_access_claim_claim", deferrable=True, ondelete="CASCADE"
        ),
        *(
            sa.ForeignKeyConstraint(
                [column], [to], name=f"fk_access_{column}_{to.partition('.')[0]}", deferrable=True
            )
            for column, to in PLACES.items()
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_access"),
    )
    for column in PLACES:
        op.create_index(f"ix_access_{column}", "access", [column])
    with op.batch_alter_table("companion_alternative") as batch:
        batch.add_column(sa.Column("goes_in", NAME, nullable=True))
        batch.create_foreign_key(
            "fk_companion_alternative_goes_in_position", "position", ["goes_in"], ["name"], deferrable=True
        )
    op.create_index("ix_companion_alternative_goes_in", "companion_alternative", ["goes_in"])


def downgrade() -> None:
    op.execute(sa.text("DELETE FROM record_change WHERE kind = 'access'"))
    op.drop_table("access")
    op.drop_index("ix_companion_alternative_goes_in", "companion_alternative")
    with op.batch_alter_table("companion_alternative") as batch:
        batch.drop_constraint("fk_companion_alternative_goes_in_position", type_="foreignkey")
        batch.drop_column("goes_in")
    op.execute(
        sa.text("DELETE FROM claim_evidence WHERE claim IN (SELECT name FROM claim WHERE kind = 'access')")
    )
    op.execute(sa.text("DELETE FROM claim WHERE kind = 'access'"))
    with op.batch_alter_table("tightening") as batch:
        for column in ("again_after_high", "again_after_low", "again_after"):
            batch.drop_column(column)
    _kinds_of_claim(KINDS)
