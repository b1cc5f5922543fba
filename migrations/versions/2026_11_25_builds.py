"""A house's vehicles and specifications.

Revision: 2026_11_25_builds
After: 2026_11_25_claims
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_builds"
down_revision = "2026_11_25_claims"
branch_labels = None
depends_on = None

NAME = sa.String(120).with_variant(sa.String(120, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "specification",
        sa.Column("name", NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("latest", sa.Integer(), nullable=False),
        sa.CheckConstraint("latest >= 1", name=op.f("ck_specification_latest")),
        sa.PrimaryKeyConstraint("name", name="pk_specification"),
    )
    op.create_table(
        "specification_version",
        sa.Column("specification", NAME, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["specification"],
            ["specification.name"],
            name="fk_specification_version_specification_specification",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("specification", "version", name="pk_specification_version"),
    )
    op.create_table(
        "build",
        sa.Column("name", NAME, nullable=False),
        sa.Column("variant", NAME, nullable=False),
        sa.Column("chassis", sa.String(length=20), nullable=False),
        sa.Column("built", sa.Date(), nullable=True),
        sa.Column("options", sa.Text(), nullable=False),
        sa.Column("decided", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("version >= 1", name=op.f("ck_build_version")),
        sa.ForeignKeyConstraint(
            ["variant"], ["variant.name"], name="fk_build_variant_variant", deferrable=True
        ),
        sa.PrimaryKeyConstraint("name", name="pk_build"),
    )
    op.create_index("ix_build_variant", "build", ["variant"])
    op.create_table(
        "build_bench",
        sa.Column("build", NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.ForeignKeyConstraint(
            ["build"], ["build.name"], name="fk_build_bench_build_build", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_build_bench_component_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("build", "component", name="pk_build_bench"),
    )
    op.create_table(
        "build_fitting",
        sa.Column("build", NAME, nullable=False),
        sa.Column("position", NAME, nullable=False),
        sa.Column("component", NAME, nullable=True),
        sa.ForeignKeyConstraint(
            ["build"],
            ["build.name"],
            name="fk_build_fitting_build_build",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_build_fitting_component_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["position"], ["position.name"], name="fk_build_fitting_position_position", deferrable=True
        ),
        sa.PrimaryKeyConstraint("build", "position", name="pk_build_fitting"),
    )
    op.create_index("ix_build_fitting_component", "build_fitting", ["component"])


def downgrade() -> None:
    op.drop_index("ix_build_fitting_component", table_name="build_fitting")
    op.drop_table("build_fitting")
    op.drop_table("build_bench")
    op.drop_index("ix_build_variant", table_name="build")
    op.drop_table("build")
    op.drop_table("specification_version")
    op.drop_table("specification")
