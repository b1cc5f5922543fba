"""A specification over all its variants, two versions side by side, and the one that is the house's."""

from typing import Annotated

from pydantic import ConfigDict, Field

from graftbook.builds.life.schemas import StillOpenOut
from graftbook.document import Document, MomentOut
from graftbook.http.fields import Word
from graftbook.questions.closures.schemas import MoneyOut, OutcomeWord
from graftbook.questions.schemas import Body
from graftbook.rulebook.model import SeverityWord


class HouseSpecificationIn(Body):
    """The version that the house builds to from now on."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"specification": "house-standard@1"}]})

    specification: Word = Field(description="`name@version`; without a version the latest")


class HouseSpecificationOut(Document):
    """The version of a specification that the house builds to."""

    specification: Annotated[str, Field(description="`name@version`")]
    name: str
    version: int
    title: str
    since: MomentOut
    who: str


class SetFiguresOut(Document):
    """What the set of one variant comes to."""

    changes: int
    price: Annotated[MoneyOut, Field(description="of what has a known price; null: there is no set")]
    unknown_prices: Annotated[int, Field(description="how many numbers have no known price")]
    minutes: int
    shows: Annotated[list[str], Field(description="places where what is changed can be seen")]
    cut_or_welded: int
    unconfirmed: int
    flaws_left: Annotated[dict[SeverityWord, int], Field(description="known flaws left, by severity")]
    fails: Annotated[list[str], Field(description="checks that fail by the set's doing, in words")]
    parts: Annotated[
        list[str], Field(description="`number@position` of each change; nothing before the @: empty")
    ]


class VariantRowOut(SetFiguresOut):
    """What a specification makes of one variant, by its first chassis number."""

    variant: str
    title: str
    chassis: str
    outcome: Annotated[OutcomeWord | None, Field(description="null: it cannot be asked; `why` says why")]
    why: Annotated[str, Field(description="why there is no set, in words")]
    address: Annotated[str, Field(description="the page with the answer")]


class VariantTableOut(Document):
    """What a specification makes of every variant that it is for."""

    name: str
    version: int
    title: str
    currency: str
    rows: list[VariantRowOut]
    resolved: int
    left_out: Annotated[int, Field(description="variants beyond those that one table takes")]


class VariantDifferenceOut(Document):
    """What two versions make of one variant."""

    variant: str
    title: str
    before: Annotated[VariantRowOut, Field(description="what the earlier version makes of it")]
    after: Annotated[VariantRowOut, Field(description="what the later version makes of it")]
    told: Annotated[bool, Field(description="false: one of the two was not answered, so nothing is compared")]
    same: Annotated[bool, Field(description="both versions make the same of it")]
    changes: Annotated[int | None, Field(description="more changes; null: one of the two has no set")]
    price: Annotated[MoneyOut, Field(description="more for parts; null: not known, or one has no set")]
    minutes: Annotated[
        int | None, Field(description="more minutes of labour; null: one of the two has no set")
    ]
    came: Annotated[list[str], Field(description="`number@position` that the later version has alone")]
    went: list[str]


class BuildToNewOut(Document):
    """A vehicle built to the earlier version: what it would take to bring it to the later one."""

    build: str
    chassis: str
    variant: str
    note: str
    takes: Annotated[StillOpenOut | None, Field(description="null: `why` says why it cannot be told")]
    why: str


class VersionsComparedOut(Document):
    """What two versions of a specification make of its variants and of what was built to the earlier one."""

    name: str
    from_version: int
    to_version: int
    currency: str
    variants: list[VariantDifferenceOut]
    builds: list[BuildToNewOut]
    left_out: int
