"""What an order's question looks like: one or several closures, and how to buy."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from pydantic import ConfigDict, Field, Strict

from graftbook.http.errors import validated
from graftbook.http.fields import WHOLE, Day, PerCent, Price, Truth, Word, tell_names
from graftbook.problems import InvalidRequest, printable
from graftbook.questions.closures.query import ClosureQuery, address_at
from graftbook.questions.schemas import AskIn, ClosureIn

MOST_VEHICLES = 20
MOST_SUPPLIERS = 1_000


class VehicleOrderIn(AskIn):
    """One vehicle more: its wishes as for a closure."""

    label: Word | None = Field(None, description="how the list calls the vehicle; else its chassis number")


class OrderIn(ClosureIn):
    """A closure's question, further vehicles to order for at once, and how to buy."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "vehicle": {"chassis": "24PL-018412"},
                    "wishes": [{"fit": "QB-3310"}],
                    "at_most_suppliers": 3,
                }
            ]
        }
    )

    label: Word | None = Field(None, description="how the list calls the vehicle; else its chassis number")
    also: Annotated[list[VehicleOrderIn], Field(max_length=MOST_VEHICLES - 1)] = Field(
        [], description="further vehicles on the same list"
    )
    by: Day | None = Field(None, description="everything must be there by this day")
    at_most_suppliers: Annotated[int, Strict(), Field(ge=1, le=MOST_SUPPLIERS), WHOLE] | None = Field(
        None, description="no more suppliers than this"
    )
    fastest: Truth = Field(False, description="as early as can be, then the cheapest for that day")
    use_stock: Truth = Field(True, description="take from the shop's own store first")
    tax_market: Word | None = Field(None, description="whose taxes; else the first vehicle's market")
    buy_from: Annotated[dict[Word, Word], Field(max_length=200, json_schema_extra=tell_names)] = Field(
        {}, description="number → supplier that it is bought from; what is not needed is passed over"
    )


class FittingIn(AskIn):
    """A closure's question, and who does the work."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}], "hands": 2}]
        }
    )

    hands: Annotated[int, Strict(), Field(ge=1, le=20), WHOLE] = Field(1, description="pairs of hands")
    room_in: Annotated[list[Word], Field(max_length=100)] = Field(
        [], description="sections in which several jobs may be done at the same time"
    )


class QuotationIn(OrderIn):
    """An order's question, and what the owner is charged."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "vehicle": {"chassis": "24PL-018412"},
                    "wishes": [{"fit": "QB-3310"}],
                    "labour_rate": "58.00",
                    "allowance": "10",
                    "first_part": "30",
                    "months": 6,
                }
            ]
        }
    )

    labour_rate: Price = Field(description="an hour, without tax")
    allowance: PerCent = Field(Decimal(0), description="per cent on top, for what comes to light")
    first_part: PerCent = Field(Decimal(0), description="per cent of the whole that is due on order")
    months: Annotated[int, Strict(), Field(ge=0, le=120), WHOLE] = Field(
        0, description="monthly payments of the rest; 0: all at once"
    )


class OrderQuery(ClosureQuery):
    """An order for one vehicle in flat fields."""

    by: Day | None = Field(None, description="everything must be there by this day")
    at_most_suppliers: Annotated[int, Field(ge=1, le=MOST_SUPPLIERS)] | None = None
    fastest: bool = False
    use_stock: bool = True
    tax_market: Word | None = None
    buy_from: Annotated[list[Word], Field(max_length=200)] = Field(
        [], description="`number=supplier`: buy this number from this supplier"
    )

    def order(self) -> OrderIn:
        """The body of the same question. Raises InvalidRequest."""
        terms: dict[str, Any] = {
            "by": self.by.isoformat() if isinstance(self.by, date) else None,
            "at_most_suppliers": self.at_most_suppliers,
            "fastest": self.fastest,
            "use_stock": self.use_stock,
            "tax_market": self.tax_market,
            "buy_from": dict(_pair(word) for word in self.buy_from),
        }
        return validated(OrderIn, {**self._fields(), **terms})


def _pair(word: str) -> tuple[str, str]:
    number, equals, supplier = word.rpartition("=")
    if not (equals and number.strip() and supplier.strip()):
        raise InvalidRequest(f"'{printable(word)}' is not `number=supplier`", pointer="/buy_from")
    return number, supplier


def order_address(body: OrderIn) -> str | None:
    """Where the order of a body stands; None where no address says the same, as for several vehicles."""
    return address_at("/v1/orders", body, lambda given: OrderQuery(**given).order())
