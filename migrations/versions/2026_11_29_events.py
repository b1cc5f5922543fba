"""Events of the catalogue, of order lists and of builds; webhooks that they are sent to.

Revision: 2026_11_29_events
After: 2026_11_29_proposals
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_events"
down_revision = "2026_11_29_proposals"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)
NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "event",
        sa.Column("number", NUMBER, autoincrement=False, nullable=False),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_event"),
    )
    feed = op.create_table(
        "feed",
        sa.Column("one", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("last", NUMBER, nullable=False),
        sa.Column("forgotten", NUMBER, nullable=False),
        sa.CheckConstraint("one = 1", name=op.f("ck_feed_one")),
        sa.PrimaryKeyConstraint("one", name="pk_feed"),
    )
    op.bulk_insert(feed, [{"one": 1, "last": 0, "forgotten": 0}])
    op.create_table(
        "webhook",
        sa.Column("id", _plain(24), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("kinds", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("state", sa.String(10), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("secret", sa.String(100), nullable=False),
        sa.Column("old_secret", sa.String(100), nullable=False),
        sa.Column("old_until", MOMENT, nullable=True),
        sa.Column("made", MOMENT, nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("epoch", sa.String(12), nullable=False),
        sa.Column("position", NUMBER, nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due", MOMENT, nullable=False),
        sa.Column("lease", sa.String(32), nullable=False),
        sa.Column("lease_until", MOMENT, nullable=False),
        sa.CheckConstraint("state IN ('active', 'paused', 'disabled')", name=op.f("ck_webhook_state")),
        sa.PrimaryKeyConstraint("id", name="pk_webhook"),
    )
    op.create_table(
        "delivery",
        sa.Column("webhook", _plain(24), nullable=False),
        sa.Column("number", NUMBER, autoincrement=False, nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("delivered", sa.Boolean(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["webhook"],
            ["webhook.id"],
            name="fk_delivery_webhook_webhook",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("webhook", "number", name="pk_delivery"),
    )


def downgrade() -> None:
    for table in ("delivery", "webhook", "feed", "event"):
        op.drop_table(table)
