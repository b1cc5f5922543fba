"""A closure's answer as plain dicts: facts first, the sentence beside them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, TypeVar

from graftbook.closure.answer import (
    Answer,
    Because,
    Change,
    Contradiction,
    FlawNote,
    How,
    Loose,
    MetAlready,
    Note,
    Other,
    OtherWay,
    Outcome,
    Solution,
    Unconfirmed,
    WayOut,
)
from graftbook.closure.complete import Completeness
from graftbook.closure.criteria import COUNTED, Criterion, Difference, Totals
from graftbook.closure.explain.comparing import compare
from graftbook.closure.question import Wish
from graftbook.closure.words import phrases, wording
from graftbook.closure.words.sentences import instead, sentence
from graftbook.http.values import EFFORT_WORDS, GRADE_WORDS, evidence_for, money
from graftbook.rulebook.model import Grade, RuleBook, Vehicle
from graftbook.rulebook.scope import LOOSE

if TYPE_CHECKING:
    from graftbook.questions.closures.schemas import (
        AnsweredOut,
        BecauseOut,
        ChangeOut,
        ContradictionOut,
        DifferenceOut,
        FlawNoteOut,
        LeastEvidenceOut,
        LooseOut,
        NoteOut,
        OtherOut,
        OtherWayOut,
        RemarksOut,
        SetOut,
        StayingOut,
        TotalsOut,
        UnconfirmedOut,
        VehicleOut,
        WayOutOut,
        WishOut,
    )

Look = Callable[[], None]
"""A look at the clock: it raises when time is over."""

_Item = TypeVar("_Item")
_Written = TypeVar("_Written")


def at_leisure() -> None:
    """No look: there is all the time in the world."""


def vehicle_document(book: RuleBook, vehicle: Vehicle, chassis: str, estimated: bool) -> VehicleOut:
    """The vehicle as it was understood; `chassis` as the house writes it."""
    variant = book.variant
    return {
        "variant": variant.name,
        "title": variant.title,
        "range": variant.range,
        "chassis": chassis,
        "built": vehicle.built.isoformat(),
        "built_is_estimated": estimated,
        "steering": variant.steering,
        "market": variant.market,
        "options": sorted(vehicle.options),
    }


def wish_document(book: RuleBook, wish: Wish, why: MetAlready | None) -> WishOut:
    """A wish as it was understood, and why it asks for nothing, where it does."""
    return {
        "name": wish.name,
        "sentence": phrases.of_wish_met(wish, book, why),
        "met_already": why.value if why else None,
    }


def because_document(book: RuleBook, because: Because) -> BecauseOut:
    """Why something is here."""
    loose = because.parent.startswith(LOOSE)
    stays = because.how in (How.still_needs, How.left_without)
    return {
        "cause": because.cause.value,
        "name": because.name,
        "sentence": sentence(book, because.ground),
        "how": because.how.value if because.how else None,
        "from_position": None if loose else because.parent or None,
        "from_loose_part": because.parent.removeprefix(LOOSE) if loose else None,
        "wish": because.wish.name if because.wish else None,
        "asking_position": because.asking if stays else None,
        "evidence": evidence_for(because.cause, because.grade),
    }


def difference_document(difference: Difference) -> DifferenceOut:
    """What one set costs more than another, by criterion; what is alike is left out.

    With a price that is not known on either side `price` is None, and `known_price` covers the rest.
    """
    document: DifferenceOut = {}
    for criterion, more in difference.figures.items():
        if criterion is Criterion.price:
            if more:
                document["price"] = money(more)
        elif more:
            document[COUNTED[criterion]] = more
    if not difference.price_is_known:
        document["price"] = None
        document["known_price"] = money(difference.figures.get(Criterion.price, 0))
        document["unknown_prices"] = {
            "added": list(difference.unknown_added),
            "removed": list(difference.unknown_removed),
        }
    return document


def least_evidence_document(least: Grade, asked: Answer, without: Answer) -> LeastEvidenceOut:
    """What the limit on evidence costs: the answer as asked beside the one without it."""
    compared = compare(without, asked)
    return {
        "wanted": GRADE_WORDS[least],
        "outcome_without": without.outcome.value,
        "difference": difference_document(compared.difference),
        "instead_of": [
            f"{change.component}@{change.position}"
            for change in compared.only_in_one
            if change.component and asked.solution
        ],
        "sentence": wording.least_evidence_sentence(least, compared),
    }


def _other(book: RuleBook, change: Change, other: Other) -> OtherOut:
    return {
        "component": other.component,
        "name": _name(book, other.component),
        "kept": other.kept,
        "other_way": _other_way(book, change, other.way),
        "outcome": other.outcome.value,
        "difference": difference_document(other.difference),
    }


def _other_way(book: RuleBook, change: Change, way: OtherWay | None) -> OtherWayOut | None:
    """Something at another place, or loose; what is at the change's own place is told beside it."""
    if way is None or way.place == change.position:
        return None
    place = None if way.place.startswith(LOOSE) else book.positions[way.place]
    return {
        "component": way.component,
        "name": _name(book, way.component),
        "position": place.name if place else None,
        "position_title": place.title if place else None,
    }


def _name(book: RuleBook, number: str | None) -> str | None:
    part = book.components.get(number) if number else None
    return part.name if part else None


def _note_of(book: RuleBook, number: str) -> str | None:
    part = book.components.get(number)
    return (part.note or None) if part else None


def section_title(book: RuleBook, section: str) -> str:
    """A section as people read it."""
    known = book.sections.get(section)
    return known.title if known else section


def change_document(book: RuleBook, change: Change) -> ChangeOut:
    """One change as facts."""
    position = book.positions.get(change.position)
    return {
        "position": change.position,
        "position_title": position.title if position else change.position,
        "section": change.section,
        "section_title": section_title(book, change.section),
        "pair": (position.pair if position else "") or None,
        "component": change.component,
        "name": _name(book, change.component),
        "replaces": change.replaces,
        "replaces_name": _name(book, change.replaces),
        "asked_number": change.asked_number or None,
        "quantity": change.quantity,
        "effort": EFFORT_WORDS[change.effort],
        "can_be_put_back": change.effort.reversible,
        "minutes": change.minutes,
        "price": money(change.price),
        "visible": change.visible,
        "why": wording.because_sentence(book, change.because, gone=change.component is None),
        "also": wording.also_sentence(book, change.also_needed_by, change.because) or None,
        "choice": wording.choice_sentence(book, change) or None,
        "because": because_document(book, change.because),
        "also_needed_by": [because_document(book, b) for b in change.also_needed_by],
        "depth": change.depth,
        "forced": change.forced,
        "choices": change.choices,
        "only_one": change.only_one,
        "alternatives": [_other(book, change, other) for other in change.others],
        "claim": change.claim or None,
        "evidence": GRADE_WORDS[change.grade] if change.claim else None,
    }


def changes_document(book: RuleBook, changes: Iterable[Change], look: Look) -> list[ChangeOut]:
    """Several changes; `look` is called before each."""
    return _looking(look, change_document, book, changes)


def _loose(book: RuleBook, part: Loose) -> LooseOut:
    return {
        "component": part.component,
        "name": _name(book, part.component),
        "section": known.section if (known := book.components.get(part.component)) else None,
        "quantity": part.quantity,
        "price": money(part.price),
        "effort": EFFORT_WORDS[part.effort],
        "can_be_put_back": part.effort.reversible,
        "minutes": part.minutes,
        "note": _note_of(book, part.component),
        "why": wording.because_sentence(book, part.because),
        "because": because_document(book, part.because),
        "also_needed_by": [because_document(book, b) for b in part.also_needed_by],
    }


def flaw_document(book: RuleBook, note: FlawNote) -> FlawNoteOut:
    """One known flaw met in an answer."""
    return {
        "flaw": note.flaw,
        "component": note.component,
        "position": note.position,
        "severity": note.severity.name,
        "symptom": phrases.opening(note.symptom),
        "section": book.positions[note.position].section if note.position in book.positions else None,
        "sentence": wording.flaw_words(book, note),
    }


def note_document(book: RuleBook, note: Note) -> NoteOut:
    """Something about a rule that the answer must say."""
    return {
        "cause": note.cause.value,
        "name": note.name,
        "sentence": sentence(book, note.ground),
        "positions": list(note.positions),
        "missing": [phrases.missing(book, missing) for missing in note.missing],
    }


def unconfirmed_document(book: RuleBook, unconfirmed: Unconfirmed) -> UnconfirmedOut:
    """A claim that nobody has confirmed."""
    return {
        "claim": unconfirmed.claim.name,
        "evidence": GRADE_WORDS[unconfirmed.claim.grade],
        "position": unconfirmed.position or None,
        "component": unconfirmed.component or None,
        "what": phrases.claim_words(book, unconfirmed),
        "sentence": wording.unconfirmed_sentence(book, unconfirmed),
    }


def contradicted_document(book: RuleBook, contradicted: Unconfirmed) -> UnconfirmedOut:
    """A claim that a workshop found otherwise."""
    return {
        **unconfirmed_document(book, contradicted),
        "sentence": wording.contradicted_sentence(book, contradicted),
    }


def totals_document(totals: Totals) -> TotalsOut:
    """What a set costs. `price` covers the known prices."""
    return {
        **totals.figures(money),
        "unknown_prices": list(totals.unknown_prices),
        "cut_or_welded": list(totals.cut),
        "machined": list(totals.machined),
    }


def _looking(
    look: Look, writer: Callable[[RuleBook, _Item], _Written], book: RuleBook, items: Iterable[_Item]
) -> list[_Written]:
    """What is written of each, with a look at the clock before it."""
    written = []
    for item in items:
        look()
        written.append(writer(book, item))
    return written


def _each(
    writer: Callable[[RuleBook, _Item], _Written], book: RuleBook, items: Iterable[_Item]
) -> list[_Written]:
    return [writer(book, item) for item in items]


def stays_original(book: RuleBook, solution: Solution) -> list[str]:
    """Positions whose component stays as today, in the book's order."""
    return [
        name for name in book.positions if (c := solution.after.get(name)) and solution.today.get(name) == c
    ]


def staying(book: RuleBook, position: str, number: str) -> StayingOut:
    place = book.positions[position]
    return {
        "position": position,
        "position_title": place.title,
        "section": place.section,
        "component": number,
        "name": _name(book, number),
    }


def solution_document(book: RuleBook, solution: Solution, look: Look) -> SetOut:
    """One set, whole. `look` is called before each line; what it raises ends the work."""
    return {
        "changes": changes_document(book, solution.changes, look),
        "loose_parts": [_loose(book, part) for part in solution.loose],
        "totals": totals_document(solution.totals),
        "stays": [staying(book, p, c) for p in stays_original(book, solution) if (c := solution.after[p])],
        **remarks(book, solution, look),
        "contradicted": _looking(look, contradicted_document, book, solution.contradicted),
        "confidence": None if solution.confidence is None else GRADE_WORDS[solution.confidence],
        "rests_on": wording.rests_on(solution),
    }


def remarks(book: RuleBook, found: Solution | Completeness, look: Look) -> RemarksOut:
    """What has to be said of a set, whether it was reasoned or proposed."""
    return {
        "flaws_gone": _looking(look, flaw_document, book, found.flaws_gone),
        "flaws_left": _looking(look, flaw_document, book, found.flaws_left),
        "flaws_brought": _looking(look, flaw_document, book, found.flaws_brought),
        "already_so": _each(note_document, book, found.already_so),
        "advised": _each(note_document, book, found.advised),
        "not_determined": _each(note_document, book, found.not_determined),
        "unconfirmed": _looking(look, unconfirmed_document, book, found.unconfirmed),
    }


def _contradiction(book: RuleBook, contradiction: Contradiction) -> ContradictionOut:
    return {
        "parts": _each(because_document, book, contradiction.parts),
        "facts": _each(note_document, book, contradiction.facts),
        "smallest": contradiction.smallest,
        "sentences": wording.contradiction_sentences(book, contradiction),
    }


def _way_out(book: RuleBook, way: WayOut) -> WayOutOut:
    return {
        "gives_up": _each(because_document, book, way.gives_up),
        "instead": instead(book, way),
        "fit": f"{way.fit.component}@{way.fit.position}" if way.fit else None,
        "totals": totals_document(way.totals),
        "changes": way.totals.changes,
        "sentence": wording.way_out_sentence(book, way),
    }


def answer_document(book: RuleBook, answer: Answer, look: Look = at_leisure) -> AnsweredOut:
    """The whole answer as facts. `look` is called before each line of a set; what it raises ends the work."""
    return {
        "outcome": answer.outcome.value,
        "proved": answer.outcome in (Outcome.proved, Outcome.impossible),
        "sentences": wording.answer_sentences(book, answer),
        "catalogue_revision": book.revision,
        "set": solution_document(book, answer.solution, look) if answer.solution else None,
        "other_sets": [solution_document(book, other, look) for other in answer.others],
        "fewer_other_sets": wording.fewer_others(answer) or None,
        "contradictions": _each(_contradiction, book, answer.contradictions),
        "ways_out": _each(_way_out, book, answer.ways_out),
        "more_ways_out": answer.more_ways_out,
        "cut_short": answer.cut_short,
        "gap": answer.gap,
        "positions_reached": answer.reached,
        "engine": answer.engine,
    }
