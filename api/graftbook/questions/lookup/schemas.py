"""What pages of the catalogue look like."""

from typing import Annotated, Any

from pydantic import Field, GetPydanticSchema

from graftbook.catalogue.format import records
from graftbook.catalogue.format.fields import Record
from graftbook.catalogue.store.lists import FlawOut, PositionOut, RangeOut, UpgradeOut, VariantOut
from graftbook.document import Document
from graftbook.http.parameters import PageOut
from graftbook.questions.closures.schemas import MoneyOut, VehicleOut
from graftbook.rulebook.model import SeverityWord


class ComponentLineOut(Document):
    """A component in a list."""

    number: str
    name: str
    section: str
    origin: str
    supply: str
    price: Annotated[MoneyOut, Field(description="of one piece; null: unknown")]
    visible: Annotated[bool, Field(description="one sees it when it is fitted")]


class ComponentsOut(PageOut):
    """A page of components."""

    items: list[ComponentLineOut]


Row = dict[str, Any]
"""A record of the text format, without empty fields."""


def _record(kind: type[Record]) -> Any:
    """A record's own class describes its row."""
    return GetPydanticSchema(lambda _, handler: handler(kind))


ComponentRow = Annotated[Row, _record(records.ComponentRecord)]
Characteristics = list[Annotated[Row, _record(records.CharacteristicRecord)]]
Fitments = list[Annotated[Row, _record(records.FitmentRecord)]]
Substitutes = list[Annotated[Row, _record(records.SubstituteRecord)]]
Companions = list[Annotated[Row, _record(records.CompanionRecord)]]
Conflicts = list[Annotated[Row, _record(records.ConflictRecord)]]
Flaws = list[Annotated[Row, _record(records.FlawRecord)]]
Offers = list[Annotated[Row, _record(records.OfferRecord)]]
Supersessions = list[Annotated[Row, _record(records.SupersessionRecord)]]
EvidenceRows = list[Annotated[Row, _record(records.EvidenceRecord)]]


class ComponentFactsOut(Document):
    """One component's page; records are those of `GET /v1/imports/schema`, without empty fields."""

    component: Annotated[ComponentRow, Field(description="the component's own record")]
    current_numbers: Annotated[list[str], Field(description="the numbers that stand for it today")]
    characteristics: Annotated[Characteristics, Field(description="what is known of it, with unit")]
    fitments: Annotated[Fitments, Field(description="where it fits")]
    replaces: Annotated[Substitutes, Field(description="substitutes that it is")]
    replaced_by: Annotated[Substitutes, Field(description="substitutes for it")]
    needs: Annotated[Companions, Field(description="companion rules that it brings, a row an alternative")]
    needed_by: Annotated[Companions, Field(description="companion rules that it may satisfy")]
    conflicts: Annotated[Conflicts, Field(description="what it clashes with")]
    flaws: Annotated[Flaws, Field(description="its known flaws")]
    remedies: Annotated[Flaws, Field(description="flaws of others that it mends")]
    offers: Annotated[Offers, Field(description="who sells it; also offers that hold no longer or not yet")]
    chain: Annotated[Supersessions, Field(description="supersessions of its number, older and newer")]
    evidence: Annotated[EvidenceRows, Field(description="the evidence that the records above name")]
    cautions: list[str]
    more: Annotated[list[str], Field(description="lists that were cut")]
    catalogue_revision: int
    currency: str


class RangesOut(PageOut):
    """A page of ranges."""

    items: list[RangeOut]


class VariantsOut(PageOut):
    """A page of variants."""

    items: list[VariantOut]


class PositionsOut(PageOut):
    """A page of positions."""

    items: list[PositionOut]


class FlawsOut(PageOut):
    """A page of known flaws."""

    items: list[FlawOut]


class UpgradesOut(PageOut):
    """A page of named upgrades."""

    items: list[UpgradeOut]


class FittedOut(Document):
    """What sits at a position today."""

    position: str
    position_title: str
    section: str
    component: str | None
    name: str | None


class VehicleFlawOut(Document):
    """A known flaw of what the vehicle has fitted."""

    flaw: Annotated[str, Field(description="the flaw by name")]
    component: str
    position: str
    severity: SeverityWord
    symptom: str
    remedies: Annotated[int, Field(description="recorded remedies that this vehicle can take")]


class VehiclePageOut(VehicleOut):
    """What a chassis number says."""

    catalogue_revision: int
    fitted: Annotated[list[FittedOut], Field(description="what sits where today")]
    flaws: Annotated[list[VehicleFlawOut], Field(description="known flaws of what is fitted")]
