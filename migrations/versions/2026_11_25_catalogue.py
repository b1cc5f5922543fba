"""Ranges, variants, positions, kinds, evidence, conditions and components.

Revision: 2026_11_25_catalogue
After:
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_catalogue"
down_revision = None
branch_labels = None
depends_on = None

NAME = sa.String(120).with_variant(sa.String(120, collation="C"), "postgresql")
SORT_KEY = sa.String(400).with_variant(sa.String(400, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "characteristic_kind",
        sa.Column("name", NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("choices", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_characteristic_kind"),
    )
    op.create_table(
        "evidence",
        sa.Column("name", NAME, nullable=False),
        sa.Column("grade", sa.String(length=20), nullable=False),
        sa.Column("reference", sa.Text(), nullable=False),
        sa.Column("on", sa.Date(), nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("fitted", sa.Integer(), nullable=False),
        sa.Column("not_fitted", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "grade IN ('hearsay', 'parts book', 'workshop manual', 'measured', "
            ""
            ""
            "'trial fitted', 'built and driven')",
            name=op.f("ck_evidence_grade"),
        ),
        sa.CheckConstraint("fitted >= 0", name=op.f("ck_evidence_fitted")),
        sa.CheckConstraint("not_fitted >= 0", name=op.f("ck_evidence_not_fitted")),
        sa.PrimaryKeyConstraint("name", name="pk_evidence"),
    )
    op.create_table(
        "range",
        sa.Column("name", NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_range"),
    )
    op.create_table(
        "revision",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_revision"),
    )
    op.create_table(
        "section",
        sa.Column("name", NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("order", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_section"),
    )
    op.create_table(
        "component",
        sa.Column("number", NAME, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("section", NAME, nullable=False),
        sa.Column("origin", sa.String(length=20), nullable=False),
        sa.Column("supply", sa.String(length=20), nullable=False),
        sa.Column("price", sa.BigInteger(), nullable=True),
        sa.Column("deposit", sa.BigInteger(), nullable=False),
        sa.Column("mass", sa.String(length=60), nullable=False),
        sa.Column("mass_kg", sa.Float(), nullable=True),
        sa.Column("pack", sa.Integer(), nullable=False),
        sa.Column("hazard", sa.Text(), nullable=False),
        sa.Column("visible", sa.Boolean(), nullable=False),
        sa.Column("twin", NAME, nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("typed", NAME, nullable=False),
        sa.Column("sort_key", SORT_KEY, nullable=False),
        sa.CheckConstraint(
            "origin IN ('original', 'later-model', 'modern')", name=op.f("ck_component_origin")
        ),
        sa.CheckConstraint(
            "supply IN ('current', 'superseded', 'no longer supplied')", name=op.f("ck_component_supply")
        ),
        sa.CheckConstraint("deposit >= 0", name=op.f("ck_component_deposit")),
        sa.CheckConstraint("mass_kg >= 0", name=op.f("ck_component_mass_kg")),
        sa.CheckConstraint("pack >= 1", name=op.f("ck_component_pack")),
        sa.CheckConstraint("price >= 0", name=op.f("ck_component_price")),
        sa.ForeignKeyConstraint(
            ["section"], ["section.name"], name="fk_component_section_section", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["twin"], ["component.number"], name="fk_component_twin_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("number", name="pk_component"),
    )
    op.create_index("ix_component_origin_sort_key_number", "component", ["origin", "sort_key", "number"])
    op.create_index("ix_component_section_sort_key_number", "component", ["section", "sort_key", "number"])
    op.create_index("ix_component_sort_key_number", "component", ["sort_key", "number"])
    op.create_index("ix_component_twin", "component", ["twin"])
    op.create_index("ix_component_typed", "component", ["typed"])
    op.create_table(
        "condition",
        sa.Column("id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("range", NAME, nullable=True),
        sa.Column("variants", sa.Text(), nullable=False),
        sa.Column("generations", sa.Text(), nullable=False),
        sa.Column("bodies", sa.Text(), nullable=False),
        sa.Column("engines", sa.Text(), nullable=False),
        sa.Column("drives", sa.Text(), nullable=False),
        sa.Column("steering", sa.String(length=5), nullable=False),
        sa.Column("markets", sa.Text(), nullable=False),
        sa.Column("options", sa.Text(), nullable=False),
        sa.Column("without", sa.Text(), nullable=False),
        sa.Column("chassis_from", sa.String(length=20), nullable=False),
        sa.Column("chassis_to", sa.String(length=20), nullable=False),
        sa.Column("built_from", sa.Date(), nullable=True),
        sa.Column("built_to", sa.Date(), nullable=True),
        sa.CheckConstraint("steering IN ('', 'left', 'right')", name=op.f("ck_condition_steering")),
        sa.CheckConstraint(
            "built_from IS NULL OR built_to IS NULL OR built_from <= built_to", name=op.f("ck_condition_days")
        ),
        sa.ForeignKeyConstraint(["range"], ["range.name"], name="fk_condition_range_range", deferrable=True),
        sa.PrimaryKeyConstraint("id", name="pk_condition"),
    )
    op.create_index("ix_condition_range", "condition", ["range"])
    op.create_table(
        "variant",
        sa.Column("name", NAME, nullable=False),
        sa.Column("range", NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("generation", NAME, nullable=False),
        sa.Column("body", NAME, nullable=False),
        sa.Column("engine", NAME, nullable=False),
        sa.Column("drive", NAME, nullable=False),
        sa.Column("steering", sa.String(length=5), nullable=False),
        sa.Column("market", NAME, nullable=False),
        sa.Column("options", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint("steering IN ('left', 'right')", name=op.f("ck_variant_steering")),
        sa.ForeignKeyConstraint(["range"], ["range.name"], name="fk_variant_range_range", deferrable=True),
        sa.PrimaryKeyConstraint("name", name="pk_variant"),
    )
    op.create_index("ix_variant_range", "variant", ["range"])
    op.create_table(
        "chassis_span",
        sa.Column("variant", NAME, nullable=False),
        sa.Column("prefix", NAME, nullable=False),
        sa.Column("first_serial", sa.Integer(), nullable=False),
        sa.Column("last_serial", sa.Integer(), nullable=False),
        sa.Column("digits", sa.Integer(), nullable=False),
        sa.Column("built_from", sa.Date(), nullable=False),
        sa.Column("built_to", sa.Date(), nullable=False),
        sa.CheckConstraint("built_from <= built_to", name=op.f("ck_chassis_span_days")),
        sa.CheckConstraint("first_serial <= last_serial", name=op.f("ck_chassis_span_serials")),
        sa.ForeignKeyConstraint(
            ["variant"], ["variant.name"], name="fk_chassis_span_variant_variant", deferrable=True
        ),
        sa.PrimaryKeyConstraint("variant", "prefix", "first_serial", name="pk_chassis_span"),
    )
    op.create_index("ix_chassis_span_prefix_first_serial", "chassis_span", ["prefix", "first_serial"])
    op.create_table(
        "component_word",
        sa.Column("word", NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.ForeignKeyConstraint(
            ["component"],
            ["component.number"],
            name="fk_component_word_component_component",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("word", "component", name="pk_component_word"),
    )
    op.create_index("ix_component_word_component", "component_word", ["component"])
    op.create_table(
        "condition_variant",
        sa.Column("variant", NAME, nullable=False),
        sa.Column("condition_id", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["condition_id"],
            ["condition.id"],
            name="fk_condition_variant_condition_id_condition",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["variant"],
            ["variant.name"],
            name="fk_condition_variant_variant_variant",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("variant", "condition_id", name="pk_condition_variant"),
    )
    op.create_index("ix_condition_variant_condition_id", "condition_variant", ["condition_id"])
    op.create_table(
        "position",
        sa.Column("name", NAME, nullable=False),
        sa.Column("section", NAME, nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("essential", sa.Boolean(), nullable=False),
        sa.Column("side", sa.String(length=5), nullable=False),
        sa.Column("pair", NAME, nullable=False),
        sa.Column("circuit", NAME, nullable=False),
        sa.Column("order", sa.Integer(), nullable=False),
        sa.Column("condition_id", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("side IN ('', 'left', 'right', 'front', 'rear')", name=op.f("ck_position_side")),
        sa.ForeignKeyConstraint(
            ["condition_id"], ["condition.id"], name="fk_position_condition_id_condition", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["section"], ["section.name"], name="fk_position_section_section", deferrable=True
        ),
        sa.PrimaryKeyConstraint("name", name="pk_position"),
    )
    op.create_index("ix_position_condition_id", "position", ["condition_id"])
    op.create_index("ix_position_section", "position", ["section"])


def downgrade() -> None:
    op.drop_index("ix_position_section", table_name="position")
    op.drop_index("ix_position_condition_id", table_name="position")
    op.drop_table("position")
    op.drop_index("ix_condition_variant_condition_id", table_name="condition_variant")
    op.drop_table("condition_variant")
    op.drop_index("ix_component_word_component", table_name="component_word")
    op.drop_table("component_word")
    op.drop_index("ix_chassis_span_prefix_first_serial", table_name="chassis_span")
    op.drop_table("chassis_span")
    op.drop_index("ix_variant_range", table_name="variant")
    op.drop_table("variant")
    op.drop_index("ix_condition_range", table_name="condition")
    op.drop_table("condition")
    op.drop_index("ix_component_typed", table_name="component")
    op.drop_index("ix_component_twin", table_name="component")
    op.drop_index("ix_component_sort_key_number", table_name="component")
    op.drop_index("ix_component_section_sort_key_number", table_name="component")
    op.drop_index("ix_component_origin_sort_key_number", table_name="component")
    op.drop_table("component")
    op.drop_table("section")
    op.drop_table("revision")
    op.drop_table("range")
    op.drop_table("evidence")
    op.drop_table("characteristic_kind")
