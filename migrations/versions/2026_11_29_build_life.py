"""The life of a build as events, and which version of a specification is the house's present one.

Revision: 2026_11_29_build_life
After: 2026_11_29_flat_lists
"""

import json
from datetime import date
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "2026_11_29_build_life"
down_revision = "2026_11_29_flat_lists"
branch_labels = None
depends_on = None

NAME = sa.String(120).with_variant(sa.String(120, collation="C"), "postgresql")
NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.add_column("build", sa.Column("taken_in", sa.Date(), nullable=True))
    op.add_column("build", sa.Column("built_to", NAME, nullable=True))
    op.create_table(
        "build_event",
        sa.Column("id", NUMBER, autoincrement=True, nullable=False),
        sa.Column("build", NAME, nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("what", sa.String(20), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["build"], ["build.name"], name="fk_build_event_build_build", ondelete="CASCADE", deferrable=True
        ),
        sa.PrimaryKeyConstraint("id", name="pk_build_event"),
    )
    op.create_index("ix_build_event_build", "build_event", ["build"])
    op.create_table(
        "house_specification",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("specification", NAME, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.CheckConstraint("number = 1", name=op.f("ck_house_specification_number")),
        sa.ForeignKeyConstraint(
            ["specification", "version"],
            ["specification_version.specification", "specification_version.version"],
            name="fk_house_specification_version",
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("number", name="pk_house_specification"),
    )
    _state_what_there_is()


def _state_what_there_is() -> None:
    """Each build begins its life with what is known of it now."""
    bind, seen = op.get_bind(), sa.MetaData()
    build, fitting, bench, event = (
        sa.Table(name, seen, autoload_with=bind)
        for name in ("build", "build_fitting", "build_bench", "build_event")
    )
    for row in bind.execute(sa.select(build)).mappings().all():
        mine = row["name"]
        sits = bind.execute(sa.select(fitting).where(fitting.c.build == mine)).mappings().all()
        lies = bind.execute(sa.select(bench.c.component).where(bench.c.build == mine)).scalars()
        day = _day(row["changed"])
        detail = {
            "variant": row["variant"],
            "chassis": row["chassis"],
            "built": row["built"].isoformat() if row["built"] else None,
            "options": [option for option in row["options"].split("; ") if option],
            "fitted": {one["position"]: one["component"] for one in sits},
            "on_the_bench": sorted(lies),
            "decided": json.loads(row["decided"]),
            "note": row["note"],
        }
        stated = {"build": mine, "day": day, "at": row["changed"], "who": "", "what": "stated"}
        bind.execute(event.insert().values(**stated, detail=json.dumps(detail)))
        bind.execute(build.update().where(build.c.name == mine).values(taken_in=day))


def _day(moment: Any) -> date:
    found: date = moment.date()
    return found


def downgrade() -> None:
    op.drop_table("house_specification")
    op.drop_index("ix_build_event_build", table_name="build_event")
    op.drop_table("build_event")
    with op.batch_alter_table("build") as batch:
        batch.drop_column("built_to")
        batch.drop_column("taken_in")
