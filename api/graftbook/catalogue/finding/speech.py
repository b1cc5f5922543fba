"""What people say at a counter, as terms to look for: plurals, both spellings of English, other words.

A word is looked for by its stem, so that `discs` finds `disc`. What the catalogue calls by another word is
told by its own list (`other_word` records): `generator` is looked for as `dynamo` as well. Pure.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

from graftbook.catalogue.format.names import as_typed, plain_text

_WORD = re.compile(r"[^\W_]+(?:\.[0-9]+)?")
LEFT_OUT = frozenset((
    "a", "an", "and", "any", "are", "at", "by", "can", "do", "does", "for", "from", "have", "has", "i", "in",
    "is", "it", "its", "me", "my", "need", "new", "of", "on", "or", "our", "part", "parts", "please", "some",
    "that", "the", "this", "to", "too", "want", "we", "when", "which", "with",
))  # fmt: skip
"""Words that say nothing of a part. `off` and `up` say where something is or what it does, so they stay."""

SPELLINGS = {
    "disk": "disc", "tire": "tyre", "calliper": "caliper", "aluminum": "aluminium", "gray": "grey",
    "color": "colour", "center": "centre", "fiber": "fibre", "gage": "gauge", "curb": "kerb",
    "carburetor": "carburettor", "carburator": "carburettor", "carburreter": "carburettor",
    "galvanized": "galvanised", "galvanize": "galvanised", "galvanise": "galvanised", "mold": "mould",
    "molding": "moulding", "rubberized": "rubberised", "chromium": "chrome", "chromed": "chrome",
    "stabilizer": "stabiliser", "synchro": "synchromesh", "sulfur": "sulphur", "plow": "plough",
    "meter": "metre", "liter": "litre", "armor": "armour", "labor": "labour", "odor": "odour",
}  # fmt: skip
"""One spelling for each word that has several; what stands on the right is looked for."""

_AS_THEY_ARE = frozenset(("bus", "chassis", "gas", "lens", "series", "axis", "bias", "less"))
_SLIPS = ("0OQD", "1IL", "2Z", "5S", "8B", "6G", "UV")
"""Signs that are taken for one another in a number that is read off a worn part or heard."""
MOST_READINGS = 400


def stem(word: str) -> str:
    """A word in the singular and in one spelling; small letters."""
    if word in _AS_THEY_ARE or len(word) < 4:
        return SPELLINGS.get(word, word)
    if word.endswith("ies") and len(word) > 4:
        word = word[:-3] + "y"
    elif word.endswith(("ches", "shes", "sses", "xes", "zes")):
        word = word[:-2]
    elif word.endswith("s") and not word.endswith(("ss", "us", "is")):
        word = word[:-1]
    return SPELLINGS.get(word, word)


def stems(text: str) -> list[str]:
    """The words of a text by their stems, in their order, without those that say nothing."""
    words = _WORD.findall(plain_text(text).lower())
    return [stem(word) for word in words if word not in LEFT_OUT]


def forms(stemmed: str) -> set[str]:
    """The words that have a stem, as far as they can be made: for an index that holds words as written."""
    spelt = {stemmed, *(other for other, one in SPELLINGS.items() if one == stemmed)}
    ends = {f"{word}{end}" for word in spelt for end in ("", "s", "es")}
    return ends | {f"{word[:-1]}ies" for word in spelt if word.endswith("y")}


@dataclass(frozen=True, slots=True)
class Term:
    """One thing that is looked for: as it was said, and each way in which it may stand in the catalogue.

    `ways` are groups of stems, all of which must be there. `begun`: the word may go on, it is being typed.
    """

    said: str
    ways: tuple[tuple[str, ...], ...]
    begun: bool = False


OtherWords = Mapping[tuple[str, ...], tuple[tuple[str, ...], ...]]
"""Stems of what people say → stems of each of the catalogue's words for it."""


def other_words(pairs: Iterable[tuple[str, Sequence[str]]]) -> OtherWords:
    """The list of a catalogue, by stems."""
    found: dict[tuple[str, ...], tuple[tuple[str, ...], ...]] = {}
    for said, means in pairs:
        key = tuple(stems(said))
        found[key] = (*found.get(key, ()), *(tuple(stems(each)) for each in means))
    return found


def terms_of(text: str, others: OtherWords, *, begun: bool = False) -> list[Term]:
    """What a text asks for, the longest known phrases first. `begun`: its last word may go on."""
    words = stems(text)
    longest = max(map(len, others), default=1)
    found: list[Term] = []
    at = 0
    while at < len(words):
        length = next((n for n in range(longest, 0, -1) if tuple(words[at : at + n]) in others), 1)
        said = tuple(words[at : at + length])
        at += len(said)
        ways = dict.fromkeys((said, *others.get(said, ())))
        found.append(Term(" ".join(said), tuple(ways), begun and at >= len(words)))
    return found


def looks_like_a_number(text: str) -> bool:
    """Whether a text may be a part number: digits in it, and no more than two words."""
    return any(letter.isdigit() for letter in text) and len(text.split()) <= 2


def readings(text: str) -> list[str]:
    """A number as it may be meant: signs taken for one another, neighbours swapped; as typed first."""
    typed = as_typed(text)[:24]
    classes = [next((alike for alike in _SLIPS if sign in alike), sign) for sign in typed]
    found = dict.fromkeys([typed])
    for at, alike in enumerate(classes):
        found |= dict.fromkeys(typed[:at] + sign + typed[at + 1 :] for sign in alike)
    for at, (one, two) in enumerate(pairwise(typed)):
        found.setdefault(typed[:at] + two + one + typed[at + 2 :])
    several = [alike for alike in classes if len(alike) > 1]
    if 2 ** len(several) <= MOST_READINGS:
        digits = [(sign, _digit(sign)) for sign in typed]
        found |= dict.fromkeys("".join(signs) for signs in product(*map(dict.fromkeys, digits)))
    return list(found)[:MOST_READINGS]


def _digit(sign: str) -> str:
    """The digit that a letter is taken for, and back."""
    return next((alike[0] if sign != alike[0] else alike[1] for alike in _SLIPS if sign in alike), sign)
