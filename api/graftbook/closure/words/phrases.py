"""Short phrases for wishes, limits and things, which `wording` builds its sentences from."""

import re
from collections.abc import Iterable

from graftbook.closure.answer import FlawAsked, MetAlready, Missing, Unconfirmed
from graftbook.closure.question import (
    WORK_PERMITTED,
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
from graftbook.rulebook.index import flaw_of
from graftbook.rulebook.model import (
    Budget,
    Companion,
    Conflict,
    Flaw,
    Joint,
    RuleBook,
    Severity,
    Substitute,
    Supersession,
    Wanted,
)
from graftbook.rulebook.scope import LOOSE, Fit

MOST_NAMED = 3
"""Numbers that a count in a headline names."""


def component(book: RuleBook, number: str | None) -> str:
    """ "QF-3310 (caliper, four-piston)", or "nothing"."""
    if number is None:
        return "nothing"
    known = book.components.get(number)
    return f"{number} ({known.name})" if known else number


def position(book: RuleBook, name: str) -> str:
    """The position's title as it stands in a sentence."""
    known = book.positions.get(name)
    return known.title if known else name


def the(book: RuleBook, name: str) -> str:
    """The position in the middle of a sentence: "the hand brake"; one without a title by its bare name."""
    known = book.positions.get(name)
    return with_article(known.title) if known else name


def with_article(title: str) -> str:
    """A position is one certain place of a vehicle, so that also "the road tyres" takes the article."""
    return title if title.lower().startswith(("the ", "a ", "an ")) else f"the {title}"


def place(book: RuleBook, name: str) -> str:
    """A position with its article, or a loose part by its number and name."""
    return component(book, name.removeprefix(LOOSE)) if name.startswith(LOOSE) else the(book, name)


_OF_A_NAME = re.compile(r"[./_\d]")


def opening(text: str) -> str:
    """The text with a capital in front, as a sentence begins; a name such as `brake.front.left` stays."""
    first = text.partition(" ")[0].rstrip(",.:;")
    return text if _OF_A_NAME.search(first) else text[:1].upper() + text[1:]


def verb(title: str, one: str, many: str) -> str:
    """The verb of a title: "brake pipes, front" and "step wells and toe board" need, "dynamo" needs."""
    named = title.partition(" (")[0].partition(",")[0]
    ends = [words[-1] for part in named.split(" and ") if (words := part.split())]
    return many if any(end.endswith("s") and not end.endswith(("ss", "is", "us")) for end in ends) else one


def of_wish(wish: Wish, book: RuleBook) -> str:
    """What the asker wishes, as a sentence."""
    return f"You wish {wished(wish, book)}."


def wished(wish: Wish, book: RuleBook) -> str:
    """What the asker wishes, as it stands after "wish": "front discs: QB-3310 (front brake caliper)"."""
    came_by = getattr(wish, "upgrade", "")
    return f"{came_by}: {_wish_words(wish, book)}" if came_by else _wish_words(wish, book)


def _wish_words(wish: Wish, book: RuleBook) -> str:
    match wish:
        case FitComponent():
            where = f" at {the(book, wish.position)}" if wish.position else ""
            count = f"{wish.quantity} × " if wish.quantity != 1 and not where else ""
            return f"{count}{component(book, wish.component)}{where}"
        case ClearPosition():
            return f"nothing at {the(book, wish.position)}"
        case RemedyFlaw():
            flaw = flaw_of(book, wish.flaw)
            return f"this flaw remedied: {(flaw.symptom if flaw else wish.flaw).rstrip('.')}"
        case RemedyFlaws():
            where = f" in {section(book, wish.section)}" if wish.section else ""
            return f"{_every_flaw(wish)}{where}"


def of_wish_met(wish: Wish, book: RuleBook, why: MetAlready | None) -> str:
    """A wish as a sentence that says, where it asks for nothing, why."""
    if why is None:
        return of_wish(wish, book)
    if why is MetAlready.not_of_variant and isinstance(wish, RemedyFlaw):
        words = f"You wish the flaw {wish.flaw} remedied; it is not known of this variant"
    else:
        has = "does not have it" if isinstance(wish, RemedyFlaw) else "has none that is known"
        words = f"You wish {wished(wish, book)}; this vehicle {has}"
    return f"{words}, so nothing is to be done."


def flaw_wished(asked: FlawAsked) -> str:
    """A flaw that a severity wish asks to be remedied, as it stands after "wish"."""
    parts = " or ".join(asked.flaw.components)
    return f"{_every_flaw(asked.wish)}; {parts}: {asked.flaw.symptom.rstrip('.')}"


def _every_flaw(wish: RemedyFlaws) -> str:
    if wish.at_least is max(Severity):
        return f"every {wish.at_least.name} flaw remedied"
    return f"every flaw remedied that is {wish.at_least.name} or worse"


def of_limit(book: RuleBook, limit: Limit) -> str:
    """One of the asker's limits, as a sentence."""
    match limit:
        case KeepPosition():
            return f"You keep {the(book, limit.position)} as it is today."
        case KeepSection():
            return f"You keep all of {section(book, limit.section)} as it is today."
        case RefuseComponent():
            return f"You refuse {component(book, limit.component)}."
        case WorkAtMost():
            return f"You set a limit: {WORK_PERMITTED[limit.effort]}."
        case EvidenceAtLeast():
            return f"You want nothing fitted that is worth less than {limit.grade.name.replace('_', ' ')}."
        case NothingVisible():
            return "You let nothing change that shows."
        case PriceAtMost():
            return of_ceiling(limit.minor)


def advice(book: RuleBook, rule: Companion) -> str:
    """What a rule advises, by number and name, and why; where no number is named, at which position."""
    parts = dict.fromkeys(component(book, a.component) for a in rule.alternatives if a.component)
    parts |= dict.fromkeys(the(book, a.position) for a in rule.alternatives if a.having)
    reason = f"{rule.reason.rstrip('.')}."
    return f"{opening(' or '.join(parts))}: {reason}" if parts else reason


def changed_together(book: RuleBook, one: str, other: str) -> str:
    """Two positions of a pair."""
    return opening(f"{the(book, one)} and {the(book, other)} are changed together.")


def cannot_sit(book: RuleBook, fit: Fit) -> str:
    """A component that nothing says fits the position."""
    if fit.component is None:
        return essential(book, fit.position)
    return f"No record says that {component(book, fit.component)} fits {the(book, fit.position)}."


def not_supplied(book: RuleBook, number: str) -> str:
    """A number that cannot be bought."""
    return f"{component(book, number)} is no longer supplied."


def missing(book: RuleBook, lacking: Missing) -> str:
    """A characteristic that is not recorded, or several of which one would do."""
    titles = " or ".join(kind(book, name) for name in lacking.kinds)
    return f"{titles} of {component(book, lacking.fit.component)} at {the(book, lacking.fit.position)}"


def kind(book: RuleBook, name: str) -> str:
    """A kind of characteristic as it stands in a sentence."""
    known = book.kinds.get(name)
    return known.title if known else name


def money(minor: int) -> str:
    """1234567 minor units: "12,345.67"."""
    sign = "-" if minor < 0 else ""
    return f"{sign}{abs(minor) // 100:,}.{abs(minor) % 100:02d}"


def of_ceiling(price_at_most: int) -> str:
    """The price ceiling."""
    return f"You pay at most {money(price_at_most)} for the parts."


def essential(book: RuleBook, name: str) -> str:
    """A position that is never left empty."""
    return opening(f"{the(book, name)} cannot be left empty.")


def one_only(book: RuleBook, name: str) -> str:
    """Two wishes for one position."""
    return f"Only one component can sit at {the(book, name)}, and you wish more than one there."


def no_other(book: RuleBook, name: str) -> str:
    """A position for which nothing else is known."""
    return f"No other component that can be bought fits {the(book, name)} on this vehicle."


def none_will_do(book: RuleBook, name: str, candidates: tuple[str, ...]) -> str:
    """Siblings told in one sentence."""
    if len(candidates) == 1:
        only = component(book, candidates[0])
        return f"The only other component for {the(book, name)}, {only}, will not do."
    some = ", ".join(candidates[:3]) + (", …" if len(candidates) > 3 else "")
    return f"None of the other {len(candidates)} components for {the(book, name)} will do ({some})."


def none_has(book: RuleBook, name: str, having: Iterable[Wanted]) -> str:
    """No candidate has the wanted values."""
    what = " and ".join(f"{kind(book, w.kind)} {w.comparator.value} {w.value.written}" for w in having)
    return f"No component that fits {the(book, name)} on this vehicle is recorded with {what}."


def further_parts(count: int) -> str:
    """Of a very large contradiction not every part is told."""
    return f"{count} more wishes, limits and rules have their share in this, or may have."


def not_known(number: str) -> str:
    """A number that the rule book does not hold."""
    return f"{number} is not known for this vehicle."


def no_fitment(book: RuleBook, number: str, name: str) -> str:
    """Nothing says that it fits."""
    where = f" {the(book, name)} on" if name else ""
    return f"No record says that {component(book, number)} fits{where} this vehicle."


def not_this_vehicle(book: RuleBook, number: str, name: str) -> str:
    """It fits others of the variant: another chassis number, date or option."""
    where = f" at {the(book, name)}" if name else ""
    return f"{component(book, number)} fits{where} only with another chassis number, date or option."


def raise_ceiling(price: int, unknown: tuple[str, ...], ceiling: int) -> str:
    """What must be accepted of the price: more than the ceiling, a price that is not known, or both."""
    if not unknown:
        return f"raise the ceiling to {money(price)}"
    if price > ceiling:
        return f"raise the ceiling to {money(price)} and accept {of_unknown(unknown)}"
    return f"accept {of_unknown(unknown)}"


def cheapest(price: int, unknown: tuple[str, ...]) -> str:
    """What the least dear set costs, as the fact behind a price ceiling."""
    return f"The cheapest of all sets that fulfil the rest costs {parts_cost(price, unknown)}."


def price_missing(unknown: tuple[str, ...]) -> str:
    """A ceiling that no set is known to keep, because a price is missing."""
    whose = "whose price is" if len(unknown) == 1 else "whose prices are"
    return f"No set is known to stay below it: the one that might holds {listed(unknown)}, {whose} not known."


def no_price(book: RuleBook, number: str | None) -> str:
    """A part because of which nobody can say what a set costs."""
    return f"The price of {component(book, number)} is not known."


def parts_cost(price: int, unknown: tuple[str, ...]) -> str:
    """A sum of parts, with what is missing from it: "12.00 and what X costs, which is not known"."""
    if not unknown:
        return money(price)
    return f"{money(price)} and {of_unknown(unknown)}" if price else of_unknown(unknown)


def of_unknown(unknown: tuple[str, ...]) -> str:
    """What parts of unknown price cost."""
    return f"what {listed(unknown)} {'costs' if len(unknown) == 1 else 'cost'}, which is not known"


def cannot_be_put_back(count: int, numbers: Iterable[str]) -> str:
    """Of a whole set, what is cut or welded."""
    return f"{count} cannot be put back{_which(numbers)}" if count else "nothing cut or welded"


def machined(numbers: tuple[str, ...]) -> str:
    """Of a whole set, what is machined."""
    return f"{len(numbers)} {'part' if len(numbers) == 1 else 'parts'} machined{_which(numbers)}"


def _which(numbers: Iterable[str]) -> str:
    """The numbers behind a count, where they are few."""
    each = tuple(dict.fromkeys(numbers))
    return f" ({listed(each)})" if 0 < len(each) <= MOST_NAMED else ""


def listed(words: Iterable[str]) -> str:
    """ "A, B and C"."""
    words = list(words)
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def section(book: RuleBook, name: str) -> str:
    """A section's title."""
    known = book.sections.get(name)
    return known.title if known else name


def fit_instead(book: RuleBook, number: str, name: str, wished: str) -> str:
    """Another component for a wished one."""
    return f"fit {component(book, number)} at {the(book, name)} instead of {wished}"


def too_few(book: RuleBook, number: str, needed: int, there: int) -> str:
    """Too few pieces of a loose part."""
    return f"{needed} of {component(book, number)} are needed; the set has {there}."


def claim_words(book: RuleBook, unconfirmed: Unconfirmed) -> str:
    """What a claim says, as a sentence: what a rule asks and why, what remedies a flaw, that a part fits."""
    part = unconfirmed.component and component(book, unconfirmed.component)
    match unconfirmed.claim:
        case Companion(reason=why) | Joint(reason=why) | Conflict(reason=why) | Budget(reason=why):
            return f"{opening(why.rstrip('.'))}."
        case Flaw(symptom=symptom):
            return f"That {part} remedies this: {symptom.rstrip('.')}."
        case Substitute(original=original):
            return f"That {part} serves instead of {component(book, original)}."
        case Supersession(old=old, new=new):
            return f"That {old} is now {new}."
    return f"That {part} fits{where_of(book, unconfirmed)}."


def where_of(book: RuleBook, unconfirmed: Unconfirmed) -> str:
    """Where what is claimed fits, as it stands after "fits"."""
    return f" {the(book, unconfirmed.position)}" if unconfirmed.position else " this vehicle"
