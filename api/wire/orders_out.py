"""What order lists look like, for the OpenAPI document."""

from api.wire.documents import CauseWord, GradeWord, MoneyOut, Out, OutcomeWord, VehicleOut, WishOut


class OrderReasonOut(Out):
    cause: CauseWord
    name: str
    sentence: str
    from_position: str | None


class OrderLineOut(Out):
    number: str
    name: str
    section: str
    positions: list[str]
    quantity: int
    pack: int
    packs: int
    pieces: int
    surplus: int
    unit_price: MoneyOut
    total: MoneyOut
    deposits: str
    asked_numbers: list[str]
    reasons: list[OrderReasonOut]
    evidence: GradeWord
    hazard: str | None
    cautions: list[str]


class AtHandOut(Out):
    number: str
    name: str
    quantity: int
    positions: list[str]


class TakenOffOut(Out):
    number: str
    name: str
    position: str
    quantity: int
    replaced_by: str | None
    what_to_do: str


class OrderTotalsOut(Out):
    parts: str
    deposits: str
    total: str
    unknown_prices: list[str]


class OrderOut(Out):
    """What must be bought, what is at hand, and what comes off."""

    vehicle: VehicleOut
    wishes: list[WishOut]
    outcome: OutcomeWord
    catalogue_revision: int
    currency: str
    lines: list[OrderLineOut]
    at_hand: list[AtHandOut]
    taken_off: list[TakenOffOut]
    totals: OrderTotalsOut
    cautions: list[str]
