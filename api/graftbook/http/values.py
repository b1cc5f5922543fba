"""How single values and whole documents are written in JSON: money, days, efforts, grades, severities; knows
nothing of HTTP, so that a reasoning process can write an answer too.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, Literal, overload

import orjson

from graftbook.closure.answer import Cause
from graftbook.closure.criteria import Criterion
from graftbook.rulebook.model import Effort, Grade, Severity, SeverityWord

GradeWord = Literal[
    "no evidence", "hearsay", "parts book", "workshop manual", "measured", "trial fitted", "built and driven"
]
EFFORT_WORDS = {effort: effort.name.replace("_", " ") for effort in Effort}
EFFORT_BY_WORD = {word: effort for effort, word in EFFORT_WORDS.items()}
GRADE_WORDS: Mapping[Grade, GradeWord] = {
    Grade.none: "no evidence",
    Grade.hearsay: "hearsay",
    Grade.parts_book: "parts book",
    Grade.workshop_manual: "workshop manual",
    Grade.measured: "measured",
    Grade.trial_fitted: "trial fitted",
    Grade.built_and_driven: "built and driven",
}
GRADE_BY_WORD = {word: grade for grade, word in GRADE_WORDS.items()}
SEVERITY_WORDS: Mapping[Severity, SeverityWord] = {
    Severity.minor: "minor",
    Severity.moderate: "moderate",
    Severity.severe: "severe",
    Severity.dangerous: "dangerous",
}
SEVERITY_BY_WORD = {word: severity for severity, word in SEVERITY_WORDS.items()}
CRITERION_BY_WORD = {criterion.name: criterion for criterion in Criterion}
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip


@overload
def money(minor: int) -> str: ...


@overload
def money(minor: int | None) -> str | None: ...


def money(minor: int | None) -> str | None:
    """Minor units as an exact decimal with two places: 148620 is "1486.20"; None is unknown."""
    if minor is None:
        return None
    return f"{Decimal(minor).scaleb(-2):.2f}"


def money_in_words(minor: int) -> str:
    """Minor units as a sentence says them: 148620 is "1,486.20"."""
    return f"{Decimal(minor).scaleb(-2):,.2f}"


def day_in_words(day: date) -> str:
    """A day as a sentence says it: "1 March 1968"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


_CLAIMS_NOTHING = (Cause.wish, Cause.limit, Cause.pair, Cause.fact)


def evidence_for(cause: Cause, grade: Grade) -> GradeWord | None:
    """What is recorded for what a reason says; None for what needs no evidence: a wish, a limit, a pair."""
    return None if cause in _CLAIMS_NOTHING else GRADE_WORDS[grade]


def capital(text: str) -> str:
    """The text as a sentence begins: with a capital."""
    return text[:1].upper() + text[1:]


def counted(number: int, one: str) -> str:
    """`1 row`, `2 rows`, `2 taxes`."""
    return f"{number} {one}" if number == 1 else f"{number} {one}{'es' if one.endswith(('s', 'x')) else 's'}"


def json_bytes(document: Any) -> bytes:
    """A document of plain dicts, lists and values as JSON."""
    return orjson.dumps(document, option=orjson.OPT_NON_STR_KEYS)


def said_once(cautions: Sequence[str], defers: str = "") -> list[str]:
    """Cautions as a list of them reads well: a sentence that several end in stands once, after them all, and
    numbers of which the same is said stand together. `defers`: what a paper ends in, which says it as well.
    """
    cautions = list(dict.fromkeys(cautions))
    ends = [caution.rpartition(". ")[2] for caution in cautions]
    common = list(dict.fromkeys(end for end in ends if ends.count(end) > 1))
    of_whom: dict[str, list[str]] = {}
    for caution, end in zip(cautions, ends, strict=True):
        own = caution.removesuffix(end).rstrip() if end in common else caution
        number, colon, sentence = own.partition(": ")
        of_whom.setdefault(sentence if colon else own, []).append(number if colon else "")
    sentences = [
        f"{', '.join(who)}: {sentence}" if who[0] else sentence
        for sentence, who in of_whom.items()
        if sentence
    ]
    return sentences + ([defers] if defers else common)
