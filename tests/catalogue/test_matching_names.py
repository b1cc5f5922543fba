"""Names that must meet are refused when nothing bears them, whichever side the slip is on."""

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from graftbook.catalogue.store.nearest import slip_of
from graftbook.editing.records.service import Author, patch_record, record_state, remove_record
from tests.catalogue.sheet import sheet, small

pytestmark = pytest.mark.one_engine

ME = Author("me", "")
LAMP = ("lamp,brakes,lamp,no,,,lamps,3,two", "lamp,brakes,lamp,no,,,{},3,two")
DYNAMO = ("bottle dynamo,no,,,lamps,2,two", "bottle dynamo,no,,,{},2,two")
BUDGET = ("lamps,lamps,supply_a", "lamps,{},supply_a")
OPTIONS = ("export,lamp; bell", "export,{}")


def to(change: tuple[str, str], word: str) -> tuple[str, str]:
    return change[0], change[1].format(word)


def told(report: LoadReport) -> list[str]:
    return [str(mistake) for mistake in report.mistakes]


def patched(engine: Engine, kind: str, name: str, patch: dict[str, str]) -> LoadReport:
    return patch_record(engine, kind, name, patch, record_state(engine, kind, name).etag, ME)


def test_a_budget_whose_circuit_no_position_bears(engine: Engine) -> None:
    (one,) = told(load(engine, small(to(BUDGET, "lmaps"))))
    assert one.startswith("small.csv:")
    assert one.endswith("[budget] circuit: no position bears the circuit 'lmaps'; did you mean 'lamps'?")


def test_what_is_like_nothing_is_told_what_there_is(engine: Engine) -> None:
    (one,) = told(load(engine, small(to(BUDGET, "ignition"))))
    assert one.endswith("no position bears the circuit 'ignition'; the circuits are lamps")


def test_a_position_whose_circuit_is_anothers_misspelt(engine: Engine) -> None:
    (one,) = told(load(engine, small(to(LAMP, "lmaps"))))
    assert one.endswith("[position] circuit: no budget names the circuit 'lmaps'; did you mean 'lamps'?")


def test_a_circuit_of_its_own_may_have_no_budget_yet(engine: Engine) -> None:
    assert load(engine, small(to(LAMP, "wipers"))).ok


def test_the_same_holds_for_single_edits(engine: Engine) -> None:
    assert load(engine, small()).ok
    (one,) = told(patched(engine, "budget", "lamps", {"circuit": "lampps"}))
    assert "no position bears the circuit 'lampps'; did you mean 'lamps'?" in one
    (one,) = told(patched(engine, "position", "lamp", {"circuit": "lmaps"}))
    assert "did you mean 'lamps'?" in one


def test_the_last_that_bears_a_circuit_stays_while_a_budget_names_it(engine: Engine) -> None:
    assert load(engine, small(to(DYNAMO, ""))).ok
    (one,) = told(patched(engine, "position", "lamp", {"circuit": ""}))
    assert "no position bears the circuit 'lamps'" in one
    bare = "[position]\nname,section,title,essential,circuit\nspare.lamp,brakes,spare lamp,no,spares\n"
    bare += "[budget]\nname,circuit,supply,demand,reason\nspares,spares,supply_a,demand_a,So.\n"
    assert load(engine, sheet(bare)).ok
    state = record_state(engine, "position", "spare.lamp")
    (one,) = told(remove_record(engine, "position", "spare.lamp", state.etag, ME))
    assert "no position bears the circuit 'spares'" in one


def test_sheets_that_come_later_in_the_same_load_are_seen(engine: Engine) -> None:
    budget = "[budget]\nname,circuit,supply,demand,reason\nhorn,horns,supply_a,demand_a,So.\n"
    position = "[position]\nname,section,title,essential,circuit\nhorn,brakes,horn,no,horns\n"
    assert load(engine, [sheet(budget, "a.csv"), small(), sheet(position, "b.csv")]).ok


def test_a_position_with_a_mistake_of_its_own_takes_no_budget_with_it(engine: Engine) -> None:
    report = load(engine, small(to(DYNAMO, ""), ("lamp,brakes,lamp,no", "lamp,brakes,lamp,perhaps")))
    assert {m.kind for m in report.mistakes} == {"position"}


@pytest.mark.parametrize(
    ("offered", "expected"),
    [
        ("lamp; bell; heeater", "nothing asks for the option 'heeater'; did you mean 'heater'?"),
        ("lamp; horn", ""),
    ],
)
def test_an_option_that_nothing_asks_for_is_refused_only_when_it_is_anothers(
    engine: Engine, offered: str, expected: str
) -> None:
    home = ("right,home,lamp", "right,home,lamp; heater")
    asks = "[fitment]\nname,component,position,options\nf,TC-1,lamp,heater\n"
    found = told(load(engine, [small(home, to(OPTIONS, offered)), sheet(asks)]))
    assert [expected in one for one in found] == ([True] if expected else [])


def test_a_pair_of_one_range_is_no_pair_of_another(engine: Engine) -> None:
    more = (
        "[range]\nname,title\ntern,Tern\nswift,Swift\n"
        "[variant]\nname,range,title,generation,body,engine,drive,steering,market\n"
        "S1,swift,S,one,flat,none,rear,left,home\n"
        "[position]\nname,section,title,range,pair\nswift.wheel,wheels,wheel,swift,wheels\n"
    )
    base = small()
    text = base.getvalue().replace("order,generations\n", "order,generations,range\n", 1)
    assert load(engine, sheet(text)).ok
    (one,) = [m for m in told(load(engine, sheet(more))) if "pair" in m]
    assert "no other position has the pair 'wheels'; a pair needs two" in one


@pytest.mark.parametrize(
    ("word", "known", "meant"),
    [
        ("chrge", "charge", "charge"),
        ("chrage", "charge", "charge"),
        ("Charge", "charge", "charge"),
        ("heavy duty", "heavy-duty", "heavy-duty"),
        ("heavy-dtuy", "heavy-duty", ""),
        ("overdrvie", "overdrive", "overdrive"),
        ("lamp.left", "lamp.right", ""),
        ("aux1", "aux2", ""),
        ("charge.2", "charge.1", ""),
        ("seat.a", "seat.b", ""),
        ("series II", "series III", ""),
        ("XPAG5", "XPEG5", ""),
        ("gear", "rear", ""),
    ],
)
def test_a_slip_is_a_letter_in_a_word_and_no_other_name(word: str, known: str, meant: str) -> None:
    assert slip_of(word, [known]) == meant
