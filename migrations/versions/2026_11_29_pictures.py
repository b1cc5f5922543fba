"""Pictures that stand with a record or a build.

Revision: 2026_11_29_pictures
After: 2026_11_29_reports
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_pictures"
down_revision = "2026_11_29_reports"
branch_labels = None
depends_on = None


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "picture",
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("name", _plain(300), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("build", _plain(120), nullable=True),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("media_type", sa.String(10), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("small", sa.LargeBinary(), nullable=False),
        sa.Column("caption", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("place >= 1 AND place <= 12", name=op.f("ck_picture_place")),
        sa.CheckConstraint(
            "media_type IN ('image/jpeg', 'image/png', 'image/webp')", name=op.f("ck_picture_media_type")
        ),
        sa.ForeignKeyConstraint(
            ["build"], ["build.name"], name="fk_picture_build_build", ondelete="CASCADE", deferrable=True
        ),
        sa.PrimaryKeyConstraint("kind", "name", "place", name="pk_picture"),
        sa.UniqueConstraint("kind", "name", "digest", name="uq_picture_kind_name_digest"),
    )
    op.create_index("ix_picture_build", "picture", ["build"])
    op.create_index("ix_picture_digest", "picture", ["digest"])


def downgrade() -> None:
    op.drop_index("ix_picture_digest", table_name="picture")
    op.drop_index("ix_picture_build", table_name="picture")
    op.drop_table("picture")
