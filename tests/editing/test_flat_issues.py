"""A flat list over its issues: the decided is taken, answers stay, the next one shows what changed."""

import csv
import io
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.history.snapshots import images, rows_in
from graftbook.catalogue.loading import imports
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import Load
from graftbook.database import make_engine, reading
from graftbook.editing.flat import service
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.questions import ListQuestion
from graftbook.editing.records.service import Author, record_state, take_back
from graftbook.problems import InvalidRequest, PreconditionFailed, TooLarge
from tests import locks
from tests.catalogue.sheet import sheet
from tests.editing.dirty_list import COLUMNS, HEADS, Cells, dirty_list, written
from tests.editing.test_dirty_list import truths_in

AUTHOR = Author("tests", "the list")
NAME = "spares"


@pytest.fixture
def engine(demo_copy: Callable[[], str]) -> Iterator[Engine]:
    engine = make_engine(demo_copy())
    yield engine
    engine.dispose()


def begin(engine: Engine, **said: Any) -> None:
    mapping = FlatMapping.model_validate({"columns": COLUMNS, "origin": "modern", **said})
    service.put_mapping(engine, NAME, mapping, None)


def put(engine: Engine, *rows: Cells) -> Any:
    """An issue of these rows, looked at."""
    full = [dict.fromkeys(HEADS, "") | row for row in rows]
    service.put_issue(engine, NAME, "list.csv", written(full).encode())
    return service.look(engine, NAME)[1]


def take(engine: Engine, *, dry_run: bool = False) -> Any:
    etag = service.flat_list(engine, NAME).etag
    report, found = service.take(engine, NAME, etag, AUTHOR, dry_run=dry_run)
    assert report.ok, [str(m) for m in report.mistakes[:5]]
    return report, found


def answer(engine: Engine, question: ListQuestion, value: str) -> None:
    assert value in {choice.value for choice in question.choices} or question.typed
    service.decide(engine, NAME, {question.key: value})


def stored(engine: Engine, numbers: list[str]) -> list[dict[str, Any]]:
    """The records that the catalogue has of some numbers."""
    with reading(engine) as session:
        connection = session.connection()
        found = []
        for kind, sql in (
            ("component", "SELECT number FROM component"),
            ("fitment", "SELECT claim FROM fitment"),
            ("offer", "SELECT name FROM offer"),
            ("supersession", "SELECT claim FROM supersession"),
        ):
            names = connection.exec_driver_sql(sql).scalars().all()
            for image in images(connection, kind, names).values():
                found += [{"record": kind, **row} for row in rows_in(image)]
    return [one for one in found if {one.get("component"), one.get("number"), one.get("new")} & set(numbers)]


@pytest.mark.timeout(600)
def test_the_dirty_list_is_worked_through_and_the_next_issue_asks_nothing_again(engine: Engine) -> None:
    dirty = dirty_list()
    begin(engine)
    service.put_issue(engine, NAME, "march.csv", dirty.text.encode())
    report, found = take(engine)
    assert found.ready > 1_700
    said = truths_in(stored(engine, list(dirty.clean)))
    for number, truth in dirty.clean.items():
        assert said[number] == truth, number
    for _ in range(6):
        found = service.look(engine, NAME)[1]
        if not found.questions:
            break
        answers = {one.key: one.choices[0].value if one.choices else "something" for one in found.questions}
        service.decide(engine, NAME, answers)
    assert not found.questions, found.questions[:3]
    take(engine)
    assert not service.flat_list(engine, NAME).rows, "the issue is done"

    rows = list(csv.DictReader(io.StringIO(dirty.text), delimiter=";"))
    clean = [row for row in rows if row["Part No"] in dirty.clean and not row["Formerly"]]
    by_number = {row["Part No"]: row for row in clean}
    named = {row["Formerly"] for row in rows}
    gone, dearer, shifted = [
        [number for number in sorted(by_number) if number not in named][at::500][:3] for at in (1, 2, 3)
    ]
    for number in dearer:
        by_number[number]["Price"] = "44.44"
    for number in shifted:
        by_number[number] |= {"Model": "24P-17-R", "From": "24PR-000500", "To": ""}
    new = {**by_number[dearer[0]], "Part No": "FL-9001"}
    issue = written([row for row in rows if row["Part No"] not in gone] + [new])
    service.put_issue(engine, NAME, "april.csv", issue.encode())
    _, second = service.look(engine, NAME)
    assert {one.kind for one in second.questions} <= {"gone", "price_jump"}, second.questions
    told = {
        what: [c["number"] for c in second.changes if c["what"] == what]
        for what in ("new", "gone", "price", "span")
    }
    assert told == {"new": ["FL-9001"], "gone": gone, "price": dearer, "span": shifted}
    assert [c for c in second.changes if c["what"] == "other"] == []
    service.decide(
        engine, NAME, {"gone:*": "ended"} | {q.key: "new" for q in second.questions if q.kind == "price_jump"}
    )
    report, _ = take(engine)
    assert {record_state(engine, "component", one).rows[0]["supply"] for one in gone} == {
        "no longer supplied"
    }
    assert 0 < report.changed < 40, "only what moved is touched"
    take_back(engine, report.revision, AUTHOR)
    assert "supply" not in record_state(engine, "component", gone[0]).rows[0]


ROW = {
    "Part No": "FL-1",
    "Description": "oil filter",
    "Model": "24P-17-R",
    "Price": "4.50",
    "Seller": "works",
}


def test_what_the_catalogue_alone_knows_stays(engine: Engine) -> None:
    """Minutes, evidence, hazard: a list knows nothing of them."""
    begin(engine)
    before = record_state(engine, "component", "QB-3310").rows[0]
    put(engine, {"Part No": "qb 3310", "Price": "99.00", "Seller": "works"})
    found = service.look(engine, NAME)[1]
    service.decide(engine, NAME, {q.key: "list" for q in found.questions})
    take(engine)
    assert record_state(engine, "component", "QB-3310").rows[0] == before
    assert record_state(engine, "offer", "works:QB-3310").rows[0]["price"] == "99.00"


def test_a_hand_made_correction_stays_until_the_list_says_something_new(engine: Engine) -> None:
    begin(engine)
    put(engine, ROW)
    take(engine)
    offer = {"record": "offer", "supplier": "works", "component": "FL-1", "price": "4.75"}
    load(engine, [offer])
    assert not put(engine, ROW).questions
    take(engine)
    assert record_state(engine, "offer", "works:FL-1").rows[0]["price"] == "4.75"
    asked = put(engine, {**ROW, "Price": "5.00"}).questions
    assert [one.kind for one in asked] == ["offer_differs"]
    answer(engine, asked[0], "list")
    take(engine)
    assert record_state(engine, "offer", "works:FL-1").rows[0]["price"] == "5.00"


def test_the_same_issue_again_has_nothing_to_take(engine: Engine) -> None:
    begin(engine)
    rows = [ROW, {**ROW, "Part No": "FL-2", "Place": "battery", "Formerly": "FL-1"}]
    put(engine, *rows)
    take(engine)
    again = put(engine, *rows)
    assert (again.unchanged, again.ready, again.objects, again.changes) == (2, 0, [], [])
    report, _ = take(engine)
    assert report.changed == 0
    assert not service.flat_list(engine, NAME).rows, "it is done all the same"


def test_a_part_that_moves_to_another_place_leaves_the_old_one(engine: Engine) -> None:
    begin(engine)
    put(engine, ROW)
    take(engine)
    put(engine, {**ROW, "Place": "battery"})
    take(engine)
    fitments = [one for one in stored(engine, ["FL-1"]) if one["record"] == "fitment"]
    assert [one["position"] for one in fitments] == ["battery"]


def test_a_large_list_that_removes_something_is_worked_out_while_others_edit(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imports, "SMALL", 0)
    begin(engine)
    put(engine, ROW)
    take(engine)
    moved = put(engine, {**ROW, "Place": "battery"})
    assert moved.removals
    free = locks.free_at(monkeypatch, engine, Load, "run")
    take(engine)
    assert free == [True]
    fitments = [one for one in stored(engine, ["FL-1"]) if one["record"] == "fitment"]
    assert [one["position"] for one in fitments] == ["battery"]


def test_an_answer_that_cannot_be_used_is_asked_again_and_says_so(engine: Engine) -> None:
    begin(engine)
    slip = "Qiullan 24 panel van 1.7, right-hand drive, home"
    (asked,) = put(engine, {**ROW, "Model": slip}).questions
    assert asked.choices[0].value == "24P-17-R", "commas of a title do not part it"
    (asked,) = put(engine, {**ROW, "Model": "24P-17-X"}).questions
    answer(engine, asked, "the red one")
    (again,) = service.look(engine, NAME)[1].questions
    assert "“the red one” is not known either" in again.sentence
    answer(engine, again, "24 van")
    assert not service.look(engine, NAME)[1].questions


def test_one_answer_for_all_of_a_kind(engine: Engine) -> None:
    begin(engine)
    rows = [{**ROW, "Part No": f"FL-{n}", "Price": f"{n},250"} for n in (1, 2, 3)]
    asked = put(engine, *rows).questions
    assert len(asked) == 3
    assert all(one.for_all for one in asked)
    service.decide(engine, NAME, {service.for_all("price_mark"): "point"})
    found = service.look(engine, NAME)[1]
    assert [one["price"] for one in found.objects if one["record"] == "offer"] == [
        "1250.00",
        "2250.00",
        "3250.00",
    ]


@pytest.mark.parametrize(
    ("kind", "each", "value"),
    [
        ("section", [{"Description": "odd thing"}, {"Description": "odder thing"}], "engine"),
        ("price", [{"Price": "on request"}, {"Price": "to follow"}], "out"),
        ("count", [{"Qty": "pair"}, {"Qty": "a few"}], "2"),
        ("no_variant", [{"Model": "", "From": "12000"}, {"Model": "", "From": "12001"}], "24PR"),
        ("upside_down", [{"From": f"24PR-0120{n}0", "To": "24PR-011000"} for n in (1, 2)], "swap"),
        ("price_jump", [{"Price": "45.00"}, {"Price": "46.00"}], "new"),
    ],
)
def test_what_repeats_from_row_to_row_has_one_answer_for_all(
    engine: Engine, kind: str, each: list[Cells], value: str
) -> None:
    begin(engine)
    rows = [ROW | {"Part No": f"FL-{n}"} for n in range(len(each))]
    if kind == "price_jump":
        put(engine, *rows)
        take(engine)
    put(engine, *(row | said for row, said in zip(rows, each, strict=True)))
    if kind == "section":
        service.decide(engine, NAME, {service.for_all("position"): "loose"})
    asked = service.look(engine, NAME)[1].questions
    assert [(one.kind, one.for_all) for one in asked] == [(kind, True)] * 2
    service.decide(engine, NAME, {service.for_all(kind): value})
    assert not service.look(engine, NAME)[1].questions


def test_words_for_sections_are_answered_one_by_one(engine: Engine) -> None:
    """What is said is not known; one answer would put the brakes among the engine's parts."""
    columns = {field: head for field, head in COLUMNS.items() if head != "Place"}
    begin(engine, columns={**columns, "section": "Place"})
    rows = [ROW | {"Part No": f"FL-{n}", "Place": word} for n, word in enumerate(("Brk", "Eng"))]
    asked = put(engine, *rows).questions
    assert [(one.kind, one.for_all) for one in asked] == [("section", False)] * 2


def test_whatever_replaces_a_number_that_waits_waits_too(engine: Engine) -> None:
    begin(engine)
    found = put(engine, {**ROW, "Model": "nonsense"}, {**ROW, "Part No": "FL-2", "Formerly": "FL-1"})
    assert found.waiting == {"FL-1", "FL-2"}
    take(engine)
    assert not stored(engine, ["FL-1", "FL-2"])


def test_a_price_that_moves_ten_fold_is_asked(engine: Engine) -> None:
    begin(engine)
    put(engine, ROW)
    take(engine)
    (asked,) = put(engine, {**ROW, "Price": "45.00"}).questions
    assert asked.kind == "price_jump"
    answer(engine, asked, "old")
    assert not service.look(engine, NAME)[1].questions


def test_a_pack_larger_than_what_is_at_hand_leaves_open_what_is_at_hand(engine: Engine) -> None:
    """Eight are at hand by the catalogue, which are no whole pack of ten."""
    shelf = "[offer]\nsupplier,component,price,stock\nworks,FL-1,4.50,8\n"
    begin(engine)
    put(engine, ROW)
    take(engine)
    assert load(engine, sheet(shelf)).ok
    asked = put(engine, {**ROW, "Box": "10"})
    for question in asked.questions:
        answer(engine, question, "list")
    _, found = take(engine)
    (offer,) = [one for one in stored(engine, ["FL-1"]) if one["record"] == "offer"]
    assert (offer["pack"], offer.get("stock")) == (10, None)
    assert any("has 8 of FL-1 at hand" in told.sentence for told in found.told)


def test_a_trial_keeps_nothing_and_two_editors_do_not_overwrite_each_other(engine: Engine) -> None:
    begin(engine)
    put(engine, ROW)
    old = service.flat_list(engine, NAME).etag
    take(engine, dry_run=True)
    assert not stored(engine, ["FL-1"])
    service.decide(engine, NAME, {"fits:x": "24"})
    with pytest.raises(PreconditionFailed):
        service.take(engine, NAME, old, AUTHOR)


def test_a_column_that_is_not_there_any_more_is_told(engine: Engine) -> None:
    begin(engine)
    service.put_issue(engine, NAME, "list.csv", b"Part No;What\nFL-1;thing\n")
    with pytest.raises(InvalidRequest, match="no column 'Description'"):
        service.look(engine, NAME)


@pytest.mark.parametrize(
    ("content", "error", "told"),
    [
        (b"a;" * 1_000_000, TooLarge, "columns"),
        (b"a,b\n" * 30_000, TooLarge, "rows"),
        (b"x" * 17_000_000, TooLarge, "bytes"),
        (b"a,b\n" + b"y" * 3_000 + b",1\n", TooLarge, "characters"),
        (b"PK\x03\x04rest", InvalidRequest, "workbook is damaged"),
        (b"\x00\x01\x02", InvalidRequest, "CSV or XLSX"),
        (b"\r\n \r\n", InvalidRequest, "empty"),
    ],
)
def test_what_is_no_list_is_refused_politely(engine: Engine, content: bytes, error: Any, told: str) -> None:
    begin(engine)
    with pytest.raises(error, match=told):
        service.put_issue(engine, NAME, "list.csv", content)


def test_a_list_made_of_circles_is_asked_about_in_bounded_work(engine: Engine) -> None:
    """Ten thousand numbers that replace each other in pairs: what is beyond the first circles waits."""
    begin(engine)
    pairs = range(5_000)
    rows = [{**ROW, "Part No": f"A-{n}", "Place": "battery", "Formerly": f"B-{n}"} for n in pairs]
    rows += [{**ROW, "Part No": f"B-{n}", "Place": "battery", "Formerly": f"A-{n}"} for n in pairs]
    started = time.process_time()
    found = put(engine, *rows)
    assert len(found.waiting) == 10_000
    assert len(found.questions) == 201
    assert time.process_time() - started < 30


def test_a_number_in_two_rows_sits_where_each_row_says_in_the_next_issue_too(engine: Engine) -> None:
    """No column says the place; each row's description does, and by then the catalogue knows both places."""
    begin(engine)
    rows = [{**ROW, "Description": "battery"}, {**ROW, "Description": "oil filter", "Model": "24E-21-R"}]
    found = put(engine, *rows)
    for question in found.questions:
        answer(engine, question, "oil filter")
    take(engine)
    again = put(engine, *rows)
    assert (again.questions, again.changes, again.objects) == ([], [], [])


def test_a_number_that_its_rows_call_differently_is_not_said_to_have_no_description(engine: Engine) -> None:
    begin(engine)
    found = put(engine, ROW, {**ROW, "Description": "battery", "Model": "24E-21-R"})
    assert [one.kind for one in found.questions] == ["says"]


@pytest.mark.parametrize(
    ("words", "means"),
    [("16 and 24", {"16", "24"}), ("16 & 24", {"16", "24"}), ("16, 24 and 32", {"16", "24", "32"})],
)
def test_several_vehicles_in_a_cell_are_parted_by_and_too(
    engine: Engine, words: str, means: set[str]
) -> None:
    begin(engine)
    found = put(engine, {**ROW, "Model": words})
    assert not found.questions
    (fitment,) = [one for one in found.objects if one["record"] == "fitment"]
    assert set(fitment["generations"]) == means


@pytest.mark.parametrize(
    ("words", "offered"),
    [("24-van", "24 van"), ("24vna", "24 van"), ("24 lorry", "24"), ("24 lorry lhd", "24 lhd")],
)
def test_what_a_word_for_vehicles_most_likely_means_is_offered_first(
    engine: Engine, words: str, offered: str
) -> None:
    begin(engine)
    (asked,) = put(engine, {**ROW, "Model": words}).questions
    assert asked.choices[0].value == offered


def test_several_vehicles_may_be_typed_as_an_answer(engine: Engine) -> None:
    begin(engine)
    (asked,) = put(engine, {**ROW, "Model": "the old ones"}).questions
    answer(engine, asked, "16; 24 van")
    found = service.look(engine, NAME)[1]
    assert not found.questions
    (fitment,) = [one for one in found.objects if one["record"] == "fitment"]
    assert {name[:2] for name in fitment["variants"]} == {"16", "24"}


def test_a_letter_that_looks_like_a_digit_is_offered_as_the_digit(engine: Engine) -> None:
    begin(engine)
    (asked,) = put(engine, {**ROW, "From": "24PR-O0120O", "To": "24PR-00I900"}).questions[:1]
    assert asked.choices[0].value == "24PR-001200"
    for question in service.look(engine, NAME)[1].questions:
        answer(engine, question, question.choices[0].value)
    found = service.look(engine, NAME)[1]
    (asked,) = found.questions
    answer(engine, asked, asked.choices[0].value)
    (fitment,) = [one for one in service.look(engine, NAME)[1].objects if one["record"] == "fitment"]
    assert (fitment["chassis_from"], fitment["chassis_to"]) == ("24PR-001200", "24PR-001900")


def test_what_is_asked_names_the_columns_as_the_list_does(engine: Engine) -> None:
    begin(engine)
    rows = [
        {**ROW, "Part No": "FL-1", "Qty": "a pair"},
        {**ROW, "Part No": "FL-2", "To": "late"},
        {**ROW, "Part No": "FL-3", "Formerly": "=A1"},
        {**ROW, "Part No": "FL-4", "Days": "3"},
        {**ROW, "Part No": "FL-4", "Days": "9"},
    ]
    asked = {one.kind: one.sentence for one in put(engine, *rows).questions}
    assert asked == {
        "count": "“a pair” in the column Qty is no count.",
        "end": "“late” in the column To is no chassis number that the catalogue knows, and no day.",
        "formula": "The column Formerly holds a formula, “=A1”, not what it comes to.",
        "says": "FL-4 has 2 different entries in the column Days from works.",
    }


def test_a_number_with_a_letter_for_a_digit_is_asked_about_and_not_entered_in_silence(engine: Engine) -> None:
    begin(engine)
    slip, new = ({"Part No": number, "Description": "front caliper"} for number in ("QB-33IO", "QB-77IO"))
    (asked,) = [one for one in put(engine, slip, new).questions if one.kind == "number"]
    assert asked.sentence == "The catalogue has no “QB-33IO”, and has it with digits for letters."
    assert [choice.value for choice in asked.choices] == ["QB-3310", "QB-33IO"]
    assert "QB-33IO" in asked.numbers
    answer(engine, asked, "QB-3310")
    found = service.look(engine, NAME)[1]
    assert not [one for one in found.questions if one.kind == "number"]
    assert "“QB-33IO” is read as QB-3310." in [one.sentence for one in found.told]
