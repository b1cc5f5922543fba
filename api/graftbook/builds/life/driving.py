"""What may be driven: whether anything that is known speaks against a vehicle as it stands.

It never says that a vehicle is safe. Rules that its parts break, checks that they make fail, and what nobody
recorded are told, the worst first; the word of somebody licensed comes before all of it.
"""

from collections.abc import Iterable

from graftbook.builds.life.schemas import DriveOut, DriveWord
from graftbook.builds.life.standing import Standing
from graftbook.closure.words.sentences import section_cautions
from graftbook.questions.closures.check_schemas import FindingOut
from graftbook.questions.closures.schemas import (
    NoteOut,
)
from graftbook.rulebook.model import Companion, RuleBook

SENTENCES: dict[DriveWord, str] = {
    "do not drive": "Do not drive it as it stands.",
    "with caution": "Nothing that is recorded forbids driving it; see to what follows first.",
    "not determined": "What is recorded does not say whether it can be driven.",
    "nothing known against it": "Nothing that is recorded speaks against driving it. That is no licence: "
    "have it inspected.",
}


def drive(standing: Standing) -> DriveOut:
    """Whether anything that is known speaks against driving it."""
    book, check = standing.scope.book, standing.check
    broken = [*check["missing"], *check["clashing"]]
    unrecorded = [note for note in broken if _asks_for_loose_parts(book, note)]
    rules = [note for note in broken if note not in unrecorded]
    findings = check["checks"]["findings"]
    worse = [f for f in findings if f["kind"] == "worse"]
    unknown = [f for f in findings if f["kind"] == "newly not determined"]
    empty = _emptied(standing)
    grave = [note for note in rules if _can_hurt(book, note)]
    failing = [f for f in worse if f["verdict"] == "fails"]
    verdict: DriveWord = "nothing known against it"
    if empty or grave or failing:
        verdict = "do not drive"
    elif rules or worse or unrecorded:
        verdict = "with caution"
    elif unknown or standing.not_understood:
        verdict = "not determined"
    return {
        "verdict": verdict,
        "sentence": SENTENCES[verdict],
        "reasons": [
            *empty,
            *_sentences(rules),
            *_sentences(worse),
            *_not_recorded(unrecorded),
            *_open(unknown),
        ],
        "broken": rules,
        "not_recorded": unrecorded,
    }


def _asks_for_loose_parts(book: RuleBook, note: NoteOut) -> bool:
    """Whether a companion rule is met by loose parts alone: then nobody may have written them down."""
    rule = next((one for one in book.companions if one.name == note["name"]), None)
    if isinstance(rule, Companion):
        return all(alternative.loose for alternative in rule.alternatives)
    return note["cause"] == "companion" and note["name"] in book.components


def _can_hurt(book: RuleBook, note: NoteOut) -> bool:
    """Whether it is about a place where a fault hurts people; what names no place may be."""
    sections = {book.positions[p].section for p in note["positions"] if p in book.positions}
    return not sections or any(section_cautions(book, section) for section in sections)


def _emptied(standing: Standing) -> list[str]:
    """Places that are never left empty, and are."""
    places = standing.scope.book.positions
    return [
        f"Nothing sits at {places[p].title}, which is never left empty."
        for p in standing.changed
        if standing.sits[p] is None and places[p].essential
    ]


def _sentences(told: Iterable[NoteOut | FindingOut]) -> list[str]:
    return list(dict.fromkeys(one["sentence"] for one in told))


def _not_recorded(notes: Iterable[NoteOut]) -> list[str]:
    return [f"Not recorded as used: {sentence}" for sentence in _sentences(notes)]


def _open(unknown: Iterable[FindingOut]) -> list[str]:
    """What cannot be worked out, counted: the sheet has each."""
    count = len(list(unknown))
    if not count:
        return []
    checks = "1 check cannot" if count == 1 else f"{count} checks cannot"
    return [f"{checks} be worked out with what is fitted: a characteristic is not recorded."]
