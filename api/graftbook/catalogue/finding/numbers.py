"""Part numbers in what people type: which words may be one, and what it may be a slip of. Pure."""

import re
from collections.abc import Iterable, Sequence
from itertools import islice, pairwise, product

from graftbook.catalogue.format.names import as_typed, plain_text

_SLIPS = ("0OQD", "1IL", "2Z", "5S", "8B", "6G", "UV")
"""Signs that are taken for one another in a number that is read off a worn part or heard."""
LIKE_DIGITS = str.maketrans("OIL", "011")
"""Letters that stand where a digit is meant."""
_LETTERS_FOR_DIGITS = re.compile(r"(?<=[0-9])[OIL]+|[OIL]+(?=[0-9])")
MOST_READINGS = 400
MOST_WIDER = 600
MOST_TYPED = 24
_LONGEST = 24
_TOGETHER = 4
_DIGITS, _LETTERS = "0123456789", "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def looks_like_a_number(text: str) -> bool:
    """Whether a text may be a part number: digits in it, and no more than two words."""
    return any(letter.isdigit() for letter in text) and len(text.split()) <= 2


def typed_in(text: str) -> list[str]:
    """What in a text may be a number, without what people leave out: one to four words that stand together
    and have a digit; the whole text first, then the longest.
    """
    words = [typed for word in plain_text(text)[:200].split()[:12] if (typed := as_typed(word))]
    found: dict[str, None] = {}
    for length in range(min(_TOGETHER, len(words)), 0, -1):
        for at in range(len(words) - length + 1):
            typed = "".join(words[at : at + length])
            if len(typed) <= _LONGEST and re.search("[0-9]", typed) and len(typed) > 2:
                found.setdefault(typed)
    whole = "".join(words)[:_LONGEST]
    return list(dict.fromkeys([*([whole] if whole in found else []), *found]))[:MOST_TYPED]


def readings(text: str) -> list[str]:
    """A number as it may be meant: signs taken for one another, neighbours swapped; as typed first."""
    typed = as_typed(text)[:_LONGEST]
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


def with_digits(typed: str) -> list[str]:
    """A number whose letters beside digits may be digits themselves, O for 0, I or L for 1; not as typed."""
    ways: list[tuple[str, ...]] = [(sign,) for sign in typed]
    for found in _LETTERS_FOR_DIGITS.finditer(typed):
        for at in range(*found.span()):
            ways[at] = (typed[at], typed[at].translate(LIKE_DIGITS))
    return ["".join(signs) for signs in islice(product(*ways), 1, MOST_READINGS)]


def wider_readings(typed: str) -> list[str]:
    """A number with one key struck wrong, too much or too little: any other digit or letter in one place."""
    typed = typed[:_LONGEST]
    found: dict[str, None] = {}
    for at, sign in enumerate(typed):
        others = _DIGITS if sign.isdigit() else _LETTERS
        found |= dict.fromkeys(typed[:at] + other + typed[at + 1 :] for other in others if other != sign)
    found |= dict.fromkeys(typed[:at] + typed[at + 1 :] for at in range(len(typed)))
    found |= dict.fromkeys(
        typed[:at] + digit + typed[at:] for at in range(len(typed) + 1) for digit in _DIGITS
    )
    found.pop(typed, None)
    return list(found)[:MOST_WIDER]


def worth_widening(candidates: Iterable[str]) -> Sequence[str]:
    """Those that are surely meant as numbers: letters, and three digits at least."""
    return [
        typed
        for typed in candidates
        if typed[:1].isalpha() and sum(sign.isdigit() for sign in typed) > 2 and len(typed) > 4
    ][:2]


def _digit(sign: str) -> str:
    """The digit that a letter is taken for, and back."""
    return next((alike[0] if sign != alike[0] else alike[1] for alike in _SLIPS if sign in alike), sign)
