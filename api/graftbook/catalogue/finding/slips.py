"""Words that no entry has: written as one or apart, slips of the hand, and what is near. Pure."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from graftbook.catalogue.finding.speech import Term, root

LEAST_OF_A_SLIP = 4
_LONG = 8
_LEAST_PIECE = 3
_ALIKE = 70.0
MOST_NEAR = 5


def unknown(terms: Iterable[Term], knows: Callable[[str], bool]) -> list[Term]:
    """The terms of which no way is known in whole."""
    return [
        term
        for term in terms
        if not term.measures and not any(way and all(map(knows, way)) for way in term.ways)
    ]


def pieces_of(terms: Iterable[Term]) -> set[str]:
    """Every root that an unknown term may be put together from, or be put together to."""
    every = list(terms)
    found = {part for term in every for pair in _apart(term) for part in pair}
    return found | {joined for one, other in pairwise(every) if (joined := _as_one_word(one, other))}


def put_right(
    terms: Sequence[Term],
    knows: Callable[[str], bool],
    begins: Callable[[str], bool],
    words: Mapping[str, str],
) -> list[Term]:
    """The terms; one that nothing has, as the two words or the one that it is written for, else as the word
    that it is a slip of. `words`: root → a word of it.
    """
    found: list[Term] = []
    at = 0
    while at < len(terms):
        term = terms[at]
        if not unknown([term], knows) or (term.begun and begins(term.ways[0][-1])):
            found.append(term)
        elif at + 1 < len(terms) and (joined := _as_one_word(term, terms[at + 1])) and knows(joined):
            found.append(replace(terms[at + 1], said=f"{term.said} {terms[at + 1].said}", ways=((joined,),)))
            at += 1
        else:
            found.append(_put_right(term, knows, words))
        at += 1
    return found


def _put_right(term: Term, knows: Callable[[str], bool], words: Mapping[str, str]) -> Term:
    for pair in _apart(term):
        if all(map(knows, pair)):
            return replace(
                term, ways=(pair, *term.ways), also=(" ".join(words.get(p, p) for p in pair), *term.also)
            )
    meant = _slip_of(term, words)
    return replace(term, said=words[meant], ways=((meant,),)) if meant else term


def _slip_of(term: Term, words: Mapping[str, str]) -> str:
    if len(term.ways[0]) > 1 or len(term.said) < LEAST_OF_A_SLIP or not term.said.isalpha():
        return ""
    allowed = 2 if len(term.said) >= _LONG else 1
    close = process.extract(term.said, words, scorer=OSA.distance, score_cutoff=allowed, limit=None)
    alike = [
        (distance, word[:1] != term.said[:1], len(word) < len(term.said), word, of)
        for word, distance, of in close
        if word.isalpha() and (len(term.said) > LEAST_OF_A_SLIP or sorted(word) == sorted(term.said))
    ]
    return min(alike)[-1] if alike else ""


def _apart(term: Term) -> list[tuple[str, str]]:
    word = term.said
    if not word.isalpha() or len(word) < 2 * _LEAST_PIECE:
        return []
    cuts = range(_LEAST_PIECE, min(len(word), 24) - _LEAST_PIECE + 1)
    return [(root(word[:cut]), root(word[cut:])) for cut in cuts]


def _as_one_word(one: Term, other: Term) -> str:
    typed = one.said + other.said
    return root(typed) if typed.isalpha() and len(typed) <= 24 else ""


def near(terms: Iterable[Term], words: Mapping[str, str]) -> list[str]:
    """Words of the catalogue that look like what was said; what was said is not like itself."""
    found: dict[str, None] = {}
    for term in terms:
        alike = process.extract(term.said, words, scorer=fuzz.ratio, limit=2, score_cutoff=_ALIKE)
        found |= dict.fromkeys(word for word, _, _ in alike if not word.isdigit() and root(word) != term.said)
    return list(found)[:MOST_NEAR]
