"""The tables of how people speak: named upgrades, other words."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from graftbook.catalogue.store.columns import CLAIM_NAME, key, refers, words


class UpgradeRow(SQLModel, table=True):
    """A named upgrade; `called` holds what else it is called, with `;` between."""

    __tablename__ = "upgrade"
    claim: str = refers("claim.name", primary=True, cascade=True)
    title: str = words()
    called: str = words()


class UpgradeFitRow(SQLModel, table=True):
    """A component that an upgrade fits; no position: wherever it goes."""

    __tablename__ = "upgrade_fit"
    claim: str = refers("upgrade.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    component: str = refers("component.number")
    position: str | None = refers("position.name", optional=True)


class UpgradeFlawRow(SQLModel, table=True):
    """A flaw that an upgrade remedies."""

    __tablename__ = "upgrade_flaw"
    claim: str = refers("upgrade.claim", primary=True, cascade=True, type_=CLAIM_NAME)
    flaw: str = refers("flaw.claim", primary=True, type_=CLAIM_NAME)
    __table_args__ = (Index(None, "flaw"),)


class OtherWordRow(SQLModel, table=True):
    """What people say; `means` holds the catalogue's words for it, with `;` between."""

    __tablename__ = "other_word"
    said: str = key()
    means: str = words()
