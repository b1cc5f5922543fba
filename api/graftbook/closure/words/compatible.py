"""Whether a component goes there, as a sentence."""

from collections.abc import Iterable

from graftbook.closure.answer import Because, Cause
from graftbook.closure.compatibility import Compatibility, Fits, GoesElsewhere, GoesOnOthers, Place
from graftbook.closure.search.possible import Looked
from graftbook.closure.words import phrases
from graftbook.closure.words.sentences import sentence
from graftbook.rulebook.index import index_of
from graftbook.rulebook.model import Effort, RuleBook, When


def compatibility_sentence(book: RuleBook, answer: Compatibility) -> str:
    """The best place, and whether it can still be bought; or why there is none."""
    if not answer.places:
        return _why_nowhere(book, answer)
    best = answer.places[0]
    said = _of_place(book, answer.asked, best)
    if answer.obtainable or best.sits_today:
        return said
    return f"{said} {phrases.not_supplied(book, answer.asked)}"


def _of_place(book: RuleBook, asked: str, place: Place) -> str:
    title = phrases.position(book, place.position)
    part = place.component if place.component == asked else f"{asked} is now {place.component}; it"
    if place.sits_today:
        return f"{part} sits there today: {title}."
    if place.verdict is Fits.does_not:
        return f"{part} does not fit: {title}. {_why_it_cannot(book, place.against)}"
    work = {Effort.machining: ", after machining", Effort.cutting: ", after cutting or welding"}.get(
        place.effort, ""
    )
    fits = f"{part} fits{work}: {title}{_others(book, place)}."
    return fits if place.proved else f"{fits} {_how_far(place.looked_at)}"


def _why_it_cannot(book: RuleBook, against: Iterable[Because]) -> str:
    """The rules and facts because of which a component cannot be fitted, each once."""
    said = (phrases.opening(sentence(book, part.ground)).rstrip(".") for part in against)
    return " ".join(dict.fromkeys(f"{words}." for words in said))


def _how_far(looked_at: Looked) -> str:
    """How far it was looked where nothing is proved."""
    if looked_at is Looked.next_step:
        return "Only the next step was looked at; ask for a closure to prove a whole set."
    return "Only what must follow was looked at; ask for a closure to prove a whole set."


def _others(book: RuleBook, place: Place) -> str:
    """What changes with it: a pair's other side by its title; and how many rules ask for other parts."""
    pair = index_of(book).pairs[book.positions[place.position].pair]
    sides = [phrases.the(book, other) for other in pair if other != place.position]
    more = sum(need.cause is not Cause.pair for need in place.needs)
    named = sides if any(need.cause is Cause.pair for need in place.needs) else []
    words = [f"{' and '.join(named)} must change with it"] if named else []
    if more:
        rules = "1 rule asks" if more == 1 else f"{more} rules ask"
        words.append(f"{rules} for {'other parts too' if named else 'other parts with it'}")
    return f"; {', and '.join(words)}" if words else ""


def _why_nowhere(book: RuleBook, answer: Compatibility) -> str:
    number = answer.asked
    match answer.nowhere:
        case GoesElsewhere(positions):
            elsewhere = ", ".join(sorted({phrases.position(book, position) for position in positions}))
            return f"{number} does not go there; it goes here: {elsewhere}."
        case GoesOnOthers(whens) if whens:
            spans = "; or ".join(dict.fromkeys(_when(when) for when in whens))
            return f"{number} fits this variant, but not this vehicle: it is recorded for {spans}."
        case GoesOnOthers():
            return f"No record says that {number} fits this variant; it is recorded for others."
    return f"{number} sits in no position: it goes with other parts. Ask about those."


def _when(when: When) -> str:
    """The condition of a fitment in words."""
    parts = []
    if when.chassis_prefix is not None:
        first = f"from {when.chassis_from}" if when.chassis_from is not None else ""
        last = f"to {when.chassis_to}" if when.chassis_to is not None else ""
        parts.append(" ".join(word for word in (f"chassis {when.chassis_prefix}", first, last) if word))
    if when.built_from or when.built_to:
        days = (
            f"from {when.built_from}" if when.built_from else "",
            f"to {when.built_to}" if when.built_to else "",
        )
        parts.append("built " + " ".join(day for day in days if day))
    if when.options:
        parts.append("with " + ", ".join(sorted(when.options)))
    if when.without:
        parts.append("without " + ", ".join(sorted(when.without)))
    return ", ".join(parts) or "every vehicle of it"
