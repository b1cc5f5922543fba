"""Loading: everything is checked, every mistake has its place, and all is kept or nothing."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, event, func, select

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.tables import table
from graftbook.pages.editing.sheet_form import cells_with_mistakes, lines_with_mistakes
from tests.catalogue.sheet import SMALL, sheet, small


def count(engine: Engine, name: str) -> int:
    with engine.connect() as connection:
        return connection.execute(select(func.count()).select_from(table(name))).scalar_one()


def only(report) -> str:
    assert len(report.mistakes) == 1, [str(m) for m in report.mistakes]
    return str(report.mistakes[0])


def test_a_sound_sheet_is_kept_with_a_revision(engine: Engine) -> None:
    report = load(engine, small(), who="editor", why="first")
    assert report.ok, report.mistakes
    assert report.revision == 1
    assert report.records["component"] == 10
    assert count(engine, "fitment") == 9
    assert count(engine, "companion_alternative") == 4
    with engine.connect() as connection:
        row = connection.execute(select(table("revision"))).one()
    assert (row.number, row.who, row.why) == (1, "editor", "first")


def test_a_dry_run_says_the_same_and_keeps_nothing(engine: Engine) -> None:
    report = load(engine, small(), dry_run=True)
    assert report.ok
    assert report.revision is None
    assert count(engine, "component") == count(engine, "revision") == 0


def test_one_mistake_keeps_everything_out(engine: Engine) -> None:
    report = load(engine, small(("TL-1,lamp,direct", "TL-1,lampp,direct")))
    assert "position: there is no position 'lampp'; did you mean 'lamp'?" in only(report)
    assert count(engine, "component") == 0


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("cells", "ok"), [("", True), (",", True), (", ,", True), (",left over", False), (",,left over", False)]
)
def test_a_row_longer_than_its_heads_is_a_mistake_unless_nothing_stands_there(
    engine: Engine, cells: str, ok: bool
) -> None:
    rows = f"[section]\nname,title,order\nbrakes,Brakes,1{cells}\nwheels,Wheels,2\n"
    report = load(engine, sheet(rows))
    assert report.ok is ok
    if not ok:
        assert "sheet.csv:3: [section]: the row has more cells than the 3 columns" in only(report)
    assert count(engine, "section") == (2 if ok else 0)


MISTAKES = {
    "unknown component": (
        ("TC-1,tried", "TC-11,tried"),
        "[flaw] add_ons: there is no component 'TC-11'; did you mean 'TC-1'?",
    ),
    "unknown substitute": (
        ("TW-10>TW-9,TC-1", "TW-10>TW-8,TC-1"),
        "substitutes: there is no substitute 'TW-10>TW-8'; did you mean",
    ),
    "unknown evidence": (
        ("T1-R,wheelbase,1.2 m,book", "T1-R,wheelbase,1.2 m,bok"),
        "no evidence 'bok'; did you mean 'book'?",
    ),
    "unknown kind": (("TW-10,,spline_count", "TW-10,,splinecount"), "no characteristic kind 'splinecount'"),
    "unit of another quantity": (
        ("TD-1,,supply_a,0.5 A", "TD-1,,supply_a,0.5 V"),
        "[characteristic] value: 'V' is not a unit of current",
    ),
    "a choice that is not offered": (
        ("finish,plated,\nTD", "finish,gilt,\nTD"),
        "one of plain, plated is expected, not 'gilt'",
    ),
    "having that is no wanted value": (
        ("brake,,finish equal plated", "brake,,finish is plated"),
        "is not `kind comparator value`",
    ),
    "having with a wrong value": (
        ("brake,,finish equal plated", "brake,,finish equal gilt"),
        "[companion] having: one of plain, plated",
    ),
    "words compared by size": (
        ("brake,,finish equal plated", "brake,,finish at least plated"),
        "they can only be `equal`",
    ),
    "margin in a wrong unit": (("0.1 mm", "0.1 A"), "[joint] margin: 'A' is not a unit of length"),
    "joint of unlike kinds": (
        ("bore,equal,wheel.right,,0.1 mm", "bore,equal,wheel.right,spline_count,0.1 mm"),
        "measured unlike: count and length",
    ),
    "budget of unlike kinds": (
        ("lamps,lamps,supply_a,demand_a", "lamps,lamps,supply_a,bore"),
        "measured unlike",
    ),
    "generation that no variant has": (
        ("TW-9,wheel.right,machining,1,30,,,two", "TW-9,wheel.right,machining,1,30,,,tow"),
        "generations: no variant of the range has the generation 'tow'; did you mean 'two'?",
    ),
    "option that no variant offers": (
        ("TL-1,lamp,direct,1,20,yes,,two,,,lamp", "TL-1,lamp,direct,1,20,yes,,two,,,lmap"),
        "option 'lmap'; did you mean 'lamp'?",
    ),
    "chassis prefix that nobody has": (
        ("2L-0501,,,book", "3L-0501,,,book"),
        "chassis numbers '3L-…'; use one of: 1R, 2L",
    ),
    "conditions that never meet": (
        ("TB-1,brake,direct,2,10,yes,T1-R,,", "TB-1,brake,direct,2,10,yes,T1-R,two,"),
        "meets all its conditions at once",
    ),
    "chassis span backwards": (
        ("1R-0001,1R-1000", "1R-1000,1R-0001"),
        "the last chassis number is before the first",
    ),
    "chassis spans overlap": (("2L-0501,2L-0900", "2L-0400,2L-0900"), "overlaps one of 'T2-L'"),
    "twin that is not mutual": (
        ("30.00,,,1,no,TB-7R", "30.00,,,1,no,"),
        "'TB-7L' names no twin; twins name each other",
    ),
    "a lonely pair": (("right,wheel,,2", "right,,,2"), "no other position has the pair 'wheel'"),
    "flaw remedied by a stranger": (
        ("spokes-loosen,TW-10", "spokes-loosen,TB-1"),
        "replaces 'TW-10', not the flawed 'TB-1'",
    ),
    "a substitute with the same flaw": (
        (
            "name,component,severity,symptom,substitutes",
            "name,component,also_of,severity,symptom,substitutes",
        ),
        ("spokes-loosen,TW-10", "spokes-loosen,TW-10,TW-9"),
        "'TW-10>TW-9' remedies nothing: 'TW-9' has the same flaw",
    ),
    "an add-on with the same flaw": (
        (
            "name,component,severity,symptom,substitutes",
            "name,component,also_of,severity,symptom,substitutes",
        ),
        ("spokes-loosen,TW-10", "spokes-loosen,TW-10,TC-1"),
        "'TC-1' remedies nothing: it has the same flaw",
    ),
    "a flaw also of nobody": (
        (
            "name,component,severity,symptom,substitutes",
            "name,component,also_of,severity,symptom,substitutes",
        ),
        ("spokes-loosen,TW-10", "spokes-loosen,TW-10,TC-11"),
        "[flaw] also_of: there is no component 'TC-11'; did you mean 'TC-1'?",
    ),
    "an alternative of no form": (
        ("disc-wheel-block,,,,,brake,,finish equal plated,,", "disc-wheel-block,,,,,brake,,,,"),
        "an alternative is needed",
    ),
    "two forms in one row": (
        ("disc-wheel-block,,,,,dynamo,,,yes", "disc-wheel-block,,,,TL-1,dynamo,,,yes"),
        "one row is one alternative",
    ),
    "a companion without a reason": (
        ("TW-9,,The hub runs dry.", "TW-9,,"),
        "[companion] reason: the first row of a companion needs this",
    ),
    "a further row that repeats": (
        ("disc-wheel-block,,,,,dynamo", "disc-wheel-block,TW-9,,,,dynamo"),
        "component: the first row of this companion, small.csv",
    ),
    "a number superseding itself": (("TB-1,TB-2,1965", "TB-1,TB-1,1965"), "a number cannot supersede itself"),
    "a name twice": (("TG-1,grease", "TW-9,grease"), "'TW-9' stands already at small.csv:"),
    "money with three places": (("12.50", "12.505"), "[component] price"),
    "yes or no": (
        ("TW-10,wheel.left,direct,1,5,yes", "TW-10,wheel.left,direct,1,5,perhaps"),
        "from_new: yes or no is expected",
    ),
    "an unknown range": (("T1-R,tern,", "T1-R,stern,"), "there is no range 'stern'; did you mean 'tern'?"),
}


@pytest.mark.parametrize("case", MISTAKES)
def test_a_mistake_is_told_with_its_place(sqlite_engine: Engine, case: str) -> None:
    *edits, message = MISTAKES[case]
    old = edits[-1][0]
    report = load(sqlite_engine, small(*edits))
    told = [str(mistake) for mistake in report.mistakes]
    assert any(message in line for line in told), told
    line = SMALL[: SMALL.index(old)].count("\n") + 1
    places = {mistake.place.line for mistake in report.mistakes if message in str(mistake)}
    near = range(line - 1, line + 4)
    assert all(place in near for place in places) or "lonely" in case or "stranger" in case or "twin" in case
    assert count(sqlite_engine, "section") == 0


@pytest.mark.one_engine
def test_a_mistake_at_a_record_that_was_there_before_says_which_record_it_is(engine: Engine) -> None:
    load(engine, small())
    again = "[component]\nnumber,name,section,origin\nTB-7L,cylinder,brakes,original\n"
    report = load(engine, sheet(again))
    assert "the catalogue: [component] TB-7R twin: 'TB-7L' names no twin" in only(report)
    assert lines_with_mistakes(again, report.mistakes)[0]["wrong"] == [
        "Component TB-7R, twin: 'TB-7L' names no twin; twins name each other"
    ]
    assert cells_with_mistakes(report.mistakes)[0]["wrong"].startswith("Component TB-7R, twin: ")


@pytest.mark.one_engine
def test_a_broken_record_is_not_reported_again_by_those_that_name_it(engine: Engine) -> None:
    report = load(engine, small(("TW-9,disc wheel,wheels,modern", "TW-9,disc wheel,wheels,antique")))
    assert "[component] origin" in only(report)


@pytest.mark.parametrize(
    ("kind", "put", "instead"),
    [("variant", "none,rear,left", "none,rear,port"), ("chassis_span", "T2-L,2L-0", "T2-L,two to 0")],
)
def test_a_broken_variant_or_span_is_not_reported_again_by_conditions(
    sqlite_engine: Engine, kind: str, put: str, instead: str
) -> None:
    assert put in SMALL
    report = load(sqlite_engine, sheet(SMALL.replace(put, instead)))
    assert {mistake.kind for mistake in report.mistakes} == {kind}, report.mistakes


def test_records_may_refer_to_later_ones_and_to_other_files(engine: Engine) -> None:
    tables = SMALL.split("\n\n")
    backwards = [sheet(part, f"{n}.csv") for n, part in enumerate(reversed(tables))]
    assert load(engine, backwards).ok


def test_a_record_of_a_known_name_replaces_it(engine: Engine) -> None:
    load(engine, small())
    again = "[companion]\nname,component,reason,fit,quantity\ndisc-wheel-block,TW-9,Only grease.,TG-1,3\n"
    report = load(engine, sheet(again))
    assert report.ok, report.mistakes
    assert report.revision == 2
    assert count(engine, "companion") == 2
    assert count(engine, "companion_alternative") == 2
    assert count(engine, "wanted") == 1


def test_spans_given_for_a_variant_replace_those_it_had(engine: Engine) -> None:
    load(engine, small())
    spans = (
        "[chassis_span]\nvariant,first,last,built_from,built_to\nT2-L,2L-0001,2L-0950,1960-01-01,1969-12-31\n"
    )
    report = load(engine, sheet(spans))
    assert report.ok, report.mistakes
    assert count(engine, "chassis_span") == 2


@pytest.mark.one_engine
def test_a_name_of_another_kind_of_claim_is_taken(engine: Engine) -> None:
    load(engine, small())
    report = load(engine, sheet("[budget]\nname,supply,demand,reason\nwheels-alike,supply_a,demand_a,No.\n"))
    assert "'wheels-alike' is already the name of a joint" in only(report)


@pytest.mark.one_engine
def test_a_second_range_makes_the_range_of_a_record_necessary(engine: Engine) -> None:
    load(engine, small())
    more = "[range]\nname,title\ngull,Gull\n[substitute]\noriginal,component\nTB-1,TB-2\n"
    assert "there is more than one range; name the range" in only(load(engine, sheet(more)))
    named = more.replace("original,component\n", "range,original,component\n").replace(
        "TB-1,TB-2", "tern,TB-1,TB-2"
    )
    assert load(engine, sheet(named)).ok


def test_a_new_variant_is_met_by_conditions_that_were_there_before(engine: Engine) -> None:
    load(engine, small())
    before = count(engine, "condition_variant")
    variant = (
        "[variant]\nname,range,title,generation,body,engine,drive,steering,market,options\n"
        "T3-L,tern,Three,two,flat,none,rear,left,export,lamp\n"
    )
    assert load(engine, sheet(variant)).ok
    with engine.connect() as connection:
        spelt = table("condition_variant")
        names = connection.execute(select(func.count()).where(spelt.c.variant == "T3-L")).scalar_one()
    assert names >= 2
    assert count(engine, "condition_variant") == before + names


@pytest.mark.one_engine
def test_a_kind_that_changes_its_unit_finds_the_values_that_do_not_follow(engine: Engine) -> None:
    load(engine, small())
    report = load(engine, sheet("[characteristic_kind]\nname,title,quantity\nbore,bore,area\n"))
    assert not report.ok
    assert "'mm' is not a unit of area" in str(report.mistakes[0])


MOST_ASKED = 45
"""Statements of one change: each is a way to the server and back, and other editors wait for all."""


def test_a_change_asks_only_about_the_kinds_that_it_brings(engine: Engine) -> None:
    assert load(engine, small()).ok
    asked: list[str] = []
    event.listen(engine, "before_cursor_execute", lambda _c, _cursor, said, *_more: asked.append(said))
    bracket = {"number": "Z-1", "name": "bracket", "section": "wheels", "origin": "modern"}
    assert load(engine, [{"record": "component", **bracket}]).ok
    assert any("component" in said for said in asked)
    assert len(asked) < MOST_ASKED
    for other in ("joint", "budget", "chassis_span", "condition_variant"):
        assert not [said for said in asked if f"FROM {other}" in said or f"JOIN {other} ON" in said], other


@pytest.mark.one_engine
def test_json_records_go_through_the_same_classes(engine: Engine) -> None:
    records = [
        {"record": "section", "name": "wheels", "title": "Wheels", "order": 1},
        {
            "record": "component",
            "number": "X-1",
            "name": "x",
            "section": "wheels",
            "origin": "modern",
            "price": "3.10",
        },
        {"record": "characteristic_kind", "name": "bore", "title": "bore", "quantity": "length"},
        {"record": "characteristic", "component": "X-1", "kind": "bore", "value": "1 in"},
    ]
    assert load(engine, records).ok
    with engine.connect() as connection:
        assert connection.execute(select(table("component").c.price)).scalar_one() == 310
        assert connection.execute(select(table("characteristic").c.low)).scalar_one() == pytest.approx(0.0254)
    wrong = [{"record": "component", "number": "X-2"}, {"record": "wheel"}]
    told = [str(m) for m in load(engine, wrong).mistakes]
    assert told[0] == "request:1: [component] name: a value is needed here"
    assert any("request:2" in line and "no such kind of record" in line for line in told)
    (mistake,) = load(engine, [{"record": "section", "name": "a", "title": "A", "order": True}]).mistakes
    assert str(mistake) == "request:1: [section] order: a whole number is needed here (read: 'True')"


@pytest.mark.one_engine
def test_a_json_file_that_says_a_thing_twice_is_a_mistake(engine: Engine, tmp_path: Path) -> None:
    path = tmp_path / "own.json"
    path.write_text('[{"record": "section", "name": "a", "name": "b", "title": "A", "order": 1}]')
    assert "'name' stands twice in one object" in only(load(engine, path))


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("[" + "9" * 5_000 + "]", "number is infinity"),
        ("[" * 1_015 + "]" * 1_015, "nested too deep"),
        ("[" * 5_000 + "]" * 5_000, "depth limit"),
    ],
    ids=["digits", "nested", "nested deeper"],
)
def test_a_json_file_that_cannot_be_read_is_told_why(
    engine: Engine, tmp_path: Path, written: str, told: str
) -> None:
    path = tmp_path / "own.json"
    path.write_text(written)
    mistake = only(load(engine, path))
    assert told in mistake
    assert "two ways" not in mistake


@pytest.mark.one_engine
def test_every_mistake_of_a_sheet_is_told_at_once(engine: Engine) -> None:
    report = load(
        engine,
        small(
            ("12.50", "dear"), ("TL-1,lamp,direct", "TL-1,lampp,direct"), ("2L-0501,,,book", "3L-0501,,,book")
        ),
    )
    assert len(report.mistakes) >= 3


WRONG_TWICE: dict[str, tuple[dict[str, object], str]] = {
    "a cell that cannot be read": (
        {"record": "component", "number": "X-1", "name": "x", "section": "wheel", "origin": "antique"},
        "[component] section: there is no section 'wheel'; did you mean 'wheels'?",
    ),
    "a cell that is missing": (
        {"record": "offer", "supplier": "barow", "component": "TC-1"},
        "[offer] supplier: there is no supplier 'barow'; did you mean 'barrow'?",
    ),
    "one of several names": (
        {"record": "budget", "name": "b", "supply": "supply_a", "demand": "demand_a",
         "evidence": ["book", "boo"]},
        "[budget] evidence: there is no evidence 'boo'; did you mean 'book'?",
    ),
    "a record that makes no sense": (
        {"record": "precedence", "name": "p", "first": "brakes", "then": "brakes", "reason": "x"},
        "[precedence] first: there is no position 'brakes'; did you mean 'brake'?",
    ),
    "a figure that cannot be": (
        {"record": "characteristic", "component": "TD-2", "kind": "supply_a", "value": "9 MA"},
        "[characteristic] component: there is no component 'TD-2'; did you mean 'TD-1'?",
    ),
    "a condition": (
        {"record": "fitment", "component": "TC-1", "position": "brake", "effort": "no", "variants": ["T2-X"]},
        "[fitment] variants: there is no variant 'T2-X'; did you mean 'T2-L'?",
    ),
    "a span": (
        {"record": "chassis_span", "variant": "T1-X", "first": "1R-2000", "last": "1R-1900",
         "built_from": "1960-01-01", "built_to": "1960-12-31"},
        "[chassis_span] variant: there is no variant 'T1-X'; did you mean 'T1-R'?",
    ),
}  # fmt: skip


@pytest.mark.one_engine
@pytest.mark.parametrize("case", WRONG_TWICE)
def test_a_row_with_a_mistake_is_asked_whom_it_names_all_the_same(engine: Engine, case: str) -> None:
    row, message = WRONG_TWICE[case]
    assert load(engine, small()).ok
    told = [str(mistake) for mistake in load(engine, [row]).mistakes]
    assert f"request:1: {message}" in told, told
    assert len(set(told)) == len(told) == 2


@pytest.mark.one_engine
def test_a_row_with_a_mistake_may_name_what_the_load_brings(engine: Engine) -> None:
    new = [
        {"record": "section", "name": "bells", "title": "Bells", "order": 3},
        {"record": "component", "number": "TB-9", "name": "bell", "section": "bells", "origin": "antique"},
        {
            "record": "component",
            "number": "TB-8",
            "name": "",
            "section": "bells",
            "origin": "modern",
            "twin": "TB-9",
        },
    ]
    assert load(engine, small()).ok
    assert [mistake.field for mistake in load(engine, new).mistakes] == ["origin", "name"]


class Lines:
    """A sheet that is made while it is read."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines

    def read(self) -> str:
        raise NotImplementedError

    def readline(self, most: int) -> str:
        return next(self._lines, "")[:most]


@pytest.mark.parametrize("wrong", ["none", "5,beyond"])
def test_after_a_thousand_mistakes_nothing_more_is_read(sqlite_engine: Engine, wrong: str) -> None:
    def lines() -> Iterator[str]:
        yield from ("[section]\n", "name,title,order\n")
        for n in range(1_000_000):
            read.append(n)
            yield f"S{n},title,{wrong}\n"

    read: list[int] = []
    report = load(sqlite_engine, Lines(lines()))
    assert len(report.mistakes) == 1000
    assert report.mistake_count == "these are the first 1,000 mistakes; there are more"
    assert len(read) < 1100
    assert count(sqlite_engine, "section") == 0


def test_a_thousand_mistakes_are_all_of_them(sqlite_engine: Engine) -> None:
    rows = "".join(f"S{n},title,none\n" for n in range(1000))
    report = load(sqlite_engine, sheet("[section]\nname,title,order\n" + rows))
    assert (len(report.mistakes), report.stopped, report.mistake_count) == (1000, False, "1000 mistakes")


def test_progress_is_told_by_records(sqlite_engine: Engine) -> None:
    told: list[int] = []
    rows = "".join(f"S{n},title,{n % 100}\n" for n in range(9000))
    report = load(sqlite_engine, sheet("[section]\nname,title,order\n" + rows), progress=told.append)
    assert report.ok
    assert told == sorted(told)
    assert told[-1] == 9000
    assert len(told) >= 3
