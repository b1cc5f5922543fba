"""What pages of the catalogue look like."""

from typing import Annotated, Any

from pydantic import Field

from graftbook.catalogue.store.lists import FlawOut, PositionOut, RangeOut, UpgradeOut, VariantOut
from graftbook.document import Document
from graftbook.http.paging import PageOut
from graftbook.questions.closures.schemas import MoneyOut, VehicleOut
from graftbook.rulebook.model import SeverityWord


class ComponentLineOut(Document):
    number: str
    name: str
    section: str
    origin: str
    supply: str
    price: MoneyOut
    visible: bool


class ComponentsOut(PageOut):
    items: list[ComponentLineOut]


Row = dict[str, Any]
"""A record of the text format, without empty fields."""
Records = list[Row]


class ComponentFactsOut(Document):
    """One component's page; records are those of `GET /v1/imports/schema`, without empty fields."""

    component: dict[str, Any]
    current_numbers: Annotated[list[str], Field(description="the numbers that stand for it today")]
    characteristics: Records
    fitments: Records
    replaces: Annotated[Records, Field(description="substitutes that it is")]
    replaced_by: Annotated[Records, Field(description="substitutes for it")]
    needs: Annotated[Records, Field(description="companion rules that it brings, a row an alternative")]
    needed_by: Annotated[Records, Field(description="companion rules that it may satisfy")]
    conflicts: Records
    flaws: Records
    remedies: Annotated[Records, Field(description="flaws of others that it mends")]
    offers: Annotated[Records, Field(description="who sells it; also offers that hold no longer or not yet")]
    chain: Annotated[Records, Field(description="supersessions of its number, older and newer")]
    evidence: Records
    more: Annotated[list[str], Field(description="lists that were cut")]
    catalogue_revision: int
    currency: str


class RangesOut(PageOut):
    items: list[RangeOut]


class VariantsOut(PageOut):
    items: list[VariantOut]


class PositionsOut(PageOut):
    items: list[PositionOut]


class FlawsOut(PageOut):
    items: list[FlawOut]


class UpgradesOut(PageOut):
    items: list[UpgradeOut]


class FittedOut(Document):
    position: str
    position_title: str
    section: str
    component: str | None
    name: str | None


class VehicleFlawOut(Document):
    flaw: str
    component: str
    position: str
    severity: SeverityWord
    symptom: str
    remedies: Annotated[int, Field(description="recorded remedies that this vehicle can take")]


class VehiclePageOut(VehicleOut):
    """What a chassis number says."""

    catalogue_revision: int
    fitted: list[FittedOut]
    flaws: list[VehicleFlawOut]
