"""What forms send becomes what was meant: the quick part, without a service."""

from io import BytesIO

import pytest
from pydantic import ValidationError
from starlette.datastructures import FormData, UploadFile

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sheets import Mistake, Place
from graftbook.pages.asking.component import holds_for
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.checking.typed_list import ListEntry, read_list
from graftbook.pages.editing.edit import what_is_wrong_with
from graftbook.pages.editing.forms import columns, read, record_form
from graftbook.pages.editing.sheet_form import LONGEST_SHEET, lines_with_mistakes, sheet_in
from graftbook.pages.ordering.delivery import log_of, whole
from graftbook.pages.ordering.ordered import PageOrder
from graftbook.problems import InvalidRequest


async def sent(**fields: str | bytes) -> tuple[str, str]:
    form = FormData(
        [
            (name, UploadFile(BytesIO(value), filename="s.csv") if isinstance(value, bytes) else value)
            for name, value in fields.items()
        ]
    )
    return await sheet_in(form, "Load it by the command.")


@pytest.mark.anyio
async def test_the_longest_sheet_is_read_and_a_letter_more_is_not() -> None:
    longest = "a" * LONGEST_SHEET
    for field in ({"sheet": longest}, {"file": longest.encode()}):
        assert await sent(**field) == (longest, "")
    for field in ({"sheet": longest + "a"}, {"file": longest.encode() + b"a"}):
        text, refused = await sent(**field)
        assert text == ""
        assert refused.endswith("bytes. Load it by the command.")


@pytest.mark.anyio
async def test_a_file_stands_in_the_place_of_what_was_pasted_and_lines_end_alike() -> None:
    assert await sent(sheet="a", file="\ufeffb\r\nc\rd".encode()) == ("b\nc\nd", "")
    assert await sent(sheet="a\r\nb") == ("a\nb", "")
    assert (await sent(sheet=" \n"))[1] == "Choose a file, or paste the sheet."
    assert (await sent(file="ü;b".encode("cp1252"))) == ("ü;b", "")
    assert (await sent(file="ü".encode("utf-16"))) == ("ü", "")
    assert "no text that can be read" in (await sent(file=b"\x81\xff"))[1]


@pytest.mark.anyio
@pytest.mark.parametrize(
    ("file", "told"),
    [
        (b" \n", "The file is empty."),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "no text that can be read"),
        (b"%PDF-1.4\n1 0 obj\n", "This is no text that can be read; save the sheet as CSV"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(40),
            "This is no text that can be read; save the sheet as CSV",
        ),
        (b"\x81\xff", "no text that can be read"),
    ],
)
async def test_a_file_that_is_no_sheet_is_named_as_such_and_what_was_pasted_stays(
    file: bytes, told: str
) -> None:
    """The first bytes of PNG (RFC 2083, 3.1), PDF (ISO 32000-1, 7.5.2) and older workbooks (MS-CFB, 2.2)."""
    text, refused = await sent(sheet="[evidence]", file=file)
    assert told in refused
    assert text == "[evidence]"


def test_a_count_is_a_whole_number_of_at_most_seven_digits() -> None:
    for text, count in {"": 0, " ": 0, "0": 0, " 4 ": 4, "9999999": 9_999_999}.items():
        assert whole({"came": text}, "came") == count
    for text in ("10000000", "-1", "4.0", "²", "four"):
        with pytest.raises(InvalidRequest, match="A count is a whole number"):
            whole({"came": text}, "came")


@pytest.mark.parametrize("kind", KIND_BY_WORD)
def test_the_form_asks_for_what_a_record_cannot_be_without(kind: str) -> None:
    with pytest.raises(ValidationError) as refused:
        KIND_BY_WORD[kind].model_validate({})
    without = {mistake["loc"][0] for mistake in refused.value.errors() if mistake["type"] == "missing"}
    assert {column.name for column in columns(kind) if column.needed} == without != set()


def test_why_is_a_line_of_five_hundred_letters_at_most() -> None:
    assert not any(what_is_wrong_with(why) for why in ("measured", "a" * 500))
    assert what_is_wrong_with("a" * 501) == "At most 500 characters."
    assert what_is_wrong_with("").startswith("Say in a sentence why")
    assert what_is_wrong_with("a\nb") == what_is_wrong_with("a\x07") == "One line of plain text."


@pytest.mark.parametrize(
    ("kind", "form", "fixed"),
    [
        ("component", {}, {"number"}),
        ("fitment", {}, {"component", "position", "name"}),
        ("fitment", {"head.name": "left"}, {"name"}),
        ("section", {"head.name": "brakes"}, {"name"}),
    ],
)
def test_what_a_known_record_is_called_after_cannot_be_changed(
    kind: str, form: dict[str, str], fixed: set[str]
) -> None:
    made = record_form(kind, form, known=True)
    every = (*made.fields, *made.when)
    assert {field.column.name for field in every if field.fixed} == fixed
    assert not [field for field in record_form(kind, form).fields if field.fixed]


def test_each_line_with_mistakes_is_told_once_with_its_text() -> None:
    def wrong(line: int, field: str) -> Mistake:
        return Mistake(Place("sheet", line), "section", field, "is no number")

    told = lines_with_mistakes("one\ntwo", [wrong(2, "order"), wrong(1, ""), wrong(2, "x"), wrong(3, "")])
    assert told == [
        {"line": 1, "text": "one", "wrong": ["Is no number"]},
        {"line": 2, "text": "two", "wrong": ["order: is no number", "x: is no number"]},
        {"line": 3, "text": "", "wrong": ["Is no number"]},
    ]
    assert lines_with_mistakes("one\ntwo", [wrong(0, "twin")]) == [
        {"line": 0, "text": "", "wrong": ["twin: is no number"]}
    ], "a mistake of the whole has no line"


@pytest.mark.parametrize(
    ("record", "words"),
    [
        ({}, "every vehicle"),
        ({"range": "24"}, "all of the 24 vans"),
        ({"range": "32"}, "all of 32"),
        ({"chassis_from": 500}, "chassis from 500"),
        ({"chassis_to": 499, "built_from": "1976-10-01"}, "chassis to 499; built from 1 October 1976"),
        (
            {"generations": ["24", "32"], "built_from": "1972-09-01", "built_to": "1976-09-30"},
            "generation 24 or 32; built from 1 September 1972 to 30 September 1976",
        ),
        ({"steering": "left", "options": ["heater"], "without": ["servo"]},
         "left-hand drive; with heater; without servo"),
    ],
)  # fmt: skip
def test_for_which_vehicles_a_record_holds_is_said_in_words(record: dict, words: str) -> None:
    assert holds_for(record, {"24": "the 24 vans"}).replace("\u00a0", " ") == words


def test_the_place_in_a_table_is_its_column_or_what_stands_behind_the_number() -> None:
    table = "number,count,position\nQB-1,,front\nQB-2 @ rear,1,\nQB-3 @ rear,1,front\n,,\nQB-4,3,\n"
    entries, unread = read_list(table)
    assert unread == ()
    assert entries == (
        ListEntry(2, "QB-1", 1, "front"), ListEntry(3, "QB-2", 1, "rear"), ListEntry(4, "QB-3", 1, "front"),
        ListEntry(6, "QB-4", 3),
    )  # fmt: skip


def test_one_at_a_position_may_be_counted_and_two_may_not() -> None:
    assert read_list("1 x QB-1 @ front") == ((ListEntry(1, "QB-1", 1, "front"),), ())
    (unread,) = read_list("2 x QB-1 @ front")[1]
    assert unread.why == "at one position sits one; give each its own line"


def test_a_count_belongs_to_the_number_before_it_and_more_may_follow_on_the_line() -> None:
    entries = ListEntry(1, "QB-1", 2), ListEntry(1, "QB-2", 3), ListEntry(1, "QB-3", 1)
    assert read_list("QB-1; 2; QB-2; 3; QB-3") == (entries, ())


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("old", "new"), ("old@front", "new@front"), ("front=old", "front=new"), ("old=brake", "new=brake"),
        ("older", "older"), ("front@older", "front@older"), ("a@b", "a@b"),
    ],
)  # fmt: skip
def test_a_name_is_put_in_the_place_of_another_wherever_it_stands(before: str, after: str) -> None:
    question = PageQuestion((("chassis", "1"), ("fit", before)))
    assert question.instead("old", "new").pairs == (("chassis", "1"), ("fit", after))


def test_a_further_vehicle_takes_the_wishes_of_the_first_or_brings_its_own() -> None:
    first = PageOrder(PageQuestion((("chassis", "24PL-1"), ("fit", "QB-1"), ("as_of", "3"))))
    by_number = first.adding(" 24PL-2 ")
    assert by_number.question == first.question
    assert [one.pairs for one in by_number.also] == [(("chassis", "24PL-2"), ("fit", "QB-1"))]
    three = by_number.adding("http://x/answer?chassis=24PL-3&fit=QB-2#top").adding("24PL-4")
    assert [one.value("chassis") for one in three.also] == ["24PL-2", "24PL-3", "24PL-4"]
    assert three.also[1].pairs == (("chassis", "24PL-3"), ("fit", "QB-2"))
    for number, left in ((0, ["24PL-3", "24PL-4"]), (1, ["24PL-2", "24PL-4"]), (2, ["24PL-2", "24PL-3"])):
        assert [one.value("chassis") for one in three.taking_out(number).also] == left
    with pytest.raises(InvalidRequest, match="names no vehicle"):
        first.adding("http://x/answer?fit=QB-2")


def test_another_day_or_number_of_suppliers_takes_the_place_of_the_one_asked() -> None:
    asked = PageOrder(PageQuestion(), terms={"by": "2026-12-01", "fastest": "true"})
    assert asked.buying("2026-12-09", 2).terms == {
        "fastest": "true", "by": "2026-12-09", "at_most_suppliers": "2",
    }  # fmt: skip
    assert asked.buying(None, None).terms == {"fastest": "true"}


def test_a_booking_is_said_in_words_the_newest_first() -> None:
    def line(came: int, promised: int, never: int, day: str = "") -> dict:
        return {
            "number": "QB-1", "name": "Pad", "pack": 1, "received": came, "back_ordered": promised,
            "given_up": never, "promised": day,
        }  # fmt: skip

    told = log_of([{"lines": [line(2, 1, 0)]}, {"lines": [line(0, 3, 1, "5 May 2026"), line(0, 0, 0)]}])
    words = [[row["words"] for row in booking["said"]] for booking in told]
    assert "3 promised for 5 May 2026" in " ".join(words[0][0].replace(" pieces", "").split())
    assert words[0][0].endswith("will not come")
    assert words[0][1] == "nothing came"
    assert "came; " in words[1][0]
    assert words[1][0].endswith("promised for later")


def test_empty_rows_of_a_form_are_left_out_and_the_rest_keep_their_numbers() -> None:
    form = {
        "head.name": "pads", "head.component": "QB-1", "head.kind": "required",
        "0.fit": "QB-2", "1.fit": " ", "2.fit": "QB-3", "x.fit": "QB-4", "12345.fit": "QB-5",
    }  # fmt: skip
    rows, numbers = read("companion", form)
    assert numbers == [0, 2]
    assert [row["fit"] for row in rows] == ["QB-2", "QB-3"]
    assert rows[0]["component"] == "QB-1"
    assert rows[1]["name"] == "pads"
    assert "component" not in rows[1], "what the rule says stands in its first row"
    assert read("section", {"head.name": "brakes"})[1] == [0]
