"""How well something answers to what was said: what it is before what merely names it. Pure.

Each thing that can be found is an entry: its roots, each with a weight. The noun that says what a part is
weighs most, then what stands before it (`front brake` of `front brake disc`), then what sits at its place,
then the rest of its name. An entry answers to a term by the best of the term's ways; a word that few entries
have says more than one that many have.
"""

import re
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import log
from typing import Literal

from graftbook.catalogue.finding.measures import MeasureSaid, read_as_measures, same_size
from graftbook.catalogue.finding.speech import Term, roots, words
from graftbook.catalogue.format.names import END

Kind = Literal["upgrade", "component", "flaw"]

NOUN, HEAD, NAME, PLACE, VALUE = 4.0, 2.5, 1.0, 0.8, 0.6
SITS_NOUN, SITS_HEAD = 2.2, 1.6
"""What a place is called says what sits there, less surely than its own name."""
OTHER_WAY = 0.85
"""What a word in the catalogue's place counts, against the word itself."""
BEGUN = 0.7
"""And the beginning of a word."""
_IN_NAME, _RECORDED, _BARE_NUMBER = 2.5, 1.8, 0.6
"""A size that stands in the name, that is recorded, and the number alone with another unit or none."""
_PRECEDENCE: Mapping[Kind, float] = {"upgrade": 1.0, "component": 0.0, "flaw": -0.4}
_WHOLE, _COVERED = 0.9, 3.0
_NEARLY = 0.12
_BARE = 0.5
"""What a number without a unit tells, against a word."""
_ENOUGH = 0.7
"""What does not fit comes first only where what fits answers to less than this part of it."""
_AFTER_THE_NOUN = re.compile(r",| of | for | with | in | on | to | at |\(|:|;")


@dataclass(frozen=True, slots=True)
class Entry:
    """Something that can be found. `fits` is None where no vehicle is in hand.

    `head`: the roots that say what it is. `sizes`: (quantity, SI value, weight). `prior`: what speaks for it
    whatever was said.
    """

    kind: Kind
    name: str
    title: str
    section: str = ""
    fits: bool | None = None
    detail: str = ""
    weights: Mapping[str, float] = field(default_factory=dict)
    head: tuple[str, ...] = ()
    sizes: tuple[tuple[str, float, float], ...] = ()
    prior: float = 0.0


@dataclass(frozen=True, slots=True)
class Hit:
    """An entry that answers, the terms that it answers to, and how well."""

    entry: Entry
    met: tuple[str, ...]
    score: float


def head_of(title: str) -> tuple[str, ...]:
    """The roots that say what something is: `front brake disc` of `front brake disc, solid`."""
    return tuple(roots(_AFTER_THE_NOUN.split(title, maxsplit=1)[0]))


def weights_of(
    title: str, *also: tuple[float, Iterable[str]], sits: Iterable[str] = (), called: Iterable[str] = ()
) -> dict[str, float]:
    """The roots of a name with their weights, and those of what else is told of it.

    `sits`: the titles of its places; `called`: what else it is called, as good as its name.
    """
    found: dict[str, float] = {}

    def add(those: Iterable[str], weight: float) -> None:
        for word in those:
            found[word] = max(found.get(word, 0.0), weight)

    for name in (title, *called):
        head = head_of(name)
        add(head[-1:], NOUN)
        add(head, HEAD)
        add(roots(name), NAME)
    for place in sits:
        head = head_of(place)
        add(head[-1:], SITS_NOUN)
        add(head, SITS_HEAD)
        add(roots(place), PLACE)
    for weight, texts in also:
        for text in texts:
            add(roots(text), weight)
    return found


def sizes_in(text: str) -> list[tuple[str, float, float]]:
    """The sizes that stand in a text."""
    sizes = [piece for piece in read_as_measures(words(text)) if isinstance(piece, MeasureSaid)]
    return [(quantity, value, _IN_NAME) for piece in sizes for quantity, value in piece.values]


def recorded(quantity: str, value: float) -> tuple[str, float, float]:
    """A size that is recorded as a characteristic."""
    return (quantity, value, _RECORDED)


class Index:
    """Entries by their roots, made once. What it finds does not depend on the order of the entries."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self.entries = sorted(entries, key=lambda entry: (entry.kind, entry.name))
        self._having: dict[str, dict[int, float]] = defaultdict(dict)
        self._sizes: dict[str, list[tuple[float, int, float]]] = defaultdict(list)
        for at, entry in enumerate(self.entries):
            for word, weight in entry.weights.items():
                self._having[word][at] = weight
            for quantity, value, weight in entry.sizes:
                self._sizes[quantity].append((value, at, weight))
        self.vocabulary = sorted(self._having)

    def knows(self, word: str) -> bool:
        """Whether an entry has the root."""
        return word in self._having

    def begins(self, start: str) -> list[str]:
        """The roots that begin so."""
        at = bisect_left(self.vocabulary, start)
        end = bisect_left(self.vocabulary, start + END)
        return self.vocabulary[at:end]

    def ranked(
        self,
        terms: Sequence[Term],
        limit: int,
        fits: Callable[[int], bool | None] | None = None,
        leaning: Callable[[int], float] | None = None,
    ) -> list[tuple[int, Hit]]:
        """The entries that answer best, each by its place in `entries`; what fits the vehicle comes first.

        `fits` and `leaning` tell of such a place whether it fits, and what else speaks for it.
        """
        worths = [self._worths(term) for term in terms]
        says = [self._says(term, worth) for term, worth in zip(terms, worths, strict=True)]
        whole = sum(says) or 1.0
        covered: dict[int, float] = defaultdict(float)
        for worth, weight in zip(worths, says, strict=True):
            for at in worth:
                covered[at] += weight / whole
        fitting = {at: self.entries[at].fits if fits is None else fits(at) for at in covered}
        kept = _near_the_best(covered, fitting)
        hits = [(at, self._hit(at, terms, worths, says, covered[at])) for at in kept]
        first = _first(covered, fitting)
        hits.sort(
            key=lambda each: (
                (fitting[each[0]] is False) == first,
                -round(each[1].score + (leaning(each[0]) if leaning else 0.0), 9),
                len(each[1].entry.weights),
                each[1].entry.name,
            )
        )
        return hits[:limit]

    def _says(self, term: Term, worth: Mapping[int, float]) -> float:
        """How much a term tells: more where few have it, less where it is a bare number."""
        rare = log(1 + (len(self.entries) + 1) / (len(worth) or 1))
        return rare * (_BARE if term.said.isdigit() else 1.0)

    def _hit(
        self,
        at: int,
        terms: Sequence[Term],
        worths: Sequence[Mapping[int, float]],
        says: Sequence[float],
        covered: float,
    ) -> Hit:
        entry = self.entries[at]
        met = tuple(term.said for term, worth in zip(terms, worths, strict=True) if at in worth)
        asked = {word for term in terms for way in term.ways for word in way}
        mean = sum(worth.get(at, 0.0) * weight for worth, weight in zip(worths, says, strict=True)) / sum(
            says
        )
        shown = sum(word in asked for word in entry.head) / len(entry.head) if entry.head else 0.0
        score = mean + _COVERED * covered + _WHOLE * shown + _PRECEDENCE[entry.kind] + entry.prior
        return Hit(entry, met, score)

    def _worths(self, term: Term) -> dict[int, float]:
        """How well each entry answers to a term, by the best of its ways. The last word of several counts
        twice, since it says what is meant: a `drum brake` is a brake, a `brake drum` is a drum."""
        best: dict[int, float] = {}
        for number, way in enumerate(term.ways):
            counts = _BARE_NUMBER if term.measures else OTHER_WAY if number else 1.0
            each = [self._with(word, begun=term.begun and word == way[-1]) for word in way]
            for at in set(each[0]).intersection(*each[1:]) if each else ():
                total = sum(weights[at] for weights in each) + each[-1][at] * (len(each) > 1)
                worth = total / (len(each) + (len(each) > 1)) * counts
                best[at] = max(best.get(at, 0.0), worth)
        for quantity, wanted in term.measures:
            for value, at, weight in self._sizes.get(quantity, ()):
                if same_size(value, wanted):
                    best[at] = max(best.get(at, 0.0), weight)
        return best

    def _with(self, word: str, *, begun: bool) -> Mapping[int, float]:
        if not begun:
            return self._having.get(word, {})
        found: dict[int, float] = {}
        for other in self.begins(word):
            part = 1.0 if other == word else BEGUN
            for at, weight in self._having[other].items():
                found[at] = max(found.get(at, 0.0), weight * part)
        return found


def _most(covered: Mapping[int, float], fitting: Mapping[int, bool | None], *, fits: bool) -> float:
    return max((part for at, part in covered.items() if (fitting[at] is not False) == fits), default=0.0)


def _first(covered: Mapping[int, float], fitting: Mapping[int, bool | None]) -> bool:
    """Whether what fits the vehicle comes first."""
    return _most(covered, fitting, fits=True) >= _ENOUGH * _most(covered, fitting, fits=False)


def _near_the_best(covered: Mapping[int, float], fitting: Mapping[int, bool | None]) -> list[int]:
    """Those that answer to nearly as much as the best; of what does not fit, no less than of what fits."""
    of_fitting = _most(covered, fitting, fits=True)
    of_others = max(of_fitting, _most(covered, fitting, fits=False))
    return [
        at
        for at, part in covered.items()
        if part >= (of_others - 1e-9 if fitting[at] is False else of_fitting - _NEARLY)
    ]
