"""Named upgrades, and other words for what the catalogue calls by its own.

Revision: 2026_11_29_upgrades
After: 2026_11_29_flaws_of_several
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_upgrades"
down_revision = "2026_11_29_flaws_of_several"
branch_labels = None
depends_on = None


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


NAME = _plain(120)
CLAIM_NAME = _plain(300)
KINDS = (
    "characteristic", "fitment", "substitute", "flaw", "companion", "conflict", "joint", "budget",
    "supersession", "precedence", "access", "tightening",
)  # fmt: skip


def _in(column: str, words: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


def _kinds_of_claim(words: tuple[str, ...]) -> None:
    with op.batch_alter_table("claim") as batch:
        batch.drop_constraint(op.f("ck_claim_kind"), type_="check")
        batch.create_check_constraint(op.f("ck_claim_kind"), _in("kind", words))


def _link(table: str, column: str, to: str, key: str, *, cascade: bool = False) -> sa.ForeignKeyConstraint:
    name = f"fk_{table}_{column}_{to}"
    gone = {"ondelete": "CASCADE"} if cascade else {}
    return sa.ForeignKeyConstraint([column], [f"{to}.{key}"], name=name, deferrable=True, **gone)


def upgrade() -> None:
    _kinds_of_claim((*KINDS, "upgrade"))
    op.create_table(
        "upgrade",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("called", sa.Text(), nullable=False),
        _link("upgrade", "claim", "claim", "name", cascade=True),
        sa.PrimaryKeyConstraint("claim", name="pk_upgrade"),
    )
    op.create_table(
        "upgrade_fit",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("position", NAME, nullable=True),
        _link("upgrade_fit", "claim", "upgrade", "claim", cascade=True),
        _link("upgrade_fit", "component", "component", "number"),
        _link("upgrade_fit", "position", "position", "name"),
        sa.PrimaryKeyConstraint("claim", "number", name="pk_upgrade_fit"),
    )
    op.create_index("ix_upgrade_fit_component", "upgrade_fit", ["component"])
    op.create_index("ix_upgrade_fit_position", "upgrade_fit", ["position"])
    op.create_table(
        "upgrade_flaw",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("flaw", CLAIM_NAME, nullable=False),
        _link("upgrade_flaw", "claim", "upgrade", "claim", cascade=True),
        _link("upgrade_flaw", "flaw", "flaw", "claim"),
        sa.PrimaryKeyConstraint("claim", "flaw", name="pk_upgrade_flaw"),
    )
    op.create_index("ix_upgrade_flaw_flaw", "upgrade_flaw", ["flaw"])
    op.create_table(
        "other_word",
        sa.Column("said", NAME, nullable=False),
        sa.Column("means", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("said", name="pk_other_word"),
    )


def downgrade() -> None:
    op.execute(sa.text("DELETE FROM record_change WHERE kind IN ('upgrade', 'other_word')"))
    op.drop_table("other_word")
    op.drop_index("ix_upgrade_flaw_flaw", table_name="upgrade_flaw")
    op.drop_table("upgrade_flaw")
    for column in ("position", "component"):
        op.drop_index(f"ix_upgrade_fit_{column}", table_name="upgrade_fit")
    op.drop_table("upgrade_fit")
    op.drop_table("upgrade")
    stated = "SELECT name FROM claim WHERE kind = 'upgrade'"
    op.execute(sa.text(f"DELETE FROM claim_evidence WHERE claim IN ({stated})"))
    op.execute(sa.text("DELETE FROM claim WHERE kind = 'upgrade'"))
    _kinds_of_claim(KINDS)
