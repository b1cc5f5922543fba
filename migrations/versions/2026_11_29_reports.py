"""What workshops report.

Revision: 2026_11_29_reports
After: 2026_11_29_build_life
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_reports"
down_revision = "2026_11_29_build_life"
branch_labels = None
depends_on = None


def _plain(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


NAME, CLAIM_NAME = _plain(120), _plain(300)
INDICES = (("prefix", "serial"), ("component",), ("position",), ("claim",), ("build",))


def upgrade() -> None:
    op.create_table(
        "report",
        sa.Column("name", CLAIM_NAME, nullable=False),
        sa.Column("outcome", sa.String(17), nullable=False),
        sa.Column("workshop", NAME, nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("prefix", NAME, nullable=False),
        sa.Column("serial", sa.Integer(), nullable=False),
        sa.Column("digits", sa.Integer(), nullable=False),
        sa.Column("component", NAME, nullable=True),
        sa.Column("position", NAME, nullable=True),
        sa.Column("claim", CLAIM_NAME, nullable=True),
        sa.Column("built", sa.Date(), nullable=True),
        sa.Column("options", sa.Text(), nullable=False),
        sa.Column("measured", sa.Text(), nullable=False),
        sa.Column("build", NAME, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "outcome IN ('fitted', 'fitted after work', 'did not fit')", name=op.f("ck_report_outcome")
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_report_component_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["position"], ["position.name"], name="fk_report_position_position", deferrable=True
        ),
        sa.ForeignKeyConstraint(["claim"], ["claim.name"], name="fk_report_claim_claim", deferrable=True),
        sa.PrimaryKeyConstraint("name", name="pk_report"),
    )
    for columns in INDICES:
        op.create_index(f"ix_report_{'_'.join(columns)}", "report", list(columns))


def downgrade() -> None:
    op.execute(sa.text("DELETE FROM record_change WHERE kind = 'report'"))
    for columns in INDICES:
        op.drop_index(f"ix_report_{'_'.join(columns)}", table_name="report")
    op.drop_table("report")
