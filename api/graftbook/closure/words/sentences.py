"""What demands, reasons, notes and ways out rest on, and whether a component goes there, as sentences; and
the cautions that go with an answer: work on these sections can hurt people.
"""

from collections.abc import Iterable

from graftbook.closure.answer import (
    Because,
    CannotSit,
    Cause,
    Change,
    ChangedTogether,
    Cheapest,
    Fact,
    FlawAsked,
    FurtherParts,
    Ground,
    Loose,
    NeverEmpty,
    NoFitment,
    NoneHas,
    NoneWillDo,
    NoOther,
    NotKnown,
    NotSupplied,
    NotThisVehicle,
    OneOnly,
    PriceMissing,
    PriceUnknown,
    TooFew,
    WayOut,
)
from graftbook.closure.compatibility import Compatibility, Fits, FittingPlace, GoesElsewhere, GoesOnOthers
from graftbook.closure.criteria import Totals
from graftbook.closure.question import (
    ClearPosition,
    EvidenceAtLeast,
    FitComponent,
    KeepPosition,
    KeepSection,
    Limit,
    NothingVisible,
    PriceAtMost,
    RefuseComponent,
    RemedyFlaw,
    RemedyFlaws,
    Wish,
    WorkAtMost,
)
from graftbook.closure.search.possible import Looked
from graftbook.closure.words import phrases
from graftbook.rulebook.index import index_of
from graftbook.rulebook.model import (
    Budget,
    Companion,
    Component,
    Conflict,
    Effort,
    Flaw,
    Joint,
    RuleBook,
    When,
)


def sentence(book: RuleBook, ground: Ground) -> str:
    """A wish, limit, rule, flaw or fact; of a record the sentence that it carries itself."""
    match ground:
        case Companion(required=False):
            return phrases.advice(book, ground)
        case Companion() | Conflict() | Joint() | Budget():
            return ground.reason
        case Flaw():
            return ground.symptom
        case FlawAsked():
            return f"You wish {phrases.flaw_wished(ground)}."
        case PriceUnknown():
            ceiling = phrases.of_limit(book, ground.ceiling)
            return f"{ceiling} {phrases.no_price(book, ground.component)}"
        case ChangedTogether():
            return phrases.changed_together(book, ground.position, ground.other)
    if isinstance(ground, Wish):
        return phrases.of_wish(ground, book)
    return phrases.of_limit(book, ground) if isinstance(ground, Limit) else _fact(book, ground)


def _fact(book: RuleBook, fact: Fact) -> str:
    match fact:
        case NeverEmpty():
            return phrases.essential(book, fact.position)
        case CannotSit():
            return phrases.cannot_sit(book, fact.fit)
        case NotSupplied():
            return phrases.not_supplied(book, fact.component)
        case NotKnown():
            return phrases.not_known(fact.component)
        case NoFitment():
            return phrases.no_fitment(book, fact.component, fact.position)
        case NotThisVehicle():
            return phrases.not_this_vehicle(book, fact.component, fact.position)
        case NoneHas():
            return phrases.none_has(book, fact.position, fact.having)
        case OneOnly():
            return phrases.one_only(book, fact.position)
        case NoOther():
            return phrases.no_other(book, fact.position)
        case NoneWillDo():
            return phrases.none_will_do(book, fact.position, fact.candidates)
        case Cheapest():
            return phrases.cheapest(fact.price, fact.unknown)
        case PriceMissing():
            return phrases.price_missing(fact.unknown)
        case FurtherParts():
            return phrases.further_parts(fact.count)
        case TooFew():
            return phrases.too_few(book, fact.component, fact.needed, fact.there)


# Ways out ---------------------------------------------------------------------------------------


def instead(book: RuleBook, way: WayOut) -> str:
    """What is to be given up or accepted, as a clause: "let the hand brake be changed"."""
    if way.fit and way.replaced:
        return phrases.fit_instead(book, way.fit.component, way.fit.position, way.replaced.component)
    return "; ".join(_given_up(book, part.ground, way.totals) for part in way.gives_up)


def _given_up(book: RuleBook, ground: Ground, totals: Totals) -> str:
    match ground:
        case PriceAtMost(minor):
            return phrases.raise_ceiling(totals.price, totals.unknown_prices, minor)
        case WorkAtMost(effort):
            return f"accept {_more_work(effort, totals)}"
        case EvidenceAtLeast(grade):
            return f"accept parts whose fitting is worth less than {grade.name.replace('_', ' ')}"
        case NothingVisible():
            return "accept visible changes"
        case KeepPosition(position):
            return f"let {phrases.the(book, position)} be changed"
        case KeepSection(section):
            return f"let {phrases.section(book, section)} be changed"
        case RefuseComponent(number):
            return f"accept {phrases.component(book, number)}"
        case FlawAsked():
            return f"give up wishing {phrases.flaw_wished(ground)}"
        case FitComponent() | ClearPosition() | RemedyFlaw() | RemedyFlaws():
            return f"give up wishing {phrases.wished(ground, book)}"
    raise TypeError(f"{ground} is nothing that can be given up")


def _more_work(effort_at_most: Effort, totals: Totals) -> str:
    """The least work that must be accepted beyond a limit, as the set then asks for it."""
    if totals.irreversible:
        both = totals.machined and effort_at_most < Effort.machining
        return "machining, cutting or welding" if both else "cutting or welding"
    return "machining" if totals.machined else "more work on the parts"


_LICENSED = (
    "Have this work done and inspected by someone licensed for it; "
    "local rules on changed vehicles come first."
)

_STRUCTURE = (
    "The frame carries everything, and where there is none the body does: rated stands, never a jack alone. "
    f"{_LICENSED}"
)
_WHEELS = f"A wheel that comes off kills. Use new locking parts and the maker's torque. {_LICENSED}"

_CALLED_FOR_BY = {
    f"Brakes hold lives. {_LICENSED}": "brake brems frein",
    f"A steering fault cannot be driven around. {_LICENSED}": "steer lenk",
    f"Fuel burns and its vapour explodes: cold engine, no flame, battery off. {_LICENSED}": (
        "fuel kraftstoff treibstoff carburant"
    ),
    f"Take the battery off first: high current burns and starts fires. {_LICENSED}": (
        "electric elektr électri"
    ),
    _STRUCTURE: "chassis frame structure shell rahmen fahrgestell châssis",
    f"Springs hold stored force; support the vehicle on rated stands. {_LICENSED}": (
        "suspension spring feder fahrwerk ressort"
    ),
    _WHEELS: "axle hub wheel achs nabe radsatz radsätze räder essieu roue",
}
BY_WORD = {word: caution for caution, words in _CALLED_FOR_BY.items() for word in words.split()}
"""By a word in the section's name or title, English, German or French, in the order in which they are
given."""

CUTTING = (
    "Cutting or welding a vehicle changes its structure: only by a licensed welder, with what burns "
    "taken out, and inspected afterwards as local rules ask."
)

HEAVY_KG = 25.0
"""From this recorded mass on a part is told as heavy (common practice, no published source)."""
HEAVY = (
    "A heavy part that slips crushes: lift it and let it down with tackle made for its mass, and nobody goes "
    f"under it. {_LICENSED}"
)

STANDS = (
    "A vehicle that slips off a jack kills: firm level ground, the wheels that stay on chocked, rated stands "
    "where it is made to be lifted (the frame, or the strong points of a body without one) before anybody "
    f"reaches under it or takes a wheel off. {_LICENSED}"
)


def cautions_for(book: RuleBook, changes: Iterable[Change], loose: Iterable[Loose] = ()) -> tuple[str, ...]:
    """Every caution that the changes call for, each once, and the hazards of the parts themselves."""
    changes, loose = tuple(changes), tuple(loose)
    numbers = [c.component for c in changes if c.component] + [part.component for part in loose]
    cut = Effort.cutting in {*(c.effort for c in changes), *(part.effort for part in loose)}
    return cautions_of(book, {c.section for c in changes}, numbers, [p.component for p in loose], cut=cut)


def cautions_of(
    book: RuleBook, sections: Iterable[str], numbers: Iterable[str], loose: Iterable[str], *, cut: bool
) -> tuple[str, ...]:
    """The cautions of sections, of loose parts' own sections, of cutting, of lifting what is heavy, and the
    hazards of the numbers."""
    bought = (book.components.get(number) for number in loose)
    touched = {*sections, *(part.section for part in bought if part)}
    order = list(dict.fromkeys(BY_WORD.values()))
    found = {caution for section in touched for caution in section_cautions(book, section)}
    sentences = sorted(found, key=order.index) + [CUTTING] * cut
    numbers = tuple(numbers)
    lifted = dict.fromkeys(words for n in numbers for words in lifting(book.components.get(n)))
    return (*sentences, *lifted, *dict.fromkeys(h for n in numbers if (h := _hazard(book, n))))


def lifting(part: Component | None) -> tuple[str, ...]:
    """The caution of a part that nobody lifts by hand; none of one whose mass is not recorded."""
    return lifting_of(part.mass_kg if part else None)


def lifting_of(mass_kg: float | None) -> tuple[str, ...]:
    """The same of a mass; None: not recorded."""
    return (HEAVY,) if (mass_kg or 0) >= HEAVY_KG else ()


def section_cautions(book: RuleBook, section: str) -> tuple[str, ...]:
    """The cautions of one section, by the words of its name and title."""
    known = book.sections.get(section)
    return cautions_by(f"{section} {known.title if known else ''}")


def cautions_by(words: str) -> tuple[str, ...]:
    """The cautions that the words of sections' names and titles call for, each once, in their order."""
    words = words.lower()
    return tuple(dict.fromkeys(caution for word, caution in BY_WORD.items() if word in words))


def _hazard(book: RuleBook, number: str) -> str:
    component = book.components.get(number)
    return f"{number}: {component.hazard}" if component and component.hazard else ""


def compatibility_sentence(book: RuleBook, answer: Compatibility) -> str:
    """The best place, and whether it can still be bought; or why there is none."""
    if not answer.places:
        return _why_nowhere(book, answer)
    best = answer.places[0]
    words = _of_place(book, answer.asked, best)
    if answer.obtainable or best.sits_today:
        return words
    return f"{words} {phrases.not_supplied(book, answer.asked)}"


def _of_place(book: RuleBook, asked: str, place: FittingPlace) -> str:
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
    reasons = (phrases.opening(sentence(book, part.ground)).rstrip(".") for part in against)
    return " ".join(dict.fromkeys(f"{words}." for words in reasons))


def _how_far(looked_at: Looked) -> str:
    """How far it was looked where nothing is proved."""
    if looked_at is Looked.next_step:
        return "Only the next step was looked at; ask for a closure to prove a whole set."
    return "Only what must follow was looked at; ask for a closure to prove a whole set."


def _others(book: RuleBook, place: FittingPlace) -> str:
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
        parts.append(" ".join(word for word in ("chassis", when.chassis_prefix, first, last) if word))
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
