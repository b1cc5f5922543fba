"""The history: what each edit changed is kept with it, can be read, compared, taken back and seen again."""

import io
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, delete, func, select, update

from graftbook import problems
from graftbook.catalogue.compiling.queries import book_revision, compile_book, with_components
from graftbook.catalogue.format.exports import export
from graftbook.catalogue.format.records import KIND_BY_WORD, KindWord
from graftbook.catalogue.history import changes
from graftbook.catalogue.history.as_of import as_of
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.loading import imports
from graftbook.catalogue.loading import load as loading
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.tables import table
from graftbook.catalogue.store.to_rows import Row
from graftbook.database import make_engine, reading, writing
from graftbook.editing.records import service as editing
from graftbook.editing.records.service import Author
from graftbook.rulebook.model import RuleBook
from tests.catalogue.sheet import exported, sheet, small
from tests.catalogue.statements import counted
from tests.catalogue.undone import undone_to
from tests.running import cases

ANNA = Author("Anna (k1)", "measured again")
VARIANTS = ("T1-R", "T2-L", "T3-R")
EVERY = 4
"""On PostgreSQL each fourth revision is looked at: the undoing is the same code on both engines, and what
differs (reading the edits, copying what is named) is the same at each revision. The long form: all."""
APART = 10 // max(1, cases(1))
"""Of the components beside the ranges each tenth is looked at, others at each revision, so that each has its
turn. The long form: each third."""


def books(engine: Any) -> dict[str, RuleBook]:
    with reading(engine) as session:
        return {v: compile_book(session, v) for v in VARIANTS if book_revision(session, v) is not None}


@pytest.fixture
def looked_at(told: Any, request: pytest.FixtureRequest) -> list[int]:
    """The revisions to look back to, the newest first; each edit of `EDITS` is among those of SQLite."""
    engine, sheets, _ = told
    every = engine.dialect.name == "sqlite" or request.config.getoption("--long")
    return list(reversed(range(1, len(sheets))))[:: 1 if every else EVERY]


def sent(text: str) -> Callable[[Engine], Any]:
    return lambda engine: load(engine, sheet(text), who="Anna (k1)", why="a sheet")


def removed(kind: str, *names: str) -> Callable[[Engine], Any]:
    return lambda engine: load(engine, [], removals={kind: list(names)}, who="Bert (k2)", why="gone")


EDITS = {
    "a price": sent(
        "[component]\nnumber,name,section,origin,price\nTB-2,rubber block,brakes,later-model,1.75\n"
    ),
    "another condition": sent(
        "[fitment]\nname,component,position,from_new,generations,chassis_to\n"
        "early brake,TB-1,brake,yes,two,2L-0400\n,TB-2,brake,yes,two,\n"
    ),
    "more alternatives": sent(
        "[companion]\nname,component,reason,fit,quantity\ndisc-wheel-block,TW-9,Only grease.,TG-1,3\n"
        "disc-wheel-block,,,TC-1,1\n"
    ),
    "a new variant": sent(
        "[variant]\nname,range,title,generation,body,engine,drive,steering,market\n"
        "T3-R,tern,Tern three,two,flat,none,rear,right,home\n"
        "[chassis_span]\nvariant,first,last,built_from,built_to\nT3-R,3R-0001,3R-0100,1970-01-01,1970-12-31\n"
    ),
    "other spans": sent(
        "[chassis_span]\nvariant,first,last,built_from,built_to\nT2-L,2L-0001,2L-0450,1960-01-01,1964-12-31\n"
    ),
    "another measure": sent("[characteristic_kind]\nname,title,quantity\nspline_count,teeth,count\n"),
    "no flaw": removed("flaw", "spokes-loosen"),
    "another number": sent(
        "[component]\nnumber,name,section,origin\nTB-3,soft block,brakes,modern\n"
        "[supersession]\nname,old,new\nTB-1>>TB-2,TB-1,TB-3\n"
    ),
    "no twins": sent(
        "[component]\nnumber,name,section,origin\nTB-7L,caliper,brakes,modern\nTB-7R,caliper,brakes,modern\n"
    ),
    "no rule": removed("conflict", "disc-wheel-plain"),
    "no variant": removed("chassis_span", "T3-R"),
    "gone with it": removed("variant", "T3-R"),
    "a name of another kind": sent(
        "[conflict]\nname,component,other_component,reason\nspokes-loosen,TW-9,TG-1,No.\n"
    ),
    "dearer": sent("[offer]\nsupplier,component,price,pack,least\nbarrow,TW-10,14.00,1,2\n"),
    "a new supplier": sent(
        "[supplier]\nname,title\nquay,The Quay\n[offer]\nsupplier,component,price,valid_from\n"
        "quay,TB-2,1.10,1975-01-01\n[exchange_rate]\ncurrency,rate,valid_from\nDEM,0.18,1975-02-01\n"
    ),
    "no tax": removed("tax", "wheels"),
    "tighter": sent(
        "[tightening]\nname,position,fastener,torque,angle\nwheel-nut,wheel.left,axle nut,20 Nm,\n"
    ),
    "another order": sent("[precedence]\nname,first,then,reason\nwheel-before-brake,brake,wheel.left,No.\n"),
    "tools and amounts": sent(
        "[fitment]\ncomponent,position,generations,tools\nTW-9,wheel.left,two,hub file; stand\n"
        "[companion]\nname,component,reason,fit,amount,goes_on\n"
        "disc-wheel-grease,TW-9,Dry.,TG-1,50 g,before\n"
    ),
    "evidence": sent("[evidence]\nname,grade,reference\ntried,measured,the bench\n"),
    "a measure more": sent("[characteristic]\ncomponent,kind,value\nTB-2,spline_count,7\n"),
    "a measure less": removed("characteristic", "TW-10:spline_count"),
}


@pytest.fixture(scope="module")
def edited(databases: Any) -> tuple[str, list[str], list[dict[str, RuleBook]]]:
    """The small catalogue, edited again and again; exports and books as they were after each edit."""
    url = databases.new()
    engine = make_engine(url)
    assert load(engine, small(), who="Anna (k1)", why="first").ok
    sheets, seen = ["", exported(engine)], [{}, books(engine)]
    for name, edit in EDITS.items():
        report = edit(engine)
        assert report.ok, (name, [str(m) for m in report.mistakes])
        assert report.changed > 0, name
        assert report.revision == len(sheets), name
        sheets.append(exported(engine))
        seen.append(books(engine))
        assert sheets[-1] != sheets[-2], name
    engine.dispose()
    return url, sheets, seen


@pytest.fixture
def told(databases: Any, edited: Any) -> Iterator[tuple[Engine, list[str], list[dict[str, RuleBook]]]]:
    """The same in a database of its own, which the test may change."""
    url, sheets, seen = edited
    engine = make_engine(databases.copy(url))
    yield engine, sheets, seen
    engine.dispose()


def test_the_catalogue_can_be_seen_as_it_was_after_each_edit(told: Any, looked_at: list[int]) -> None:
    engine, sheets, seen = told
    for revision in looked_at:
        with undone_to(engine, revision) as then:
            stream = io.StringIO()
            export(then, stream)
            assert stream.getvalue() == sheets[revision], revision
            assert books(then) == seen[revision], revision
    assert exported(engine) == sheets[-1]
    assert books(engine) == seen[-1]


def test_a_question_sees_the_catalogue_as_it_was_after_each_edit(told: Any, looked_at: list[int]) -> None:
    """Copied into memory and undone there, the rule books of what it names are those of then."""
    engine, _, seen = told
    for revision in looked_at:
        with as_of(engine, revision, ["1T-0001", "2L-0001", "3R-0001"]) as then:
            assert books(then) == seen[revision], revision
            with reading(then) as session:
                assert current_revision(session.connection()) == revision
    with as_of(engine, 0, ["1T-0001"]) as nothing:
        assert books(nothing) == {}


def alone(connection: Connection, book: RuleBook, number: str) -> tuple[Any, ...]:
    """What a question that names a number which its rule book lacks is given of it."""
    with reading(connection) as session:
        found = with_components(session, book, [number])
    return dict(found.components), found.supersessions


def test_a_component_beside_the_ranges_is_seen_as_it_was(told: Any, looked_at: list[int]) -> None:
    """Whatever a word may mean is there, with what ties it to others, at whichever revision."""
    engine, sheets, seen = told
    with undone_to(engine, len(sheets) - 1) as every:
        numbers = sorted(every.execute(select(table("component").c.number)).scalars())
    bare = replace(seen[1]["T1-R"], components=MappingProxyType({}), supersessions=())
    apart = min(APART, len(looked_at))
    for place, revision in enumerate(looked_at):
        some = numbers[place % apart :: apart]
        with undone_to(engine, revision) as whole:
            expected = {n: alone(whole, bare, n) for n in some}
        for number in some:
            with as_of(engine, revision, [number]) as then:
                assert alone(then, bare, number) == expected[number], (revision, number)


def test_only_what_exists_can_be_seen(told: Any) -> None:
    engine, sheets, _ = told
    with pytest.raises(problems.UnknownRevision), as_of(engine, len(sheets), []):
        pass


def test_what_was_edited_before_there_was_a_history_cannot_be_seen(engine: Engine) -> None:
    """A program without a history made these edits: what stood before them is nowhere."""
    assert load(engine, small()).ok
    assert EDITS["a price"](engine).ok
    with writing(engine) as session:
        session.connection().execute(delete(table("record_change")))
    with pytest.raises(problems.TooFarBack, match="after revision 2"), as_of(engine, 1, []):
        pass
    with undone_to(engine, 2) as now:
        assert books(now) == books(engine)
    assert EDITS["dearer"](engine).revision == 3
    with pytest.raises(problems.TooFarBack, match="after revision 2"), as_of(engine, 1, []):
        pass
    with undone_to(engine, 2) as then:
        assert books(then) == books(engine)


def test_edits_can_be_taken_back_one_after_the_other(told: Any) -> None:
    engine, sheets, seen = told
    for revision in reversed(range(2, len(sheets))):
        report = editing.take_back(engine, revision, Author("Bert (k2)"))
        assert report.ok, (revision, [str(m) for m in report.mistakes])
        assert exported(engine) == sheets[revision - 1], revision
    assert {v: book.fitments for v, book in books(engine).items()} == {
        v: book.fitments for v, book in seen[1].items()
    }
    with reading(engine) as session:
        last = changes.edits(session.connection(), None, 1)[0]
    assert (last.who, last.why) == ("Bert (k2)", "takes back revision 2")


def test_what_was_changed_again_is_not_taken_back(told: Any) -> None:
    engine, sheets, _ = told
    with pytest.raises(problems.ChangedAgain) as caught:
        editing.take_back(engine, 1, ANNA)
    assert {"kind": "component", "name": "TB-2"} in caught.value.fields["records"]
    assert exported(engine) == sheets[-1]


def test_the_history_says_who_when_why_and_what(told: Any) -> None:
    engine, _, _ = told
    with reading(engine) as session:
        connection = session.connection()
        (change,) = changes.changes_of_edit(connection, 2, ("", ""), 10)
        first, last = changes.edits(connection, 3, 2)
        of_record = changes.changes_of_record(connection, "component", "TB-2", None, 10)
    assert (change.kind, change.name, change.what) == ("component", "TB-2", "changed")
    assert (change.before[0]["price"], change.after[0]["price"]) == ("1.25", "1.75")
    assert (change.edit.who, change.edit.why, change.edit.ranges) == ("Anna (k1)", "a sheet", ("tern",))
    assert (first.revision, last.revision, last.why) == (2, 1, "first")
    assert [c.what for c in of_record] == ["changed", "added"]


def test_a_record_of_several_rows_is_one_change(told: Any) -> None:
    engine, _, _ = told
    with reading(engine) as session:
        (change,) = changes.changes_of_edit(session.connection(), 4, ("", ""), 10)
    assert [row.get("fit", row.get("at")) for row in change.before] == ["TB-2", "brake", "dynamo"]
    assert [row["fit"] for row in change.after] == ["TG-1", "TC-1"]


def test_two_revisions_are_compared(told: Any) -> None:
    engine, sheets, _ = told
    with reading(engine) as session:
        found, last = changes.changed_between(session.connection(), 1, len(sheets) - 1, ("", ""), 500)
    assert last is None
    names = {(kind, name) for kind, name, _, _ in found}
    assert ("component", "TB-2") in names
    assert ("flaw", "spokes-loosen") in names
    assert ("variant", "T3-R") not in names, "it came and went between the two"


def test_saying_the_same_again_changes_nothing(engine: Engine) -> None:
    load(engine, small())
    report = load(engine, small())
    assert report.ok
    assert (report.changed, report.revision) == (0, 1)
    with reading(engine) as session:
        assert len(changes.edits(session.connection(), None, 10)) == 1


def test_a_dry_run_says_what_would_change_and_keeps_nothing(engine: Engine) -> None:
    load(engine, small())
    report = load(
        engine,
        small(
            (
                "TB-2,rubber block,brakes,later-model,current,1.25",
                "TB-2,rubber block,brakes,later-model,current,9.25",
            )
        ),
        dry_run=True,
    )
    assert (report.changed, report.revision) == (1, None)
    with reading(engine) as session:
        assert len(changes.edits(session.connection(), None, 10)) == 1


def state(engine: Engine, kind: str, name: str) -> editing.RecordState:
    return editing.record_state(engine, kind, name)


def test_a_record_is_read_changed_and_removed_by_its_etag(engine: Engine) -> None:
    load(engine, small())
    before = state(engine, "conflict", "disc-wheel-plain")
    assert before.revision == 1
    rows = [before.rows[0] | {"reason": "They slip."}]
    with pytest.raises(problems.PreconditionRequired):
        editing.put_record(engine, "conflict", "disc-wheel-plain", rows, None, ANNA)
    report = editing.put_record(engine, "conflict", "disc-wheel-plain", rows, before.etag, ANNA)
    assert (report.revision, report.changed) == (2, 1)
    after = state(engine, "conflict", "disc-wheel-plain")
    assert (after.rows, after.revision) == (rows, 2)
    with pytest.raises(problems.PreconditionFailed):
        editing.put_record(engine, "conflict", "disc-wheel-plain", before.rows, before.etag, ANNA)
    with pytest.raises(problems.PreconditionRequired):
        editing.remove_record(engine, "conflict", "disc-wheel-plain", None, ANNA)
    assert editing.remove_record(engine, "conflict", "disc-wheel-plain", after.etag, ANNA).ok
    with pytest.raises(problems.UnknownRecord):
        state(engine, "conflict", "disc-wheel-plain")
    with pytest.raises(problems.PreconditionFailed):
        editing.put_record(engine, "conflict", "disc-wheel-plain", rows, after.etag, ANNA)


def test_a_new_record_needs_no_etag_and_its_name_must_be_the_address(engine: Engine) -> None:
    load(engine, small())
    row = {"number": "TN-1", "name": "nut", "section": "wheels", "origin": "modern"}
    with pytest.raises(problems.InvalidRequest, match="TN-1"):
        editing.put_record(engine, "component", "TN-2", [row], None, ANNA)
    assert editing.put_record(engine, "component", "TN-1", [row], None, ANNA).ok
    with pytest.raises(problems.PreconditionRequired):
        editing.put_record(engine, "component", "TN-1", [row], None, ANNA)


def test_a_patch_changes_some_fields_and_null_is_the_default(engine: Engine) -> None:
    load(engine, small())
    before = state(engine, "fitment", "TW-9@wheel.left")
    patch = {"minutes": 35, "note": None}
    assert editing.patch_record(engine, "fitment", "TW-9@wheel.left", patch, before.etag, ANNA).ok
    after = state(engine, "fitment", "TW-9@wheel.left").rows[0]
    assert after["minutes"] == 35
    assert "note" not in after
    assert after["effort"] == "machining"
    rule = state(engine, "companion", "disc-wheel-block")
    with pytest.raises(problems.InvalidRequest, match="3 rows"):
        editing.patch_record(engine, "companion", "disc-wheel-block", {"reason": "x"}, rule.etag, ANNA)


@pytest.mark.parametrize(
    ("kind", "name", "by"),
    [
        ("component", "TG-1", "companion 'disc-wheel-grease' still names the component 'TG-1'"),
        ("evidence", "tried", "still names the evidence 'tried'"),
        ("section", "wheels", "position 'wheel.left' still names the section 'wheels'"),
        ("substitute", "TW-10>TW-9", "flaw 'spokes-loosen' still names the substitute 'TW-10>TW-9'"),
        ("variant", "T2-L", "still names the variant 'T2-L'"),
        ("range", "tern", "still names the range 'tern'"),
    ],
)
def test_nothing_that_is_named_can_be_removed(engine: Engine, kind: str, name: str, by: str) -> None:
    load(engine, small())
    before = exported(engine)
    report = editing.remove_record(engine, kind, name, state(engine, kind, name).etag, ANNA)
    assert any(by in str(m) for m in report.mistakes), [str(m) for m in report.mistakes]
    assert exported(engine) == before


def test_a_mistake_in_an_edit_is_told_and_nothing_is_kept(engine: Engine) -> None:
    load(engine, small())
    before = exported(engine)
    now = state(engine, "fitment", "TW-9@wheel.left")
    report = editing.put_record(
        engine, "fitment", "TW-9@wheel.left", [now.rows[0] | {"evidence": ["nowhere"]}], now.etag, ANNA
    )
    assert any("there is no evidence 'nowhere'" in str(m) for m in report.mistakes)
    assert exported(engine) == before


def test_every_kind_can_be_named_in_an_address() -> None:
    assert set(KindWord.__args__) == set(KIND_BY_WORD)


GREASE = (
    "[companion]\nname,range,component,position,reason,fit,at,quantity,evidence\n"
    "disc-wheel-grease,tern,TW-9,,The hub runs dry.,TG-1,,2,tried\n"
)
BLOCK = (
    "[companion]\nname,range,component,position,reason,fit,at,having,empty\n"
    "disc-wheel-block,tern,TW-9,wheel.left,The block must grip.,TB-2,brake,,\n"
    "disc-wheel-block,,,,,,brake,finish equal plated,\ndisc-wheel-block,,,,,,dynamo,,yes\n"
)


class TestWhatSaysWhatItSaid:
    def test_it_is_not_written(self, tern: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
        """Where it is said as an export says it: what leaves out its range, say, is written."""
        written: list[dict[str, list[Row]]] = []
        write = loading.write

        def noted(connection: Connection, rows: dict[str, list[Row]], **how: Any) -> None:
            written.append(rows)
            write(connection, rows, **how)

        monkeypatch.setattr(loading, "write", noted)
        before = exported(tern)
        report = load(tern, sheet(before))
        assert (report.ok, report.changed, report.revision) == (True, 0, 1)
        further = 2  # rows of a companion that has a first one
        assert report.unchanged + report.records["chassis_span"] + further == report.records.total()
        assert {name for rows in written for name, some in rows.items() if some} == {"chassis_span"}
        assert exported(tern) == before
        report = load(tern, small())
        assert (report.ok, report.changed, exported(tern)) == (True, 0, before)

    @pytest.mark.parametrize("batch", [1, 2, 3, 100])
    def test_a_companion_is_looked_at_with_all_its_rows(
        self, tern: Engine, batch: int, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Its further rows may come after the first ones were found to say what they said."""
        monkeypatch.setattr(loading, "BATCH", batch)
        before = exported(tern)
        assert load(tern, sheet(GREASE + BLOCK)).changed == 0
        assert exported(tern) == before
        more = GREASE + "disc-wheel-grease,,,,,TC-1,,1,\n"
        assert (load(tern, sheet(more)).changed, load(tern, sheet(more)).changed) == (1, 0)
        with reading(tern) as session:
            (change,) = changes.changes_of_edit(session.connection(), 2, ("", ""), 10)
            assert [row.get("fit") for row in change.before] == ["TG-1"]
            assert [row.get("fit") for row in change.after] == ["TG-1", "TC-1"]
            slot = table("companion_alternative").c
            of_grease = select(slot.slot, slot.component).where(slot.claim == "disc-wheel-grease")
            assert sorted(session.execute(of_grease)) == [(0, "TG-1"), (1, "TC-1")]
        assert load(tern, sheet(GREASE)).changed == 1
        assert exported(tern) == before


@pytest.mark.parametrize("large", [False, True])
def test_how_many_records_an_edit_changed_stands_with_it(
    tern: Engine, large: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of an edit that is older than that, they are counted."""
    monkeypatch.setattr(imports, "SMALL", 0 if large else 1_000)
    EDITS["another condition"](tern)
    EDITS["no flaw"](tern)
    edit, change = table("revision"), table("record_change")
    counted = select(change.c.revision, func.count()).group_by(change.c.revision)
    with writing(tern) as session:
        stored = dict(session.execute(select(edit.c.number, edit.c.changes)).all())
        assert stored == dict(session.execute(counted).all())
        assert stored[3] == 1
        session.execute(update(edit).where(edit.c.number == 2).values(changes=None))
        session.execute(update(edit).where(edit.c.number == 3).values(changes=7))
        found = {each.revision: each.changes for each in changes.edits(session.connection(), None, 5)}
    assert found == {1: stored[1], 2: stored[2], 3: 7}


def test_many_changes_are_looked_up_together(tern: Engine) -> None:
    rows = "".join(f"N-{n},bolt {n},brakes,modern\n" for n in range(30))
    sent("[component]\nnumber,name,section,origin\n" + rows)(tern)
    sent("[component]\nnumber,name,section,origin\n" + rows.replace("bolt", "long bolt"))(tern)
    asked: dict[int, int] = {}
    for limit in (2, 30):
        with counted(tern) as statements, reading(tern) as session:
            found = changes.changes_of_edit(session.connection(), 2, ("", ""), limit)
        asked[limit] = len(statements)
        assert [change.after[0]["name"] for change in found] == [
            f"bolt {change.name.removeprefix('N-')}" for change in found
        ]
        assert len(found) == limit
    assert asked[30] == asked[2] > 2


MOST_STATEMENTS = 38
"""Of an edit of one component. Every other editor waits for each of them to go to the database and back."""


def test_an_edit_of_one_component_asks_little_and_drops_nothing(tern: Engine) -> None:
    """After a DROP the driver forgets what it has prepared, and the server has rows to sweep away."""
    price = EDITS["a price"]
    price(tern)
    with counted(tern) as statements:
        sent("[component]\nnumber,name,section,origin,price\nTB-2,rubber block,brakes,later-model,1.80\n")(
            tern
        )
    assert current_revision_of(tern) == 3
    assert 10 < len(statements) <= MOST_STATEMENTS, len(statements)
    assert not [statement for statement in statements if statement.lstrip().startswith("DROP")]


def current_revision_of(engine: Engine) -> int:
    with reading(engine) as session:
        return current_revision(session.connection())
