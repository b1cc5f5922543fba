"""API keys, page sessions and the audit trail.

Revision: 2026_11_25_keys
After: 2026_11_25_history
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_keys"
down_revision = "2026_11_25_history"
branch_labels = None
depends_on = None

ID = sa.String(16).with_variant(sa.String(16, collation="C"), "postgresql")
DIGEST = sa.String(64).with_variant(sa.String(64, collation="C"), "postgresql")
MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "access_key",
        sa.Column("id", ID, nullable=False),
        sa.Column("digest", DIGEST, nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("scope", sa.String(length=12), nullable=False),
        sa.Column("made_by", sa.String(length=200), nullable=False),
        sa.Column("created", MOMENT, nullable=False),
        sa.Column("expires", MOMENT, nullable=True),
        sa.Column("used", MOMENT, nullable=True),
        sa.Column("revoked", MOMENT, nullable=True),
        sa.CheckConstraint(
            "scope IN ('read', 'order', 'edit', 'administer')", name=op.f("ck_access_key_scope")
        ),
        sa.PrimaryKeyConstraint("id", name="pk_access_key"),
    )
    op.create_index("ix_access_key_created_id", "access_key", ["created", "id"])
    op.create_table(
        "page_session",
        sa.Column("digest", DIGEST, nullable=False),
        sa.Column("key", ID, nullable=False),
        sa.Column("begun", MOMENT, nullable=False),
        sa.Column("seen", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["key"],
            ["access_key.id"],
            name="fk_page_session_key_access_key",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("digest", name="pk_page_session"),
    )
    op.create_index("ix_page_session_key", "page_session", ["key"])
    op.create_index("ix_page_session_seen", "page_session", ["seen"])
    op.create_table(
        "access_event",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("key", ID, nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("outcome", sa.String(length=10), nullable=False),
        sa.Column("request", sa.String(length=64), nullable=False),
        sa.Column("client", sa.String(length=64), nullable=False),
        sa.Column("times", sa.Integer(), nullable=False),
        sa.CheckConstraint("outcome IN ('done', 'failed', 'refused')", name=op.f("ck_access_event_outcome")),
        sa.CheckConstraint("times >= 1", name=op.f("ck_access_event_times")),
        sa.PrimaryKeyConstraint("number", name="pk_access_event"),
    )
    op.create_index("ix_access_event_outcome_number", "access_event", ["outcome", "number"])
    op.create_index("ix_access_event_key_number", "access_event", ["key", "number"])


def downgrade() -> None:
    op.drop_table("access_event")
    op.drop_table("page_session")
    op.drop_table("access_key")
