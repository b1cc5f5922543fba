"""Search: every way of asking, pages that neither lose nor repeat, and one component's facts."""

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.search import CharacteristicAsked, Search, find
from graftbook.catalogue.store.facts import component_facts
from graftbook.database import reading
from graftbook.problems import (
    InvalidCursor,
    InvalidRequest,
    UnknownCharacteristic,
    UnknownSection,
    UnknownVariant,
)
from graftbook.rulebook.model import Comparator
from tests.catalogue.sheet import sheet


def numbers(engine: Engine, **search: object) -> list[str]:
    with reading(engine) as session:
        return [line.number for line in find(session, Search(**search)).lines]


def bore(comparator: str, value: str) -> tuple[CharacteristicAsked, ...]:
    return (CharacteristicAsked("bore", Comparator(comparator), value),)


FOUND = {
    "by the start of a number": ({"number": "tb"}, ["TB-1", "TB-2", "TB-7L", "TB-7R"]),
    "by words": ({"words": "Wheel SPOK"}, ["TW-10"]),
    "by section and origin": ({"section": "wheels", "origin": "modern"}, ["TW-9"]),
    "by supply": ({"supply": "superseded"}, ["TB-1"]),
    "by variant": ({"variant": "T1-R"}, ["TB-1", "TW-10"]),
    "by position": ({"position": "brake"}, ["TB-1", "TB-2"]),
    "by position and variant": ({"position": "brake", "variant": "T1-R"}, ["TB-1"]),
    "by vehicle before a break": ({"chassis": "2L-0500", "position": "brake"}, ["TB-1"]),
    "by vehicle after a break": ({"chassis": "2L-0501", "position": "brake"}, ["TB-2"]),
    "by vehicle without an option": ({"chassis": "2L-0001", "position": "lamp"}, []),
    "by vehicle with an option": ({"chassis": "2L-0001", "position": "lamp", "options": ("lamp",)}, ["TL-1"]),
    "at least, in another unit": ({"asked": bore("at least", "2 cm")}, ["TW-10"]),
    "at most, in another unit": ({"asked": bore("at most", "0.79 in")}, ["TW-10"]),
    "within": ({"asked": bore("within", "19 .. 21 mm")}, ["TW-9", "TW-10"]),
    "equal": ({"asked": bore("equal", "0.02 m")}, ["TW-10"]),
    "equal words": ({"asked": (CharacteristicAsked("finish", Comparator.equal, "plated"),)}, ["TB-2"]),
    "all that is asked must hold": ({"section": "brakes", "asked": bore("at least", "1 mm")}, []),
}


@pytest.mark.parametrize("way", FOUND)
def test_components_are_found(tern: Engine, way: str) -> None:
    search, expected = FOUND[way]
    assert numbers(tern, **search) == expected


def test_numbers_are_in_the_order_of_a_parts_book(tern: Engine) -> None:
    found = numbers(tern)
    assert found.index("TW-9") < found.index("TW-10")
    assert len(found) == 10


@pytest.mark.parametrize("size", [1, 2, 3, 7, 10, 500])
def test_pages_neither_lose_nor_repeat(tern: Engine, size: int) -> None:
    every = numbers(tern)
    seen: list[str] = []
    cursor = ""
    with reading(tern) as session:
        for _ in every:
            page = find(session, Search(), limit=size, cursor=cursor)
            assert page.lines
            seen += [line.number for line in page.lines]
            if page.next is None:
                break
            cursor = page.next
    assert page.next is None, "there are no more pages than numbers"
    assert seen == every


def test_a_page_stays_where_it_is_when_a_component_comes_before_it(tern: Engine) -> None:
    with reading(tern) as session:
        first = find(session, Search(), limit=4)
    load(tern, sheet("[component]\nnumber,name,section,origin\nA-1,new,wheels,modern\n"))
    with reading(tern) as session:
        second = find(session, Search(), limit=20, cursor=first.next or "")
    assert [line.number for line in first.lines] + [line.number for line in second.lines] == [
        n for n in numbers(tern) if n != "A-1"
    ]


@pytest.mark.parametrize("cursor", ["x", "W10", "////", "é", "WyJhIiwiYiJd", "bnVsbA", "W1tdXQ"])
def test_a_cursor_that_was_not_given_out_is_refused(tern: Engine, cursor: str) -> None:
    with reading(tern) as session, pytest.raises(InvalidCursor):
        find(session, Search(), cursor=cursor)


def test_a_cursor_of_another_search_is_refused(tern: Engine) -> None:
    with reading(tern) as session:
        page = find(session, Search(section="brakes"), limit=2)
        with pytest.raises(InvalidCursor):
            find(session, Search(section="wheels"), cursor=page.next or "")


def test_what_is_not_known_is_told(tern: Engine) -> None:
    with reading(tern) as session:
        for search, problem in (
            (Search(section="brake"), UnknownSection),
            (Search(variant="T1-L"), UnknownVariant),
            (Search(asked=(CharacteristicAsked("bores", Comparator.equal, "1 mm"),)), UnknownCharacteristic),
            (Search(asked=bore("equal", "1 A")), InvalidRequest),
            (Search(asked=(CharacteristicAsked("finish", Comparator.at_least, "plated"),)), InvalidRequest),
            (Search(variant="T1-R", chassis="2L-0001"), InvalidRequest),
            (Search(number="- -"), InvalidRequest),
        ):
            with pytest.raises(problem):
                find(session, search)


def test_the_facts_of_a_component(tern: Engine) -> None:
    with reading(tern) as session:
        wheel, disc = component_facts(session, "tw10"), component_facts(session, "TW-9")
        clip, grease = component_facts(session, "TC-1"), component_facts(session, "TG-1")
    assert [f.position for f in wheel.fitments] == ["wheel.left", "wheel.right"]
    assert [s.component for s in wheel.replaced_by] == ["TW-9"]
    assert [f.name for f in wheel.flaws] == ["spokes-loosen"]
    assert {e.name for e in wheel.evidence} == {"book", "tried"}
    assert [c.value for c in wheel.characteristics] == ["20 mm", "14"]
    assert [s.original for s in disc.replaces] == ["TW-10"]
    assert {rule.name for rule in disc.needs} == {"disc-wheel-grease", "disc-wheel-block"}
    assert [rule.name for rule in disc.conflicts] == ["disc-wheel-plain"]
    assert [f.name for f in disc.remedies] == ["spokes-loosen"]
    assert [f.name for f in clip.remedies] == ["spokes-loosen"]
    assert [rule.name for rule in grease.needed_by] == ["disc-wheel-grease"]
    assert wheel.more == ()


def test_the_facts_follow_a_number_to_what_can_be_bought(tern: Engine) -> None:
    with reading(tern) as session:
        old, new = component_facts(session, "TB-1"), component_facts(session, "TB-2")
    assert [(s.old, s.new) for s in old.chain] == [("TB-1", "TB-2")] == [(s.old, s.new) for s in new.chain]
    assert old.current == new.current == ("TB-2",)


@pytest.mark.parametrize("way", ["by words", "at least, in another unit", "equal words"])
def test_common_words_and_values_are_found_alike_by_the_other_path(
    tern: Engine, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    monkeypatch.setattr("graftbook.catalogue.search._MANY", 0)
    search, expected = FOUND[way]
    assert numbers(tern, **search) == expected
