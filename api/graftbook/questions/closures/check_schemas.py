"""What the arithmetic of a set looks like in answers."""

from typing import Annotated, Literal

from pydantic import Field

from graftbook.document import Document


class FigureOut(Document):
    """A figure of a check, today and with the set."""

    name: Annotated[str, Field(description="what the figure is")]
    before: Annotated[float | None, Field(description="of the vehicle as it stands; null: not determined")]
    after: Annotated[float | None, Field(description="with the set fitted; null: not determined")]
    unit: Annotated[str, Field(description="unit of the figure; empty: it has none")]


class LimitOut(Document):
    """The limit that a figure is held against, and where it comes from."""

    text: Annotated[str, Field(description="the limit in words")]
    source: Annotated[str, Field(description="law, standard or book that it comes from")]
    clause: Annotated[str, Field(description="where it stands in the source; may be empty")]
    provenance: Annotated[str, Field(description="how the figure was come by")]
    value: Annotated[float | None, Field(description="the limit; null: it is no number")]
    unit: Annotated[str, Field(description="unit of the limit; empty: it has none")]


VerdictWord = Literal["holds", "caution", "fails", "not determined"]
KindWord = Literal["worse", "newly not determined", "already so", "mended", "holds", "not determined"]


class FindingOut(Document):
    """What one check finds of one subject."""

    check: str
    subject: str
    kind: Annotated[
        KindWord,
        Field(
            description="whose it is: `worse` and `newly not determined` are the set's doing, `already "
            "so` is "
            "as bad today, `mended` is better with the set, `holds` is as it should be, `not determined` "
            "is so "
            "today as well"
        ),
    ]
    verdict: Annotated[VerdictWord, Field(description="with the set fitted")]
    verdict_today: Annotated[
        VerdictWord, Field(description="of the vehicle as it stands, by the limit that applies to it")
    ]
    applies_today: Annotated[
        bool,
        Field(
            description="false where there is nothing to check on the vehicle as it stands; "
            "`verdict_today` is "
            "`not determined` then"
        ),
    ]
    changed: Annotated[bool, Field(description="the set changes its verdict or a figure")]
    better: Annotated[
        bool,
        Field(description="of what was `already so`: the set brings it nearer to its limit, not within it"),
    ]
    sentence: Annotated[str, Field(description="the finding in words")]
    figures: list[FigureOut]
    limit: Annotated[LimitOut | None, Field(description="the limit it is held against; null: there is none")]
    components: Annotated[list[str], Field(description="numbers that the finding is about")]
    missing: Annotated[list[str], Field(description="characteristics that are not recorded")]
    impossible: Annotated[list[str], Field(description="characteristics recorded as what they cannot be")]
    mend: Annotated[str | None, Field(description="what would mend it; null: nothing is known")]
    caution: Annotated[
        str | None, Field(description="what can hurt somebody here; null: nothing more than usual")
    ]


class ChecksOut(Document):
    """The arithmetic of the set: brakes, current, driveline, joints."""

    verdict: Annotated[
        VerdictWord,
        Field(
            description="the worst of what the set makes worse or leaves undetermined; `holds` when there is "
            "nothing of that, whatever was so already"
        ),
    ]
    sentence: Annotated[str, Field(description="what the set makes worse, in words")]
    counts: Annotated[dict[KindWord, int], Field(description="how many findings there are of each kind")]
    findings: Annotated[
        list[FindingOut],
        Field(
            description="every one, also what is unchanged or not determined; to ask for the whole answer is "
            "to ask for them, a summary counts those"
        ),
    ]
