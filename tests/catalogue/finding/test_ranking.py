"""What comes first: what fits, what it is before what names it; words written as one, apart, or wrong."""

from random import Random

import pytest

from graftbook.catalogue.finding.ranking import Entry, Index, head_of, sizes_in, weights_of
from graftbook.catalogue.finding.slips import near, put_right, unknown
from graftbook.catalogue.finding.speech import Term, other_words, shown, terms_of

NAMES = {
    "1": "front brake disc, solid",
    "2": "bolts for one brake disc",
    "3": "warning label for vans with disc brakes",
    "4": "brake hose, 310 mm",
    "5": "half shaft, 27 splines, left",
    "6": "half shaft, 14 splines, left",
    "7": "hub cap",
    "8": "alternator, 12 V 60 A",
    "9": "dynamo, 12 V 26 A",
    "10": "road wheel, 5 x 15",
    "11": "road wheel, 4.5 x 15",
}


def entry(number: str, name: str, kind: str = "component", fits: bool | None = None) -> Entry:
    return Entry(
        kind,
        number,
        name,
        fits=fits,
        weights=weights_of(name),
        head=head_of(name),
        sizes=tuple(sizes_in(name)),
    )


ENTRIES = [entry(number, name) for number, name in NAMES.items()]
OTHERS = other_words([("generator", ["dynamo"])])


def found(text: str, entries: list[Entry] = ENTRIES, limit: int = 20) -> list[str]:
    return [hit.entry.name for _, hit in Index(entries).ranked(terms_of(text, OTHERS), limit)]


def test_what_it_is_comes_before_what_merely_names_it() -> None:
    assert found("brake disc") == ["1", "2", "3"]
    assert found("discs")[0] == "1"


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("half shaft 27 splines", "5"),
        ("14 spline half shaft", "6"),
        ("60 amp alternator", "8"),
        ("60A", "8"),
        ("generator", "9"),
        ("5 x 15 wheel", "10"),
        ("4.5x15 wheels", "11"),
        ("31 cm hose", "4"),
    ],
)
def test_sizes_and_other_words(text: str, first: str) -> None:
    assert found(text)[0] == first


def test_what_fits_comes_first() -> None:
    entries = [entry("a", "brake disc", fits=False), entry("b", "bolts for one brake disc", fits=True)]
    assert found("brake disc", entries) == ["b", "a"]


def test_what_does_not_fit_comes_first_where_what_fits_hardly_answers() -> None:
    entries = [entry("a", "locking hub", fits=False), entry("b", "hub cap", fits=True)]
    assert found("locking hub", entries) == ["a", "b"]


def test_an_upgrade_comes_before_its_parts() -> None:
    assert found("brake disc", [*ENTRIES, entry("u", "brake discs", "upgrade")])[0] == "u"


def test_a_rare_word_says_more_than_a_common_one() -> None:
    entries = [*(entry(f"c{n}", f"cover, hot, type {n}") for n in range(20)), entry("r", "pump, boils")]
    assert found("boils when hot", entries)[0] == "r"


def test_the_order_of_the_entries_does_not_matter() -> None:
    for seed in range(20):
        mixed = list(ENTRIES)
        Random(seed).shuffle(mixed)
        for text in ("brake", "half shaft left", "12 v", "wheel", "disc"):
            assert found(text, mixed) == found(text)


def test_no_more_than_asked_for() -> None:
    assert len(found("brake", limit=2)) == 2
    assert found("") == []
    assert found("magneto") == []


WORDS = shown(NAMES.values())


def mended(text: str) -> list[Term]:
    return put_right(terms_of(text, OTHERS), WORDS.__contains__, lambda start: False, WORDS)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("alternater", "alternator"), ("altenator", "alternator"), ("lternator", "alternator"),
        ("brkae", "brake"), ("whel", "whel"), ("spliens", "spline"), ("dsic", "disc"), ("dynamo", "dynamo"),
    ],
)  # fmt: skip
def test_a_slip_of_the_hand_is_mended(text: str, meant: str) -> None:
    assert [term.said for term in mended(text)] == [meant]


def test_a_short_word_is_not_bent_into_another() -> None:
    assert [term.said for term in mended("disk fade cab")] == ["disc", "fade", "cab"]


def test_a_word_is_found_written_as_one_or_apart() -> None:
    assert mended("hubcap")[0].ways[0] == ("hub", "cap")
    assert mended("halfshaft")[0].also == ("half shaft",)
    (joined,) = mended("alter nator")
    assert joined.ways == (("alternator",),)


def test_near_words_are_told() -> None:
    assert near(terms_of("alternating", OTHERS), WORDS) == ["alternator"]
    assert near(terms_of("qqqqqq", OTHERS), WORDS) == []
    assert [term.said for term in unknown(terms_of("brake magneto 60 A", OTHERS), WORDS.__contains__)] == [
        "magneto"
    ]
