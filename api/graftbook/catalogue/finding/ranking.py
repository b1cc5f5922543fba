"""How well something answers to what was said: what it is before what merely names it. Pure.

Each thing that can be found is an entry: its stems, each with a weight. The noun that says what a part is
weighs most, then what stands before it (`front brake` of `front brake disc`), then the rest of its name, then
the place where it sits. An entry answers to a term by the best of the term's ways; how many terms it answers
to counts before how well.
"""

import re
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from rapidfuzz.distance import OSA

from graftbook.catalogue.finding.speech import Term, stems

Kind = Literal["upgrade", "component", "flaw"]

NOUN, HEAD, NAME, PLACE, VALUE = 4.0, 2.5, 1.0, 0.8, 0.6
OTHER_WAY = 0.85
"""What a word in the catalogue's place counts, against the word itself."""
BEGUN = 0.7
"""And the beginning of a word."""
_PRECEDENCE: Mapping[Kind, float] = {"upgrade": 3.0, "component": 0.0, "flaw": -1.0}
_AFTER_THE_NOUN = re.compile(r",| of | for | with | in | on | to | at |\(|:")
LEAST_OF_A_SLIP = 4
_LONG = 8


@dataclass(frozen=True, slots=True)
class Entry:
    """Something that can be found. `fits` is None where no vehicle is in hand."""

    kind: Kind
    name: str
    title: str
    section: str = ""
    fits: bool | None = None
    detail: str = ""
    weights: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Hit:
    """An entry that answers, the terms that it answers to, and how well."""

    entry: Entry
    met: tuple[str, ...]
    score: float


def weights_of(title: str, *also: tuple[float, Iterable[str]]) -> dict[str, float]:
    """The stems of a name with their weights, and those of what else is told of it."""
    head = _AFTER_THE_NOUN.split(title, maxsplit=1)[0]
    found: dict[str, float] = {}

    def add(words: Iterable[str], weight: float) -> None:
        for word in words:
            found[word] = max(found.get(word, 0.0), weight)

    in_head = stems(head)
    add(in_head[-1:], NOUN)
    add(in_head, HEAD)
    add(stems(title), NAME)
    for weight, texts in also:
        for text in texts:
            add(stems(text), weight)
    return found


def ranked(entries: Iterable[Entry], terms: Sequence[Term], limit: int) -> list[Hit]:
    """The entries that answer best: to most terms, on the vehicle in hand first, then by how well."""
    if not terms:
        return []
    hits = [hit for entry in entries if (hit := _hit(entry, terms)) is not None]
    most = max((len(hit.met) for hit in hits), default=0)
    least = len(terms) if most == len(terms) else max(1, most)
    kept = [hit for hit in hits if len(hit.met) >= least]
    kept.sort(key=lambda hit: (hit.entry.fits is False, -hit.score, len(hit.entry.weights), hit.entry.name))
    return kept[:limit]


def _hit(entry: Entry, terms: Sequence[Term]) -> Hit | None:
    met, score = [], _PRECEDENCE[entry.kind]
    for term in terms:
        if (worth := _worth(entry.weights, term)) > 0:
            met.append(term.said)
            score += worth
    return Hit(entry, tuple(met), score) if met else None


def _worth(weights: Mapping[str, float], term: Term) -> float:
    best = 0.0
    for number, way in enumerate(term.ways):
        each = [_weight(weights, word, begun=term.begun and word == way[-1]) for word in way]
        if each and all(each):
            best = max(best, sum(each) / len(each) * (OTHER_WAY if number else 1.0))
    return best


def _weight(weights: Mapping[str, float], word: str, *, begun: bool) -> float:
    known = weights.get(word, 0.0)
    if known or not begun:
        return known
    return BEGUN * max((weight for other, weight in weights.items() if other.startswith(word)), default=0.0)


def mended(terms: Sequence[Term], vocabulary: Sequence[str]) -> list[Term]:
    """The terms; one that no entry has a word of, with the word of the vocabulary that it is a slip of.

    `vocabulary` is sorted.
    """
    return [_mended(term, vocabulary) for term in terms]


def _mended(term: Term, vocabulary: Sequence[str]) -> Term:
    if (
        len(term.ways) > 1
        or len(term.ways[0]) > 1
        or len(term.said) < LEAST_OF_A_SLIP
        or not term.said.isalpha()
    ):
        return term
    at = bisect_left(vocabulary, term.said)
    if at < len(vocabulary) and (
        vocabulary[at] == term.said or (term.begun and vocabulary[at].startswith(term.said))
    ):
        return term
    allowed = 2 if len(term.said) >= _LONG else 1
    near = [
        (OSA.distance(term.said, word, score_cutoff=allowed), word)
        for word in vocabulary
        if word[:1] == term.said[:1]
    ]
    distance, word = min(near, default=(allowed + 1, ""))
    return Term(word, ((word,),), term.begun) if distance <= allowed else term
