"""What pages of the catalogue look like, for the OpenAPI document."""

from typing import Any, Literal

from pydantic import Field

from graftbook.questions.closures.schemas import MoneyOut, Out, VehicleOut

SeverityOut = Literal["minor", "moderate", "severe", "dangerous"]


class PageOut(Out):
    next: str | None = Field(description="cursor of the next page; null on the last; also a Link header")


class ComponentLineOut(Out):
    number: str
    name: str
    section: str
    origin: str
    supply: str
    price: MoneyOut
    visible: bool


class ComponentsOut(PageOut):
    items: list[ComponentLineOut]


Records = list[dict[str, Any]]


class ComponentFactsOut(Out):
    """One component's page; records are those of `GET /v1/imports/schema`, without empty fields."""

    component: dict[str, Any]
    current_numbers: list[str] = Field(description="the numbers that stand for it today")
    characteristics: Records
    fitments: Records
    replaces: Records = Field(description="substitutes that it is")
    replaced_by: Records = Field(description="substitutes for it")
    needs: Records = Field(description="companion rules that it brings, a row an alternative")
    needed_by: Records = Field(description="companion rules that it may satisfy")
    conflicts: Records
    flaws: Records
    remedies: Records = Field(description="flaws of others that it mends")
    offers: Records = Field(description="who sells it; also offers that hold no longer or not yet")
    chain: Records = Field(description="supersessions of its number, older and newer")
    evidence: Records
    more: list[str] = Field(description="lists that were cut")
    catalogue_revision: int
    currency: str


class RangeOut(Out):
    name: str
    title: str
    note: str
    revision: int


class RangesOut(PageOut):
    items: list[RangeOut]


class ChassisSpanOut(Out):
    first: str
    last: str
    built_from: str
    built_to: str


class VariantOut(Out):
    name: str
    range: str
    title: str
    generation: str
    body: str
    engine: str
    drive: str
    steering: str
    market: str
    options: list[str]
    note: str
    chassis_spans: list[ChassisSpanOut]


class VariantsOut(PageOut):
    items: list[VariantOut]


class PositionOut(Out):
    name: str
    section: str
    title: str
    essential: bool
    side: str
    pair: str
    circuit: str


class PositionsOut(PageOut):
    items: list[PositionOut]


class FlawOut(Out):
    name: str
    component: str
    component_name: str
    section: str
    severity: SeverityOut
    symptom: str
    appears_when: str
    note: str
    remedies: int


class FlawsOut(PageOut):
    items: list[FlawOut]


class FittedOut(Out):
    position: str
    position_title: str
    section: str
    component: str | None
    name: str | None


class VehicleFlawOut(Out):
    flaw: str
    component: str
    position: str
    severity: SeverityOut
    symptom: str
    remedies: int = Field(description="recorded remedies that this vehicle can take")


class VehiclePageOut(VehicleOut):
    """What a chassis number says."""

    catalogue_revision: int
    fitted: list[FittedOut]
    flaws: list[VehicleFlawOut]


class BuildLineOut(Out):
    name: str
    variant: str
    chassis: str
    note: str
    version: int


class BuildsOut(PageOut):
    items: list[BuildLineOut]


class BuildOut(BuildLineOut):
    built: str | None
    options: list[str]
    fitted: dict[str, str | None]
    on_the_bench: list[str]
    decided: list[dict[str, Any]]


class SpecificationLineOut(Out):
    name: str
    title: str
    latest: int


class SpecificationsOut(PageOut):
    items: list[SpecificationLineOut]


class SpecificationOut(SpecificationLineOut):
    version: int
    note: str
    at: str
    variants: list[str]
    wishes: list[dict[str, Any]]
    limits: dict[str, Any]
    preference: list[str]


class ComparisonOut(Out):
    name: str
    from_version: int
    to_version: int
    wishes_added: list[dict[str, Any]]
    wishes_removed: list[dict[str, Any]]
    changed: dict[str, Any]
