"""The tables of the order of work: what comes first, what is off for it, how tight."""

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

from graftbook.catalogue.store.columns import one_of, refers, words

ACCESS_STATES = ("off", "carried over", "disconnected", "depressurised", "on stands", "drained", "bled")


class PrecedenceRow(SQLModel, table=True):
    """The work at `position` is done before the work at `other_position`."""

    __tablename__ = "precedence"
    __table_args__ = (
        one_of("work", "work", ("fitting", "removing")),
        CheckConstraint("position <> other_position", name="two_positions"),
    )
    claim: str = refers("claim.name", primary=True, cascade=True)
    position: str = refers("position.name")
    other_position: str = refers("position.name")
    work: str = Field(default="fitting", max_length=10)
    reason: str = words()


class AccessRow(SQLModel, table=True):
    """While there is work at `position`, what is at `other_position` is in a state."""

    __tablename__ = "access"
    __table_args__ = (
        one_of("state", "state", ACCESS_STATES),
        CheckConstraint(
            "position <> other_position OR state NOT IN ('off', 'carried over')", name="two_positions"
        ),
    )
    claim: str = refers("claim.name", primary=True, cascade=True)
    position: str = refers("position.name")
    component: str | None = refers("component.number", optional=True)
    other_position: str = refers("position.name")
    other_component: str | None = refers("component.number", optional=True)
    state: str = Field(default="off", max_length=20)
    opening: str = words()
    closing: str = words()
    reason: str = words()


class TighteningRow(SQLModel, table=True):
    """Torque, angle and distance as written and in SI; `low` and `high` differ for a span."""

    __tablename__ = "tightening"
    __table_args__ = (CheckConstraint("torque_low > 0", name="torque"),)
    claim: str = refers("claim.name", primary=True, cascade=True)
    position: str = refers("position.name")
    component: str | None = refers("component.number", optional=True)
    fastener: str = words()
    torque: str = Field(max_length=60)
    torque_low: float
    torque_high: float
    angle: str = Field(default="", max_length=60)
    angle_low: float | None = None
    angle_high: float | None = None
    again_after: str = Field(default="", max_length=60)
    again_after_low: float | None = None
    again_after_high: float | None = None
