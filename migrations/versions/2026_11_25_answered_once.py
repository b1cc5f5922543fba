"""Answers given under an Idempotency-Key, and the name of the database's history.

Revision: 2026_11_25_answered_once
After: 2026_11_25_keys
"""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_answered_once"
down_revision = "2026_11_25_keys"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "answered_once",
        sa.Column("principal", _plain(64), nullable=False),
        sa.Column("key", _plain(255), nullable=False),
        sa.Column("digest", _plain(64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("principal", "key", name="pk_answered_once"),
    )
    op.create_index("ix_answered_once_at", "answered_once", ["at"])
    epoch = op.create_table(
        "epoch",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=12), nullable=False),
        sa.CheckConstraint("number = 1", name=op.f("ck_epoch_number")),
        sa.PrimaryKeyConstraint("number", name="pk_epoch"),
    )
    op.bulk_insert(epoch, [{"number": 1, "name": secrets.token_hex(6)}])


def downgrade() -> None:
    op.drop_table("epoch")
    op.drop_table("answered_once")
