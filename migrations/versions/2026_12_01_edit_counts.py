"""How many records an edit changed stands with the edit: those of a large load were counted again and again.

Revision: 2026_12_01_edit_counts
After: 2026_11_29_pictures
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_12_01_edit_counts"
down_revision = "2026_11_29_pictures"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("revision", sa.Column("changes", sa.Integer(), nullable=True))


def downgrade() -> None:
    op.drop_column("revision", "changes")
