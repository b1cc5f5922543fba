"""The kinds of record about how people speak: named upgrades, and other words for the catalogue's own."""

from pydantic import Field

from graftbook.catalogue.format.fields import Name, Names, Record, Sentence, Stated, Texts


class UpgradeRecord(Stated):
    """What customers order by one name: the wishes that belong to it, for the vehicles that it holds for."""

    kind_of_record = "upgrade"
    name: Name = Field(description="short name")
    title: Sentence = Field(description="as the counter says it: `front discs`")
    called: Texts = Field([], description="what else people call it")
    fit: Names = Field([], description="numbers to fit; `number@position` where only that place is meant")
    remedy: Names = Field([], description="flaws to remedy, by name")


class OtherWordRecord(Record):
    """What people say, and the catalogue's words for it: whoever looks for the one finds the other."""

    kind_of_record = "other_word"
    said: Name = Field(description="a word or a few, in the singular: `generator`")
    means: Texts = Field(description="the catalogue's words: `dynamo`", min_length=1)
