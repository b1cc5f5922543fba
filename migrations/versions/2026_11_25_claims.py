"""Everything that states something: claims and their evidence, conditions and parts.

Revision: 2026_11_25_claims
After: 2026_11_25_catalogue
"""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_claims"
down_revision = "2026_11_25_catalogue"
branch_labels = None
depends_on = None

NAME = sa.String(120).with_variant(sa.String(120, collation="C"), "postgresql")
CLAIM_NAME = sa.String(300).with_variant(sa.String(300, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "claim",
        sa.Column("name", CLAIM_NAME, nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("condition_id", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('characteristic', 'fitment', 'substitute', 'flaw', 'companion', "
            "'conflict', 'joint', 'budget', 'supersession')",
            name=op.f("ck_claim_kind"),
        ),
        sa.ForeignKeyConstraint(
            ["condition_id"], ["condition.id"], name="fk_claim_condition_id_condition", deferrable=True
        ),
        sa.PrimaryKeyConstraint("name", name="pk_claim"),
    )
    op.create_index("ix_claim_condition_id_kind", "claim", ["condition_id", "kind"])
    op.create_table(
        "budget",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("circuit", NAME, nullable=False),
        sa.Column("supply", NAME, nullable=False),
        sa.Column("demand", NAME, nullable=False),
        sa.Column("usable", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint("usable > 0 AND usable <= 100000", name=op.f("ck_budget_usable")),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_budget_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["demand"],
            ["characteristic_kind.name"],
            name="fk_budget_demand_characteristic_kind",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["supply"],
            ["characteristic_kind.name"],
            name="fk_budget_supply_characteristic_kind",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_budget"),
    )
    op.create_index("ix_budget_demand", "budget", ["demand"])
    op.create_index("ix_budget_supply", "budget", ["supply"])
    op.create_table(
        "characteristic",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("component", NAME, nullable=True),
        sa.Column("variant", NAME, nullable=True),
        sa.Column("kind", NAME, nullable=False),
        sa.Column("written", sa.Text(), nullable=False),
        sa.Column("low", sa.Float(), nullable=True),
        sa.Column("high", sa.Float(), nullable=True),
        sa.Column("text", sa.String(length=None), nullable=True),
        sa.CheckConstraint("(component IS NULL) <> (variant IS NULL)", name=op.f("ck_characteristic_owner")),
        sa.ForeignKeyConstraint(
            ["claim"],
            ["claim.name"],
            name="fk_characteristic_claim_claim",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_characteristic_component_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["kind"],
            ["characteristic_kind.name"],
            name="fk_characteristic_kind_characteristic_kind",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["variant"], ["variant.name"], name="fk_characteristic_variant_variant", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_characteristic"),
        sa.UniqueConstraint("component", "kind", name="uq_characteristic_component_kind"),
        sa.UniqueConstraint("variant", "kind", name="uq_characteristic_variant_kind"),
    )
    op.create_index("ix_characteristic_kind_high", "characteristic", ["kind", "high"])
    op.create_index("ix_characteristic_kind_low", "characteristic", ["kind", "low"])
    op.create_table(
        "claim_evidence",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("evidence", NAME, nullable=False),
        sa.ForeignKeyConstraint(
            ["claim"],
            ["claim.name"],
            name="fk_claim_evidence_claim_claim",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["evidence"], ["evidence.name"], name="fk_claim_evidence_evidence_evidence", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", "evidence", name="pk_claim_evidence"),
    )
    op.create_index("ix_claim_evidence_evidence", "claim_evidence", ["evidence"])
    op.create_table(
        "companion",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("position", NAME, nullable=True),
        sa.Column("required", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("one_serves_all", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_companion_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_companion_component_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["position"], ["position.name"], name="fk_companion_position_position", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_companion"),
    )
    op.create_index("ix_companion_component", "companion", ["component"])
    op.create_index("ix_companion_position", "companion", ["position"])
    op.create_table(
        "conflict",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("component", NAME, nullable=True),
        sa.Column("position", NAME, nullable=True),
        sa.Column("other_component", NAME, nullable=True),
        sa.Column("other_position", NAME, nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_conflict_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_conflict_component_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["other_component"],
            ["component.number"],
            name="fk_conflict_other_component_component",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["other_position"], ["position.name"], name="fk_conflict_other_position_position", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["position"], ["position.name"], name="fk_conflict_position_position", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_conflict"),
    )
    op.create_index("ix_conflict_component", "conflict", ["component"])
    op.create_index("ix_conflict_other_component", "conflict", ["other_component"])
    op.create_index("ix_conflict_other_position", "conflict", ["other_position"])
    op.create_index("ix_conflict_position", "conflict", ["position"])
    op.create_table(
        "fitment",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("position", NAME, nullable=False),
        sa.Column("effort", sa.String(length=20), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("from_new", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "effort IN ('direct', 'with companions', 'machining', 'cutting')", name=op.f("ck_fitment_effort")
        ),
        sa.CheckConstraint("minutes >= 0", name=op.f("ck_fitment_minutes")),
        sa.CheckConstraint("quantity >= 1", name=op.f("ck_fitment_quantity")),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_fitment_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_fitment_component_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["position"], ["position.name"], name="fk_fitment_position_position", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_fitment"),
    )
    op.create_index("ix_fitment_component", "fitment", ["component"])
    op.create_index("ix_fitment_position", "fitment", ["position"])
    op.create_table(
        "flaw",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("severity", sa.String(length=20), nullable=False),
        sa.Column("symptom", sa.Text(), nullable=False),
        sa.Column("appears_when", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "severity IN ('minor', 'moderate', 'severe', 'dangerous')", name=op.f("ck_flaw_severity")
        ),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_flaw_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_flaw_component_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_flaw"),
    )
    op.create_index("ix_flaw_component", "flaw", ["component"])
    op.create_table(
        "joint",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("position", NAME, nullable=False),
        sa.Column("kind", NAME, nullable=False),
        sa.Column("comparator", sa.String(length=10), nullable=False),
        sa.Column("other_position", NAME, nullable=False),
        sa.Column("other_kind", NAME, nullable=False),
        sa.Column("margin", sa.Float(), nullable=False),
        sa.Column("margin_written", sa.String(length=60), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "comparator IN ('equal', 'at least', 'at most', 'within')", name=op.f("ck_joint_comparator")
        ),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_joint_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["kind"], ["characteristic_kind.name"], name="fk_joint_kind_characteristic_kind", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["other_kind"],
            ["characteristic_kind.name"],
            name="fk_joint_other_kind_characteristic_kind",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["other_position"], ["position.name"], name="fk_joint_other_position_position", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["position"], ["position.name"], name="fk_joint_position_position", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_joint"),
    )
    op.create_index("ix_joint_kind", "joint", ["kind"])
    op.create_index("ix_joint_other_kind", "joint", ["other_kind"])
    op.create_index("ix_joint_other_position", "joint", ["other_position"])
    op.create_index("ix_joint_position", "joint", ["position"])
    op.create_table(
        "substitute",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("original", NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.Column("position", NAME, nullable=True),
        sa.Column("both_ways", sa.Boolean(), nullable=False),
        sa.Column("improves", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_substitute_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_substitute_component_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["original"], ["component.number"], name="fk_substitute_original_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["position"], ["position.name"], name="fk_substitute_position_position", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_substitute"),
    )
    op.create_index("ix_substitute_component", "substitute", ["component"])
    op.create_index("ix_substitute_original", "substitute", ["original"])
    op.create_index("ix_substitute_position", "substitute", ["position"])
    op.create_table(
        "supersession",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("old", NAME, nullable=False),
        sa.Column("new", NAME, nullable=False),
        sa.Column("from_date", sa.Date(), nullable=True),
        sa.Column("both_ways", sa.Boolean(), nullable=False),
        sa.CheckConstraint("old <> new", name=op.f("ck_supersession_two_numbers")),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_supersession_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["new"], ["component.number"], name="fk_supersession_new_component", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["old"], ["component.number"], name="fk_supersession_old_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", name="pk_supersession"),
    )
    op.create_index("ix_supersession_new", "supersession", ["new"])
    op.create_index("ix_supersession_old", "supersession", ["old"])
    op.create_table(
        "wanted",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("slot", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", NAME, nullable=False),
        sa.Column("comparator", sa.String(length=10), nullable=False),
        sa.Column("written", sa.Text(), nullable=False),
        sa.Column("low", sa.Float(), nullable=True),
        sa.Column("high", sa.Float(), nullable=True),
        sa.Column("text", sa.String(length=None), nullable=True),
        sa.CheckConstraint(
            "comparator IN ('equal', 'at least', 'at most', 'within')", name=op.f("ck_wanted_comparator")
        ),
        sa.ForeignKeyConstraint(
            ["claim"], ["claim.name"], name="fk_wanted_claim_claim", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["kind"], ["characteristic_kind.name"], name="fk_wanted_kind_characteristic_kind", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", "slot", "number", name="pk_wanted"),
    )
    op.create_index("ix_wanted_kind", "wanted", ["kind"])
    op.create_table(
        "companion_alternative",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("slot", sa.Integer(), nullable=False),
        sa.Column("component", NAME, nullable=True),
        sa.Column("position", NAME, nullable=True),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("empty", sa.Boolean(), nullable=False),
        sa.CheckConstraint("quantity >= 1", name=op.f("ck_companion_alternative_quantity")),
        sa.ForeignKeyConstraint(
            ["claim"],
            ["companion.claim"],
            name="fk_companion_alternative_claim_companion",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["component"],
            ["component.number"],
            name="fk_companion_alternative_component_component",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["position"],
            ["position.name"],
            name="fk_companion_alternative_position_position",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("claim", "slot", name="pk_companion_alternative"),
    )
    op.create_index("ix_companion_alternative_component", "companion_alternative", ["component"])
    op.create_index("ix_companion_alternative_position", "companion_alternative", ["position"])
    op.create_table(
        "flaw_add_on",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("component", NAME, nullable=False),
        sa.ForeignKeyConstraint(
            ["claim"], ["flaw.claim"], name="fk_flaw_add_on_claim_flaw", ondelete="CASCADE", deferrable=True
        ),
        sa.ForeignKeyConstraint(
            ["component"], ["component.number"], name="fk_flaw_add_on_component_component", deferrable=True
        ),
        sa.PrimaryKeyConstraint("claim", "component", name="pk_flaw_add_on"),
    )
    op.create_index("ix_flaw_add_on_component", "flaw_add_on", ["component"])
    op.create_table(
        "flaw_substitute",
        sa.Column("claim", CLAIM_NAME, nullable=False),
        sa.Column("substitute", CLAIM_NAME, nullable=False),
        sa.ForeignKeyConstraint(
            ["claim"],
            ["flaw.claim"],
            name="fk_flaw_substitute_claim_flaw",
            ondelete="CASCADE",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["substitute"],
            ["substitute.claim"],
            name="fk_flaw_substitute_substitute_substitute",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("claim", "substitute", name="pk_flaw_substitute"),
    )
    op.create_index("ix_flaw_substitute_substitute", "flaw_substitute", ["substitute"])


def downgrade() -> None:
    op.drop_index("ix_flaw_substitute_substitute", table_name="flaw_substitute")
    op.drop_table("flaw_substitute")
    op.drop_index("ix_flaw_add_on_component", table_name="flaw_add_on")
    op.drop_table("flaw_add_on")
    op.drop_index("ix_companion_alternative_position", table_name="companion_alternative")
    op.drop_index("ix_companion_alternative_component", table_name="companion_alternative")
    op.drop_table("companion_alternative")
    op.drop_index("ix_wanted_kind", table_name="wanted")
    op.drop_table("wanted")
    op.drop_index("ix_supersession_old", table_name="supersession")
    op.drop_index("ix_supersession_new", table_name="supersession")
    op.drop_table("supersession")
    op.drop_index("ix_substitute_position", table_name="substitute")
    op.drop_index("ix_substitute_original", table_name="substitute")
    op.drop_index("ix_substitute_component", table_name="substitute")
    op.drop_table("substitute")
    op.drop_index("ix_joint_position", table_name="joint")
    op.drop_index("ix_joint_other_position", table_name="joint")
    op.drop_index("ix_joint_other_kind", table_name="joint")
    op.drop_index("ix_joint_kind", table_name="joint")
    op.drop_table("joint")
    op.drop_index("ix_flaw_component", table_name="flaw")
    op.drop_table("flaw")
    op.drop_index("ix_fitment_position", table_name="fitment")
    op.drop_index("ix_fitment_component", table_name="fitment")
    op.drop_table("fitment")
    op.drop_index("ix_conflict_position", table_name="conflict")
    op.drop_index("ix_conflict_other_position", table_name="conflict")
    op.drop_index("ix_conflict_other_component", table_name="conflict")
    op.drop_index("ix_conflict_component", table_name="conflict")
    op.drop_table("conflict")
    op.drop_index("ix_companion_position", table_name="companion")
    op.drop_index("ix_companion_component", table_name="companion")
    op.drop_table("companion")
    op.drop_index("ix_claim_evidence_evidence", table_name="claim_evidence")
    op.drop_table("claim_evidence")
    op.drop_index("ix_characteristic_kind_low", table_name="characteristic")
    op.drop_index("ix_characteristic_kind_high", table_name="characteristic")
    op.drop_table("characteristic")
    op.drop_index("ix_budget_supply", table_name="budget")
    op.drop_index("ix_budget_demand", table_name="budget")
    op.drop_table("budget")
    op.drop_index("ix_claim_condition_id_kind", table_name="claim")
    op.drop_table("claim")
