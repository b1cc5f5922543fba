"""What demands, reasons, notes and ways out rest on, as sentences."""

from graftbook.closure.answer import Totals, WayOut
from graftbook.closure.grounds import (
    CannotSit,
    ChangedTogether,
    Cheapest,
    Fact,
    FlawAsked,
    FurtherParts,
    Ground,
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
)
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
from graftbook.closure.words import phrases
from graftbook.rulebook.model import Budget, Companion, Conflict, Effort, Flaw, Joint, RuleBook


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
