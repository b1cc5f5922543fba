"""What people say, as terms: plurals, forms, spellings, sizes, other words, and no more work than bounded."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graftbook.catalogue.finding.measures import MeasureSaid, read_as_measures, same_size
from graftbook.catalogue.finding.speech import (
    MOST_WORDS,
    forms,
    other_words,
    root,
    roots,
    stem,
    stems,
    terms_of,
    words,
)

ONE = {
    "disc": ("disc", "discs", "disk", "disks"),
    "tyre": ("tyre", "tyres", "tire", "tires"),
    "battery": ("battery", "batteries"),
    "switch": ("switch", "switches"),
    "caliper": ("caliper", "calipers", "calliper", "callipers"),
    "carburettor": ("carburettor", "carburetor", "carburetors"),
    "galvanised": ("galvanised", "galvanized", "galvanize", "galvanise"),
    "rust": ("rust", "rusts", "rusted", "rusty", "rusting"),
    "fade": ("fade", "fades", "fading"),
    "leak": ("leak", "leaks", "leaking", "leaky"),
    "corrode": ("corrode", "corrodes", "corroded"),
    "rot": ("rot", "rots", "rotten"),
    "4": ("four", "4"),
    "4.1": ("4.1", "4.10", "4.100"),
    "boil": ("boil", "boils", "boiling"),
    "axle": ("axle", "axles"),
    "cylinder": ("cylinder", "cyl", "cyls"),
    "left": ("left", "lh", "lhs"),
    "bearing": ("bearing", "brg", "brgs"),
}


@pytest.mark.parametrize("meant", ONE)
def test_the_forms_of_a_word_are_one(meant: str) -> None:
    assert {tuple(roots(form)) for form in ONE[meant]} == {(root(stem(meant)),)}


APART = [
    ("bearing", "bear"), ("spring", "spr"), ("leading", "lead"), ("lining", "line"), ("brass", "bras"),
    ("gas", "ga"), ("lens", "len"), ("steering", "steer"), ("speed", "spe"), ("note", "not"),
    ("chassis", "chassi"),
]  # fmt: skip


@pytest.mark.parametrize(("word", "other"), APART)
def test_what_only_looks_alike_stays_apart(word: str, other: str) -> None:
    assert root(stem(word)) != root(stem(other))


@pytest.mark.parametrize("meant", [meant for meant in ONE if "." not in meant])
def test_an_index_of_words_as_written_is_asked_for_every_form(meant: str) -> None:
    assert set(ONE[meant]) <= forms(root(stem(meant)))


def test_the_words_that_say_nothing_are_left_out() -> None:
    assert stems("Have you got the brake discs for my van, please?") == ["you", "brake", "disc", "van"]


def test_a_number_stands_apart_from_its_unit() -> None:
    assert words("12v 60A 6x15 185R15 4.5in") == [
        "12",
        "v",
        "60",
        "a",
        "6",
        "x",
        "15",
        "185",
        "r",
        "15",
        "4.5",
        "in",
    ]


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("60 amp", ("current", 60.0)),
        ("60A", ("current", 60.0)),
        ("12 volts", ("voltage", 12.0)),
        ("10 inch", ("length", 0.254)),
        ("20mm", ("length", 0.02)),
        ("4.5 in", ("length", 0.1143)),
        ("83 degrees", ("temperature", 356.15)),
    ],
)
def test_a_number_with_its_unit_is_a_size(text: str, size: tuple[str, float]) -> None:
    (said,) = read_as_measures(words(text))
    assert isinstance(said, MeasureSaid)
    ((quantity, value),) = said.values
    assert (quantity, value) == (size[0], pytest.approx(size[1]))


def test_in_before_a_place_is_no_inch() -> None:
    assert list(read_as_measures(words("2 in front"))) == ["2", "in", "front"]


def test_one_size_is_sold_under_two_numbers() -> None:
    assert same_size(0.254, 10 * 0.0254)
    assert not same_size(0.254, 0.268)


OTHERS = other_words([("generator", ["dynamo"]), ("petrol tank", ["fuel tank"]), ("tank", ["vessel"])])


def test_another_word_is_looked_for_beside_the_word_itself() -> None:
    (term,) = terms_of("generators", OTHERS)
    assert (term.said, term.also) == ("generator", ("dynamo",))
    assert term.ways == (("generator",), ("dynamo",))


def test_the_longest_phrase_is_taken() -> None:
    assert [term.said for term in terms_of("petrol tanks", OTHERS)] == ["petrol tank"]
    assert [term.also for term in terms_of("steel tank", OTHERS)] == [(), ("vessel",)]


def test_only_the_last_word_is_being_typed() -> None:
    assert [term.begun for term in terms_of("brake dis", OTHERS, begun=True)] == [False, True]
    assert not any(term.begun for term in terms_of("brake 20 mm", OTHERS, begun=True)[1:])


def test_a_word_said_twice_is_one() -> None:
    assert len(terms_of("disc discs disk", OTHERS)) == 1


HOSTILE = [
    "",
    " ",
    "\x00",
    "'" * 200,
    "%_\\",
    "x" * 100_000,
    "1x" * 5_000,
    "9" * 400 + " mm",
    "1e999 mm",
    "٣ mm",
    "²x² in",
]


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_any_text_is_a_bounded_number_of_terms(text: str) -> None:
    found = terms_of(text, OTHERS, begun=True)
    assert len(found) <= MOST_WORDS
    assert all(len(term.said) < 200 for term in found)


@given(st.text(max_size=300))
def test_no_text_is_refused_and_roots_are_roots_of_words(text: str) -> None:
    assert len(terms_of(text, OTHERS)) <= MOST_WORDS
    for word in words(text):
        assert root(stem(word))


@given(st.text(alphabet="abcdeginorsty", min_size=1, max_size=12))
def test_every_form_that_is_asked_for_has_the_root(word: str) -> None:
    wanted = root(stem(word))
    assert all(root(stem(form)) == wanted for form in forms(wanted))
