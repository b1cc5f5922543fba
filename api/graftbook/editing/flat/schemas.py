"""What flat lists look like in JSON."""

from typing import Annotated

from pydantic import ConfigDict, Field

from graftbook.catalogue.format.fields import NOT_PRINTED
from graftbook.document import Document, MomentOut
from graftbook.editing.flat.changes import FlatChangeOut
from graftbook.editing.flat.mapping import FieldWord
from graftbook.http.parameters import PageOut
from graftbook.questions.schemas import Body

Answer = Annotated[str, Field(min_length=1, max_length=300, pattern=rf"^[^{NOT_PRINTED}]*$")]


class FlatDecisionsIn(Body):
    """Answers to the questions of a list, kept with its mapping."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"answers": {"fits:24 vna": "24 van", "price_mark:*": "point"}}]}
    )

    answers: Annotated[dict[str, Answer | None], Field(min_length=1, max_length=1_000)] = Field(
        description="`key` of the question, or `kind:*` where it takes one answer for all of its kind → the "
        "`value` of a choice, or what is typed where it says `typed`; null: ask again",
    )


class FlatMappingOut(Document):
    """A mapping as it is kept, with the same members as are sent."""

    columns: Annotated[dict[FieldWord, str], Field(description="field → head of its column")]
    head_line: Annotated[int, Field(description="line in which the heads stand", examples=[1])]
    range: Annotated[str, Field(description="the range; empty: the only one")]
    supplier: Annotated[str, Field(description="whose offers these are, where no column says it")]
    section: Annotated[str, Field(description="the section, where nothing else says it")]
    origin: Annotated[str, Field(description="of numbers that are new", examples=["original"])]
    from_new: Annotated[bool, Field(description="whether the factory fitted the list's parts")]
    currency: Annotated[str, Field(description="ISO 4217; empty: the catalogue's currency")]
    decimal: Annotated[str, Field(description="what stands before the decimals", examples=["ask"])]
    days: Annotated[str, Field(description="how 03/04/1968 is meant", examples=["ask"])]
    evidence: Annotated[str, Field(description="evidence that fitments and supersessions name")]


class FlatTakenOut(Document):
    """The last issue of a list that was taken."""

    file: Annotated[str, Field(description="name of its file", examples=["march.csv"])]
    revision: Annotated[int, Field(description="catalogue revision that it made", examples=[12])]
    numbers: Annotated[int, Field(description="part numbers that it told of", examples=[1961])]


class FlatListOut(Document):
    """A list that comes in issues: its mapping, what was decided, and where it stands."""

    name: Annotated[str, Field(description="name of the list", examples=["works-spares"])]
    mapping: Annotated[FlatMappingOut, Field(description="which column is what")]
    decisions: Annotated[dict[str, str], Field(description="answers by the key of their question")]
    file: Annotated[str, Field(description="file of the issue in hand; empty: none")]
    rows: Annotated[int, Field(description="rows of that issue, the heads included", examples=[2001])]
    heads: Annotated[list[str], Field(description="heads of its columns")]
    taken: Annotated[FlatTakenOut | None, Field(description="the last issue that was taken")]
    changed: Annotated[MomentOut, Field(description="when the list was last changed")]


class FlatListLineOut(Document):
    """A list among others."""

    name: Annotated[str, Field(description="name of the list", examples=["works-spares"])]
    file: Annotated[str, Field(description="file of the issue in hand; empty: none")]
    decisions: Annotated[int, Field(description="answers that are kept", examples=[41])]
    taken: Annotated[FlatTakenOut | None, Field(description="the last issue that was taken")]


class FlatListsOut(PageOut):
    """A page of flat lists, by name."""

    items: list[FlatListLineOut]


class FlatChoiceOut(Document):
    """An answer that is offered."""

    value: Annotated[str, Field(description="what is sent and kept", examples=["point"])]
    words: Annotated[
        str, Field(description="what it means", examples=["the point stands before the decimals"])
    ]


class FlatQuestionOut(Document):
    """Something that cannot be decided."""

    key: Annotated[str, Field(description="what the answer is kept under", examples=["fits:24 vna"])]
    kind: Annotated[str, Field(description="kind of question", examples=["fits"])]
    sentence: Annotated[str, Field(description="what is unclear")]
    choices: list[FlatChoiceOut]
    typed: Annotated[str, Field(description="what may be typed instead, such as `vehicle`; empty: nothing")]
    for_all: Annotated[bool, Field(description="whether `kind:*` takes one answer for all of the kind")]
    lines: Annotated[list[int], Field(description="lines of the list, the first twenty", examples=[[14]])]
    count: Annotated[int, Field(description="lines in all", examples=[1])]
    numbers: Annotated[int, Field(description="part numbers that wait for it", examples=[1])]


class FlatToldOut(Document):
    """Something that was read in one way without asking, or passed over."""

    line: Annotated[int, Field(description="line of the list; 0: the list as a whole", examples=[14])]
    number: Annotated[str, Field(description="part number; empty: none", examples=["FL-0014"])]
    sentence: str


class FlatIssueOut(Document):
    """What the issue that is worked at becomes."""

    rows: Annotated[int, Field(description="rows in which something stands", examples=[1994])]
    numbers: Annotated[int, Field(description="part numbers", examples=[1970])]
    ready: Annotated[int, Field(description="numbers that can be taken now", examples=[1815])]
    unchanged: Annotated[int, Field(description="numbers told as when they were taken", examples=[0])]
    waiting: Annotated[int, Field(description="numbers that wait for an answer", examples=[155])]
    new: Annotated[int, Field(description="ready numbers that the catalogue does not know", examples=[1815])]
    records: Annotated[dict[str, int], Field(description="records that `take` would load, by kind")]
    removed: Annotated[dict[str, int], Field(description="records that `take` would take out, by kind")]
    questions: Annotated[list[FlatQuestionOut], Field(description="the first 500, what decides most first")]
    question_count: Annotated[int, Field(description="questions in all", examples=[164])]
    changes: Annotated[
        list[FlatChangeOut], Field(description="against the last issue taken: the first 5,000")
    ]
    change_counts: Annotated[dict[str, int], Field(description="changes in all, by kind")]
    assumed: Annotated[list[str], Field(description="how the file was read")]
    told: Annotated[list[FlatToldOut], Field(description="what was assumed or passed over: the first 5,000")]
    untold: Annotated[int, Field(description="how much more of it there is", examples=[0])]


class FlatTakeOut(Document):
    """What taking an issue did, or would do."""

    dry_run: bool
    changed: Annotated[int, Field(description="records that say something else now", examples=[5530])]
    catalogue_revision: Annotated[int | None, Field(description="null after a dry run")]
    taken: Annotated[int, Field(description="part numbers that were taken", examples=[1815])]
    waiting: Annotated[int, Field(description="part numbers that still wait for an answer", examples=[155])]
