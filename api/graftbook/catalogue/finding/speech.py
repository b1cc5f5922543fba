"""What people say at a counter, as terms to look for: plurals, both spellings of English, other words.

A word is looked for by its root, so that `discs` finds `disc`, and `rusted` or `rusty` finds `rust`. What the
catalogue calls by another word is told by its own list (`other_word` records): `generator` is looked for as
`dynamo` as well. Pure.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from graftbook.catalogue.finding.measures import UNIT_WORDS, pair_at, read_as_measures
from graftbook.catalogue.format.names import plain_text

MOST_WORDS = 24
"""Of a longer text the first words count."""
_LONGEST = 60
_WORD = re.compile(r"[^\W_]+(?:\.[0-9]+)?")
_COUNTED = ("bolt", "cyl", "leaf", "pot", "sp", "spd", "speed", "stud")
"""What a number is written against that counts them, as in `5spd` or `4pot`."""
_GLUED = re.compile(
    rf"([0-9]+(?:\.[0-9]+)?)(x(?=[0-9])|(?:{'|'.join((*UNIT_WORDS, *_COUNTED))}|r)(?![^\W0-9_]))"
)
LEFT_OUT = frozenset((
    "a", "an", "and", "any", "are", "assembly", "assy", "at", "be", "been", "by", "can", "conv", "conversion",
    "do", "does", "for", "from", "get", "gets", "go", "goes", "going", "got", "had", "have", "has", "i", "if",
    "in", "into", "is", "it", "its", "me", "my", "need", "needs", "new", "no", "not", "of", "on", "or", "our",
    "part", "parts", "please", "s", "some", "that", "the", "this", "to", "too", "want", "was", "we", "when",
    "which", "with", "x",
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
    "vapor": "vapour", "burnt": "burned", "leant": "leaned", "worn": "wear", "broken": "break",
    "torn": "tear", "rotten": "rot", "bent": "bend", "stuck": "stick",
    "alt": "alternator", "bkt": "bracket", "brg": "bearing", "cyl": "cylinder", "dist": "distributor",
    "eng": "engine", "exh": "exhaust", "frt": "front", "gbox": "gearbox", "htr": "heater", "hyd": "hydraulic",
    "ign": "ignition", "inj": "injection", "lh": "left", "lhs": "left", "lwr": "lower", "mtg": "mounting",
    "neg": "negative", "pos": "positive", "press": "pressure", "rad": "radiator", "reg": "regulator",
    "rh": "right", "rhs": "right", "rr": "rear", "sp": "speed", "spd": "speed", "susp": "suspension",
    "temp": "temperature", "upr": "upper",
}  # fmt: skip
"""One spelling for each word that has several, or that a parts book cuts short; what stands on the right is
looked for."""

_NUMBERS = {
    word: str(number)
    for number, word in enumerate(("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"), 2)
}
_AS_THEY_ARE = frozenset((
    "bus", "chassis", "gas", "lens", "series", "axis", "bias", "less",
    "bearing", "casing", "casting", "driving", "facing", "gearing", "leading", "lining", "ring", "spring",
    "steering", "string", "timing", "trailing", "winding", "wiring",
))  # fmt: skip
_VOWEL = re.compile("[aeiouy]")
_SHORT = re.compile("[^aeiouy][aeiou][^aeiouwxy]")
"""What is left of `fading`, which is `fade`."""


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


@lru_cache(maxsize=8192)
def root(stemmed: str) -> str:
    """What is common to the forms of a word: `rust` of `rusted` and `rusty`, `4` of `four`, `4.1` of `4.100`.

    Two words of one root are taken for the same.
    """
    if stemmed in _NUMBERS:
        return _NUMBERS[stemmed]
    if stemmed[:1].isdigit():
        return stemmed.rstrip("0").rstrip(".") if "." in stemmed else stemmed
    if stemmed in _AS_THEY_ARE or len(stemmed) < 4:
        return stemmed
    for end in ("ing", "ed"):
        rest = stemmed.removesuffix(end)
        if rest != stemmed and len(rest) > 2 and not stemmed.endswith("eed") and _VOWEL.search(rest):
            double = rest[-1] == rest[-2] and rest[-1] not in "lsz"
            return f"{rest}e" if _SHORT.fullmatch(rest) else rest[:-1] if double else rest.removesuffix("e")
    return stemmed[:-1] if stemmed[-1] in "ye" and len(stemmed) > 4 else stemmed


def words(text: str) -> list[str]:
    """The words of a text in small letters; a number stands apart from its unit."""
    found: list[str] = []
    for word in _WORD.findall(plain_text(text).lower()):
        short = word[:_LONGEST]
        found += _GLUED.sub(r" \1 \2 ", short).split() if short[0].isdigit() else [short]
    return found


def stems(text: str) -> list[str]:
    """The words of a text in the singular, in their order, without those that say nothing."""
    return [stem(word) for word in words(text) if word not in LEFT_OUT]


def roots(text: str) -> list[str]:
    """The words of a text by their roots, without those that say nothing; `5 x 15` is also one."""
    every = words(text)
    pairs = [pair for at in range(len(every)) if (pair := pair_at(every, at))]
    return [root(stem(word)) for word in every if word not in LEFT_OUT] + pairs


def shown(texts: Iterable[str]) -> dict[str, str]:
    """The roots of some texts, each with the shortest word that has it."""
    found: dict[str, str] = {}
    for word in sorted({word for text in texts for word in stems(text)}, key=lambda each: (len(each), each)):
        found.setdefault(root(word), word)
    return found


def forms(wanted: str) -> set[str]:
    """The words that have a root, as far as they can be made: for an index that holds words as written."""
    numbers = {word for word, digit in _NUMBERS.items() if digit == wanted}
    spelt = {wanted, *(other for other, one in SPELLINGS.items() if root(one) == wanted)} | numbers
    doubled = f"{wanted}{wanted[-1:]}"
    if wanted.endswith("e"):
        spelt |= {f"{wanted[:-1]}ing", f"{wanted}d"}
    spelt |= {f"{wanted}e", f"{wanted}y", f"{wanted}ing", f"{wanted}ed", f"{doubled}ing", f"{doubled}ed"}
    ends = {f"{word}{end}" for word in spelt for end in ("", "s", "es")} | {f"{wanted}ies"}
    return {form for form in ends if root(stem(form)) == wanted}


@dataclass(frozen=True, slots=True)
class Term:
    """One thing that is looked for: as it was said, and each way in which it may stand in the catalogue.

    `ways` are groups of roots, all of which must be there; `also` tells the further ones in words.
    `begun`: the word may go on, it is being typed. `measures`: (quantity, SI value) that a number with
    its unit may be.
    """

    said: str
    ways: tuple[tuple[str, ...], ...]
    begun: bool = False
    also: tuple[str, ...] = ()
    measures: tuple[tuple[str, float], ...] = ()


OtherWords = Mapping[tuple[str, ...], tuple[str, ...]]
"""Roots of what people say → the catalogue's words for it."""


def other_words(pairs: Iterable[tuple[str, Sequence[str]]]) -> OtherWords:
    """The list of a catalogue, by roots."""
    found: dict[tuple[str, ...], tuple[str, ...]] = {}
    for phrase, means in pairs:
        key = tuple(roots(phrase))
        if key:
            found[key] = (*found.get(key, ()), *means)
    return found


def terms_of(text: str, others: OtherWords, *, begun: bool = False) -> list[Term]:
    """What a text asks for, the longest known phrases first. `begun`: its last word may go on."""
    pieces = read_as_measures(words(text)[:MOST_WORDS])
    longest = max(map(len, others), default=1)
    found: dict[str, Term] = {}
    plain: list[str] = []

    def said_so_far(*, last: bool) -> None:
        for term in _of_words(plain, others, longest, begun=begun and last):
            found.setdefault(term.said, term)
        plain.clear()

    for piece in pieces:
        if isinstance(piece, str):
            plain += [stem(piece)] if piece not in LEFT_OUT else []
        else:
            said_so_far(last=False)
            ways = ((root(piece.number),),)
            found.setdefault(piece.said, Term(piece.said, ways, measures=piece.values))
    said_so_far(last=True)
    return list(found.values())


def _of_words(words: Sequence[str], others: OtherWords, longest: int, *, begun: bool) -> Iterable[Term]:
    at = 0
    while at < len(words):
        reach = range(min(longest, len(words) - at), 0, -1)
        length = next((n for n in reach if tuple(map(root, words[at : at + n])) in others), 1)
        phrase = words[at : at + length]
        at += length
        key = tuple(map(root, phrase))
        also = others.get(key, ())
        ways = dict.fromkeys((key, *(way for each in also if (way := tuple(roots(each))))))
        yield Term(" ".join(phrase), tuple(ways), begun and at >= len(words), also)
