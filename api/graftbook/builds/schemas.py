"""What builds and specifications look like in JSON."""

from datetime import date
from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field, StringConstraints
from typing_extensions import TypedDict

from graftbook.builds.stored.documents import BuildLineOut, KeptLimitsOut, KeptWishOut, SpecificationLineOut
from graftbook.catalogue.format.fields import NOT_PRINTED, SLUG_PATTERN, clean
from graftbook.document import Document
from graftbook.http.fields import Day, Sits, Unsaid, Word
from graftbook.http.parameters import PageOut
from graftbook.questions.schemas import EVERY_CRITERION, Body, LimitsIn, Preference, WishIn

Slug = Annotated[str, StringConstraints(pattern=SLUG_PATTERN)]
_CLEAN = Field(json_schema_extra={"pattern": rf"^[^{NOT_PRINTED}]*$"})
Remark = Annotated[str, BeforeValidator(clean), StringConstraints(max_length=2000), _CLEAN]
"""Free text, stored without space around it; control characters and marks of direction are refused."""
_TITLE = Field(json_schema_extra={"pattern": rf"^[^{NOT_PRINTED}]*[^\s{NOT_PRINTED}][^{NOT_PRINTED}]*$"})


class BuildIn(Body):
    """One real vehicle: what it is, what is fitted to it today, what is decided for it."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "chassis": "24PL-018412",
                    "options": ["heater"],
                    "fitted": {},
                    "on_the_bench": ["QB-3310"],
                    "decided": [{"fit": "QB-3310"}],
                    "note": "the red one",
                }
            ]
        }
    )

    chassis: Word = Field(description="chassis number")
    variant: Word | None = Field(None, description="the variant it should be; checked when given")
    built: Day | None = None
    options: Annotated[list[Word], Field(max_length=100)] = Field([])
    fitted: Sits = Field({})
    on_the_bench: Annotated[list[Word], Field(max_length=1_000)] = Field([])
    decided: Annotated[list[WishIn], Field(max_length=200)] = Field([], description="wishes decided for it")
    note: Remark = ""

    def stated(self) -> dict[str, Any]:
        """All of it as an event tells it; its names settled already."""
        return {
            "variant": self.variant or "",
            "chassis": self.chassis,
            "built": self.built.isoformat() if isinstance(self.built, date) else None,
            "options": sorted(self.options),
            "fitted": dict(sorted(self.fitted.items())),
            "on_the_bench": sorted(set(self.on_the_bench)),
            "decided": [wish.model_dump(exclude_unset=True) for wish in self.decided],
            "note": self.note,
        }


class BuildCreateIn(BuildIn):
    """A new build and its name."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"name": "red-van", "chassis": "24PL-018412", "options": ["heater"]}]}
    )

    name: Slug
    taken_in: Unsaid[Day] = Field(
        None, description="the day as of which this is so, the first that can be asked about; empty: today"
    )


class BuildChangeIn(BuildIn):
    """A build as it is from today on. What only its records tell is sent as it was read, or left out."""

    taken_in: Day | None = Field(None, description="as it was read")
    built_to: Word | None = Field(None, description="as it was read")

    def told_by_records(self) -> dict[str, str | None]:
        """What was sent of that."""
        day = self.taken_in.isoformat() if isinstance(self.taken_in, date) else None
        by_records = {"taken_in": day, "built_to": self.built_to}
        return {field: by_records[field] for field in by_records if field in self.model_fields_set}


class SpecificationIn(Body):
    """Wishes, limits and preference that a house builds to; each change makes a new version."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "title": "House standard: stops well, looks original",
                    "variants": ["24P-21-L"],
                    "wishes": [{"fit": "QB-3310"}],
                    "limits": {"effort_at_most": "machining"},
                }
            ]
        }
    )

    title: Annotated[str, BeforeValidator(clean), StringConstraints(min_length=1, max_length=300), _TITLE]
    variants: Annotated[list[Word], Field(max_length=500)] = Field([], description="empty: every variant")
    wishes: Annotated[list[WishIn], Field(max_length=200)] = Field([])
    limits: LimitsIn = LimitsIn()
    preference: Preference = EVERY_CRITERION
    note: Remark = Field("", description="why this version")


class SpecificationCreateIn(SpecificationIn):
    """A new specification and its name."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"name": "house-standard", "title": "House standard", "wishes": [{"fit": "QB-3310"}]}
            ]
        }
    )

    name: Slug


class BuildsOut(PageOut):
    """A page of builds."""

    items: list[BuildLineOut]


class SpecificationsOut(PageOut):
    """A page of specifications."""

    items: list[SpecificationLineOut]


_Value = str | list[str] | KeptLimitsOut
ChangedOut = TypedDict(
    "ChangedOut",
    {
        "from": Annotated[_Value, Field(description="as the earlier version has it")],
        "to": Annotated[_Value, Field(description="as the later version has it")],
    },
)
ChangedOut.__doc__ = "A field that two versions have otherwise."


class ComparisonOut(Document):
    """What changed from one version of a specification to another."""

    name: str
    from_version: int
    to_version: int
    wishes_added: list[KeptWishOut]
    wishes_removed: list[KeptWishOut]
    changed: Annotated[
        dict[str, ChangedOut], Field(description="other fields that differ, each with both values")
    ]
