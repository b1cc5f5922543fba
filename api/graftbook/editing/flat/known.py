"""What the catalogue knows of the words in a flat list: vehicles, positions, suppliers, numbers. Pure."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from rapidfuzz.distance import OSA

from graftbook.catalogue.finding.speech import stems
from graftbook.catalogue.format.names import as_typed, plain_text
from graftbook.catalogue.store.nearest import likest
from graftbook.rulebook.units import chassis_number

Fields = dict[str, Any]

ATTRIBUTES = {
    "generations": "generation", "bodies": "body", "engines": "engine", "drives": "drive",
    "markets": "market", "steering": "steering",
}  # fmt: skip
"""Column of a condition → the variant's own."""
EVERY = "every vehicle"
_EVERY = frozenset({"all", "every", "any"})
_SAYS_NOTHING = frozenset({"all", "every", "any", "model", "models", "vehicle", "vehicles", "type", "types"})
_SIDES = {"lhd": "left", "rhd": "right"}
_NOT_A_WORD = re.compile(r"[^\w./-]+")
_REMARK = re.compile(r"\s*\([^)]*\)")
_GROWN_TOGETHER = re.compile(r"-|(?<=\d)(?=[^\W\d])|(?<=[^\W\d])(?=\d)")
MOST_NEAR = 6
SHORTEST_WORD = 3
"""Letters of a word in which one slip is looked for."""


def said(text: str) -> str:
    """A text as it is compared: small letters, single spaces, no punctuation between words."""
    return " ".join(_NOT_A_WORD.sub(" ", plain_text(text).casefold()).split())


@dataclass(frozen=True, slots=True)
class KnownSpan:
    """Chassis numbers of a variant."""

    prefix: str
    first: int
    last: int
    digits: int

    def number(self, serial: int) -> str:
        """A chassis number as the house writes it."""
        return chassis_number(self.prefix, serial, self.digits)


@dataclass(frozen=True, slots=True)
class KnownVariant:
    """A variant with what people call it by."""

    name: str
    title: str
    generation: str
    body: str
    engine: str
    drive: str
    steering: str
    market: str
    spans: tuple[KnownSpan, ...]


@dataclass(frozen=True, slots=True)
class Vehicles:
    """What a word of a list means: these variants, and the columns of a condition that say so."""

    variants: frozenset[str]
    condition: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """(column, values); empty: every vehicle of the range."""


@dataclass(frozen=True, slots=True)
class KnownPosition:
    """A place on a vehicle."""

    name: str
    title: str
    section: str


@dataclass(frozen=True)
class KnownRecords:
    """The catalogue as far as a list touches it. `records`: kind → name → fields, of the list's numbers."""

    variants: Mapping[str, KnownVariant]
    positions: Mapping[str, KnownPosition]
    sections: Mapping[str, str]
    suppliers: Mapping[str, str]
    range: str = ""
    """To be named in conditions; empty while the catalogue has one range."""
    numbers: Mapping[str, list[str]] = field(default_factory=dict)
    """A number without dashes and spaces → the numbers of the catalogue that it may be."""
    records: Mapping[str, Mapping[str, Fields]] = field(default_factory=dict)
    successors: Mapping[str, frozenset[str]] = field(default_factory=dict)
    near: Mapping[str, list[str]] = field(default_factory=dict)
    """An unknown replaced number → numbers like it."""
    with_digits: Mapping[str, list[str]] = field(default_factory=dict)
    """An unknown number without dashes and spaces → those of the catalogue that it is with digits."""

    @cached_property
    def fitments(self) -> Mapping[tuple[str, str], dict[str, Fields]]:
        """(number, position) → name of the fitment → its fields."""
        found: dict[tuple[str, str], dict[str, Fields]] = defaultdict(dict)
        for name, fields in self.records.get("fitment", {}).items():
            found[fields["component"], fields["position"]][name] = fields
        return found

    @cached_property
    def positions_of(self) -> Mapping[str, list[str]]:
        """Number → positions that it has fitments for."""
        found: dict[str, list[str]] = defaultdict(list)
        for number, position in self.fitments:
            found[number].append(position)
        return found

    def meant(self, number: str) -> list[str]:
        """The numbers of the catalogue that a typed one may be; itself alone when it is one."""
        found = self.numbers.get(as_typed(number), [])
        return [number] if number in found else found

    @cached_property
    def _by_name(self) -> Mapping[str, str]:
        titled = {said(variant.title): name for name, variant in self.variants.items()}
        return titled | {said(name): name for name in self.variants}

    @cached_property
    def _by_word(self) -> Mapping[str, set[tuple[str, str]]]:
        """Word → (column, value) that it may stand for."""
        found: dict[str, set[tuple[str, str]]] = defaultdict(set)
        for variant in self.variants.values():
            for column, attribute in ATTRIBUTES.items():
                value = getattr(variant, attribute)
                found[said(value)].add((column, value))
        for word, side in _SIDES.items():
            found[word].add(("steering", side))
        return found

    @cached_property
    def _in_every_title(self) -> frozenset[str]:
        """Words that stand in the title of each variant tell none apart."""
        titles = [set(said(variant.title).split()) for variant in self.variants.values()]
        return _SAYS_NOTHING | frozenset(set.intersection(*titles) if titles else ())

    def vehicles(self, text: str) -> Vehicles | None:
        """What a word or phrase means; None when a part of it is unknown, or can be read in two ways."""
        phrase = said(text)
        if name := self._by_name.get(phrase):
            return Vehicles(frozenset([name]), (("variants", (name,)),))
        found: dict[str, str] = {}
        words = phrase.split()
        for word in words:
            ways = self._by_word.get(word, set())
            if len(ways) == 1:
                ((column, value),) = ways
                if found.setdefault(column, value) != value:
                    return None
            elif ways or word not in self._in_every_title:
                return None
        if not found and not _EVERY & set(words):
            return None
        variants = frozenset(n for n, v in self.variants.items() if _has(v, found))
        return Vehicles(variants, tuple((c, (v,)) for c, v in found.items())) if variants else None

    def is_like_a_title(self, text: str) -> bool:
        """Whether a text is probably one variant's title with a slip in it, commas and all."""
        return bool(likest(said(text), [said(variant.title) for variant in self.variants.values()], 1))

    def vehicles_near(self, text: str) -> list[tuple[str, str]]:
        """Answers that may be meant by a word that is not known."""
        words = {word: word for word in self._by_word}
        every = {**words, **self._by_name}
        near = [every[found] for found in likest(said(text), list(every), MOST_NEAR)]
        meant = [self._put_right(one) for word in said(text).split() for one in self._parts_of(word)]
        phrase = " ".join(meant)
        if phrase in self._by_name:
            near = [self._by_name[phrase], *near]
        elif phrase != said(text) and self.vehicles(phrase):
            near = [phrase, *near]
        rest = " ".join(word for word in meant if word in self._by_word)
        if not near and self.vehicles(rest):
            near = [rest]
        return [(one, self._in_words(one)) for one in dict.fromkeys(near)]

    def _parts_of(self, word: str) -> list[str]:
        """A word that is not known, parted at dashes and between digits and letters."""
        known = word in self._by_word or word in self._in_every_title
        return [word] if known else _GROWN_TOGETHER.sub(" ", word).split()

    def _put_right(self, word: str) -> str:
        """A word with the slip of one key taken out, if that makes one word that is known."""
        known = self._in_every_title.union(self._by_word)
        if word in known or len(word) < SHORTEST_WORD:
            return word
        meant = [other for other in sorted(known) if OSA.distance(word, other) == 1]
        return meant[0] if len(meant) == 1 else word

    def _in_words(self, word: str) -> str:
        if word in self.variants:
            return f"{word}: {self.variants[word].title}"
        ways = self._by_word.get(word, set())
        return ", ".join(sorted(f"{ATTRIBUTES[column]} {value}" for column, value in ways)) or word

    def expand(self, fields: Mapping[str, Any]) -> tuple[Any, ...]:
        """A condition as what it means: its variants, and whatever else it says."""
        named = set(fields.get("variants", ()))
        variants = frozenset(
            name
            for name, variant in self.variants.items()
            if (not named or name in named) and _has_any(variant, fields)
        )
        others = ("options", "without", "chassis_from", "chassis_to", "built_from", "built_to")
        return (variants, *(str(fields.get(column) or "") for column in others))

    @cached_property
    def _places(self) -> Mapping[str, set[str]]:
        found: dict[str, set[str]] = defaultdict(set)
        for place in self.positions.values():
            for text in (place.name, place.title, _REMARK.sub("", place.title)):
                found[said(text)].add(place.name)
                found[" ".join(sorted(stems(text)))].add(place.name)
        return found

    def position(self, text: str) -> str:
        """The position that a text names, whatever the order of its words; empty: none, or several."""
        exact = self._places.get(said(text)) or self._places.get(" ".join(sorted(stems(text))), set())
        return next(iter(exact)) if len(exact) == 1 else ""

    def positions_near(self, text: str) -> list[tuple[str, str]]:
        """Positions that share words with a text, those that share most first."""
        wanted = set(stems(text))
        ranked = sorted(
            (
                (-len(shared) / len(has | wanted), place.title, place.name)
                for place in self.positions.values()
                if (has := self._stems[place.name]) and (shared := has & wanted)
            ),
        )
        return [(name, title) for _, title, name in ranked[:MOST_NEAR]]

    @cached_property
    def _stems(self) -> Mapping[str, set[str]]:
        return {place.name: set(stems(place.title)) for place in self.positions.values()}

    def section(self, text: str) -> str:
        """The section that a text names; empty: none."""
        return self._names_by_word["section"].get(said(text), "")

    def supplier(self, text: str) -> str:
        """The supplier that a text names; empty: none."""
        return self._names_by_word["supplier"].get(said(text), "")

    @cached_property
    def _names_by_word(self) -> Mapping[str, Mapping[str, str]]:
        """Kind → what people say → name; names go before titles."""
        kinds = {"section": self.sections, "supplier": self.suppliers}
        return {
            kind: {said(title): name for name, title in titles.items()}
            | {said(name): name for name in titles}
            for kind, titles in kinds.items()
        }

    @cached_property
    def spans(self) -> Mapping[str, list[tuple[str, KnownSpan]]]:
        """Prefix → (variant, span) of the chassis numbers that begin so."""
        found: dict[str, list[tuple[str, KnownSpan]]] = defaultdict(list)
        for variant in self.variants.values():
            for span in variant.spans:
                found[span.prefix].append((variant.name, span))
        return dict(found)


def _has(variant: KnownVariant, values: Mapping[str, str]) -> bool:
    return all(getattr(variant, ATTRIBUTES[column]) == value for column, value in values.items())


def _has_any(variant: KnownVariant, fields: Mapping[str, Any]) -> bool:
    """Whether a variant has what a condition's columns ask of it."""
    for column, attribute in ATTRIBUTES.items():
        wanted = fields.get(column)
        if wanted and getattr(variant, attribute) not in ([wanted] if isinstance(wanted, str) else wanted):
            return False
    return True


def pieces(text: str, signs: str = ";\n") -> Iterable[str]:
    """The items of a cell that holds several, without blanks."""
    return [item for part in re.split(f"[{signs}]", text) if (item := part.strip())]
