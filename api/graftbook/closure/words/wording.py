"""An answer in sentences."""

from collections import Counter
from collections.abc import Iterable, Iterator
from functools import lru_cache

from graftbook.closure.answer import (
    Answer,
    Because,
    Cause,
    Change,
    Contradiction,
    FlawNote,
    How,
    Loose,
    Note,
    Other,
    Outcome,
    Solution,
    Unconfirmed,
    WayOut,
)
from graftbook.closure.criteria import TOLD, Criterion, Difference, Totals
from graftbook.closure.explain.comparing import Comparison
from graftbook.closure.words import phrases
from graftbook.closure.words.sentences import cautions_for, instead, sentence
from graftbook.rulebook.grading import TrialOutcome as Found
from graftbook.rulebook.model import Effort, Fitment, Grade, RuleBook
from graftbook.rulebook.scope import LOOSE

GRADE_WORDS = {
    Grade.none: "no evidence",
    Grade.hearsay: "hearsay",
    Grade.parts_book: "the parts book",
    Grade.workshop_manual: "the workshop manual",
    Grade.measured: "measured",
    Grade.trial_fitted: "trial fitted",
    Grade.built_and_driven: "built and driven",
}

EFFORT_WORDS = {
    Effort.direct: "fits as it is",
    Effort.with_companions: "fits with its companions",
    Effort.machining: "needs machining",
    Effort.cutting: "needs cutting or welding and cannot be put back",
}


# A whole answer ---------------------------------------------------------------------------------


def headline(answer: Answer) -> str:
    """The outcome in one line."""
    match answer.outcome:
        case Outcome.proved:
            return _proved_sentence(answer)
        case Outcome.impossible:
            return "Impossible, proved: no set fulfils all of this."
        case Outcome.not_proved:
            return _not_proved(answer)
        case Outcome.too_large:
            return "These wishes reach more of the vehicle than can be reasoned over; ask for less at once."


def _proved_sentence(answer: Answer) -> str:
    if answer.solution is None:
        raise ValueError("proved the best, and there is no set")
    if answer.nothing_wished and not answer.solution.changes:
        return "Nothing is wished, so nothing changes."
    if not answer.solution.changes and not answer.solution.loose:
        return "Nothing needs to change: the vehicle fulfils this as it stands."
    return f"Proved: the best of all sets that fulfil this. {costs(answer.solution.totals)}"


def _not_proved(answer: Answer) -> str:
    if answer.solution is None:
        return "Time ran out before a set was found; that does not mean that there is none."
    gap = f" (gap {answer.gap:.1%})" if answer.gap is not None else ""
    return f"Not proved in time: this set fulfils everything, a better one may exist{gap}. " + costs(
        answer.solution.totals
    )


def costs(totals: Totals) -> str:
    """What a set costs, in one sentence or two."""
    show = {0: "nothing shows", 1: "1 change shows"}.get(totals.visible, f"{totals.visible} changes show")
    between = ";" if totals.unknown_prices else ","
    parts = f"Parts {phrases.parts_cost(totals.price, totals.unknown_prices)}{between}"
    sums = ", ".join((_count(totals.changes, "change"), work(totals), show))
    labour = "not recorded" if totals.changes and not totals.labour else hours(totals.labour)
    return f"{sums}. {parts} labour {labour}."


def work(totals: Totals) -> str:
    """What of a set is cut, welded or machined."""
    cut = phrases.cannot_be_put_back(totals.irreversible, totals.cut)
    return f"{cut}, {phrases.machined(totals.machined)}" if totals.machined else cut


def hours(minutes: int) -> str:
    """580 minutes: "9 h 40 min"."""
    whole, rest = divmod(minutes, 60)
    if not whole:
        return f"{rest} min" if rest else "0 h"
    return f"{whole} h {rest} min" if rest else f"{whole} h"


def answer_sentences(book: RuleBook, answer: Answer) -> list[str]:
    """The whole answer, a sentence or two a line, short things first."""
    lines = [headline(answer)]
    if answer.solution is not None:
        lines += solution_sentences(book, answer.solution)
    for number, other in enumerate(answer.others, 2):
        lines.append(f"Another good set ({number}): {costs(other.totals)}")
    if fewer := fewer_others(answer):
        lines.append(fewer)
    for contradiction in answer.contradictions:
        lines += contradiction_sentences(book, contradiction)
    lines += [way_out_sentence(book, way) for way in answer.ways_out]
    if answer.outcome is Outcome.impossible and answer.cut_short:
        lines.append("Not all ways out were looked at in time; a longer deadline may find more.")
    elif answer.more_ways_out:
        lines.append("There are more ways out.")
    return lines


def fewer_others(answer: Answer) -> str:
    """Why there are fewer further sets than were asked for; empty when there are not."""
    if answer.solution is None or len(answer.others) >= answer.others_asked:
        return ""
    shown, count = len(answer.others), _count(answer.others_asked, "other set")
    found = f"{shown or 'none'} {'is' if shown <= 1 else 'are'} shown"
    return f"You asked for {count}; {found}: {_why_fewer(answer)}."


def _why_fewer(answer: Answer) -> str:
    if answer.outcome is Outcome.not_proved:
        return "the time was up before this set was proved the best"
    if not answer.others_complete:
        if answer.cut_short:
            return "the time was up"
        return "too many were looked at that hold parts nobody asks for; there may be more"
    return (
        "only what holds no part to spare, beats each of the sets shown in price, in what shows or in "
        "labour, and falls behind it in another of these"
    )


def solution_sentences(book: RuleBook, solution: Solution) -> list[str]:
    """One set: changes, loose parts, flaws, notes, cautions."""
    return [
        *(change_sentence(book, change) for change in solution.changes),
        *(loose_sentence(book, part) for part in solution.loose),
        *remark_sentences(book, solution),
    ]


def remark_sentences(book: RuleBook, solution: Solution) -> list[str]:
    """What is said of a set beside what it holds: flaws, notes, claims, cautions."""
    return [
        *flaw_sentences(book, solution),
        *(note_sentence(book, "Already so", note) for note in solution.already_so),
        *(note_sentence(book, "Advised", note) for note in solution.advised),
        *(note_sentence(book, "Not determined", note) for note in solution.not_determined),
        *(unconfirmed_sentence(book, claim) for claim in solution.unconfirmed),
        *(contradicted_sentence(book, claim) for claim in solution.contradicted),
        *cautions_for(book, solution.changes, solution.loose),
    ]


# Changes ----------------------------------------------------------------------------------------


def change_sentence(book: RuleBook, change: Change, *, choices: bool = True) -> str:
    """What changes at a position, why, and (`choices`) what else could have been chosen."""
    work = "" if change.effort is Effort.direct else f" It {EFFORT_WORDS[change.effort]}."
    return " ".join(
        part
        for part in (
            phrases.opening(f"{what_changes(book, change)}.{work}"),
            because_sentence(book, change.because, gone=change.component is None),
            also_sentence(book, change.also_needed_by, change.because),
            choice_sentence(book, change) if choices else "",
        )
        if part
    )


def what_changes(book: RuleBook, change: Change) -> str:
    """What changes at a position, and nothing more."""
    where = phrases.position(book, change.position)
    if change.component is None:
        return f"{where}: {phrases.component(book, change.replaces)} comes off and nothing takes its place"
    count = f", {change.quantity} off" if change.quantity > 1 else ""
    asked = f", today's number for {change.asked_number}" if change.asked_number else ""
    old = f" in place of {change.replaces}" if change.replaces else ""
    return f"{where}: {phrases.component(book, change.component)}{asked}{count}{old}"


def because_sentence(book: RuleBook, because: Because, gone: bool = False) -> str:
    """The reason of one change; `gone`: of a part that comes off with nothing in its place."""
    words = sentence(book, because.ground)
    if not because.parent or because.how is How.together:
        return phrases.opening(words)
    parent = phrases.place(book, because.parent)
    reason = words.rstrip(".")
    match because.how:
        case How.makes_way:
            return f"The old part makes way for {parent}: {reason}."
        case How.left_without:
            return f"The old part goes because what it needs at {parent} is gone: {reason}."
        case How.still_needs:
            asking = phrases.place(book, because.asking)
            stays = f"{asking} {phrases.verb(asking, 'stays and needs', 'stay and need')} it"
            return phrases.opening(
                f"{stays}, now that {parent} {phrases.verb(parent, 'has changed', 'have changed')}: {reason}."
            )
        case How.remedies:
            return f"It remedies a flaw of {parent}: {reason}."
        case How.makes_sure:
            return f"With the old part beside {parent} this could not be determined: {reason}."
    needs = phrases.verb(parent, "needs it", "need it")
    return phrases.opening(f"{parent} {needs}{' gone' if gone else ''}: {reason}.")


def also_sentence(book: RuleBook, also: Iterable[Because], first: Because) -> str:
    """What else asks for the same change, beside the place that the first reason names."""
    asking: dict[str, None] = {}
    way: dict[str, None] = {}
    for because in also:
        place = because.asking or because.parent
        if place and place in (first.asking, first.parent):
            continue
        name = phrases.place(book, place) if place else "your wish"
        (way if because.how is How.makes_way else asking).setdefault(name)
    needed = f"Also needed by {phrases.listed(asking)}." if asking else ""
    makes_way = f"The old part also makes way for {phrases.listed(way)}." if way else ""
    return f"{needed} {makes_way}".strip()


def choice_sentence(book: RuleBook, change: Change) -> str:
    """That it was chosen, and what the next best would have cost; nothing where that was not looked at."""
    if change.forced:
        return ""
    if change.only_one:
        other = "the other" if change.choices == 2 else "any of the others"
        return f"Chosen out of {change.choices}: with {other} not all of your wishes can be fulfilled."
    others = [other_sentence(book, change, other) for other in change.others[:1]]
    return " ".join([f"Chosen out of {change.choices}.", *others]) if others else ""


def other_sentence(book: RuleBook, change: Change, other: Other) -> str:
    """The next best, as a difference."""
    return f"The next best, {other_name(book, change, other)}: {difference_words(other.difference)}."


def other_name(book: RuleBook, change: Change, other: Other) -> str:
    """What the next best set has there, and what does elsewhere what was demanded."""
    way = other_way(book, change, other)
    if other.component is None:
        here = "leaving it empty"
    else:
        here = f"{'keeping ' if other.kept else ''}{phrases.component(book, other.component)}"
    return f"{here}, with {way}" if way else here


def other_way(book: RuleBook, change: Change, other: Other) -> str:
    """What another set has elsewhere instead; empty where that needs no saying."""
    if other.way is None or other.way.place == change.position:
        return ""
    named, place = phrases.component(book, other.way.component), other.way.place
    return named if place.startswith(LOOSE) else f"{named} at {phrases.the(book, place)}"


def difference_sentence(difference: Difference) -> str:
    """What another set costs more, as a sentence."""
    return f"It makes this difference: {difference_words(difference)}."


def difference_words(difference: Difference) -> str:
    """Such as "62.00 more for parts and 1 more visible change".

    Where a price is not known on either side, what is known of the parts is told apart.
    """
    figures, known = difference.figures, difference.price_is_known
    criteria = [c for c in Criterion if figures.get(c) and (known or c is not Criterion.price)]
    words = phrases.listed(_difference(c, figures[c]) for c in criteria) if criteria else ""
    if known:
        return words or "no difference in cost"
    return "; ".join(part for part in (words, _incomparable(difference)) if part)


def _incomparable(difference: Difference) -> str:
    """Which prices are missing for a comparison of the parts, and what is known of the rest."""
    added, removed = difference.unknown_added, difference.unknown_removed
    whose = [phrases.listed(added)] if added else []
    whose += [f"{phrases.listed(removed)}, of which it needs less,"] if removed else []
    known = difference.figures.get(Criterion.price, 0)
    rest = f"{phrases.money(abs(known))} {'more' if known > 0 else 'less'}" if known else "the same"
    return (
        f"the parts cannot be compared: the price of {' and of '.join(whose)} is not known "
        f"(the parts of known price cost {rest})"
    )


def _difference(criterion: Criterion, value: int) -> str:
    more = "more" if value > 0 else "less"
    size = abs(value)
    match criterion:
        case Criterion.price:
            return f"{phrases.money(size)} {more} for parts"
        case Criterion.labour:
            return f"{hours(size)} {more} labour"
        case Criterion.flaws:
            return f"{size} {more} in flaws by weight"
    unit = TOLD[criterion]
    return f"{size} {'more' if value > 0 else 'fewer'} {unit.one if size == 1 else unit.many}"


def loose_sentence(book: RuleBook, part: Loose) -> str:
    """A loose part, the work that it asks for, and its note."""
    known = book.components.get(part.component)
    sentences = (
        f"{part.quantity} × {phrases.component(book, part.component)}.",
        "" if part.effort is Effort.direct else f"It {EFFORT_WORDS[part.effort]}.",
        f"Note: {known.note.rstrip('.')}." if known and known.note else "",
        because_sentence(book, part.because),
        also_sentence(book, part.also_needed_by, part.because),
    )
    return " ".join(sentence for sentence in sentences if sentence)


# Impossible -------------------------------------------------------------------------------------


def contradiction_sentences(book: RuleBook, contradiction: Contradiction) -> list[str]:
    """What cannot hold together, then the facts behind it."""
    count = len(contradiction.parts)
    head = "This cannot be:" if count == 1 else f"These {count} do not go together:"
    if not contradiction.smallest:
        head = "These do not go together (perhaps not all are needed for that):"
    return [
        head,
        *(part_sentence(book, part) for part in contradiction.parts),
        *(sentence(book, fact.ground) for fact in contradiction.facts),
    ]


def part_sentence(book: RuleBook, part: Because) -> str:
    """A wish, limit or rule in a contradiction."""
    words = sentence(book, part.ground)
    if part.cause in (Cause.wish, Cause.limit, Cause.flaw, Cause.pair):
        return words
    return f"Rule {part.name} ({GRADE_WORDS[part.grade]}): {words.rstrip('.')}."


def way_out_sentence(book: RuleBook, way: WayOut) -> str:
    """One way out, and what one then gets."""
    return f"Way out: {instead(book, way)}. {_gets(way.totals)}"


def _gets(totals: Totals) -> str:
    costs_anything = totals.changes or totals.price or totals.labour or totals.unknown_prices
    return costs(totals) if costs_anything else "Then nothing needs to change."


def comparison_sentences(book: RuleBook, other_book: RuleBook, comparison: Comparison) -> list[str]:
    """How another answer differs from the one asked for; each is told by the book that it is of."""
    if comparison.other.solution is None:
        return [
            headline(comparison.other),
            *(
                line
                for c in comparison.other.contradictions
                for line in contradiction_sentences(other_book, c)
            ),
        ]
    if comparison.one.solution is None:
        return [headline(comparison.one), f"The other can be done: {costs(comparison.other.solution.totals)}"]
    return [
        difference_sentence(comparison.difference),
        *(f"Only then: {change_sentence(other_book, c)}" for c in comparison.only_in_other),
        *(f"No longer: {change_sentence(book, c)}" for c in comparison.only_in_one),
    ]


def least_evidence_sentence(least: Grade, compared: Comparison) -> str:
    """What it costs that nothing worth less is fitted: `compared` has the answer without that first."""
    grade = GRADE_WORDS[least]
    if compared.one.solution is None:
        return f"Nothing worth less than {grade} was to be fitted; without that it goes no better."
    if compared.other.solution is None:
        without = costs(compared.one.solution.totals)
        return f"It goes only with parts whose fitting is worth less than {grade}. With them: {without}"
    if not (compared.only_in_one or compared.only_in_other):
        same = f"That everything fitted is worth {grade} or more costs nothing: the set is the same without."
        return same + _rules_below(compared.other.solution, least)
    parts = sorted({change.component for change in compared.only_in_one if change.component})
    instead = f" Without it the set would take {_listed(parts)}." if parts else ""
    more = difference_sentence(compared.difference)
    below = _rules_below(compared.other.solution, least)
    return f"Everything fitted is to be worth {grade} or more. {more}{instead}{below}"


def _rules_below(solution: Solution, least: Grade) -> str:
    """What the set rests on beside its fitments that is worth less: it binds all the same."""
    below = {u.claim.name: u.claim.grade for u in solution.unconfirmed if u.claim.grade < least}
    if not below:
        return ""
    named = _listed([f"{name} ({GRADE_WORDS[grade]})" for name, grade in below.items()])
    return f" What it rests on beside is worth less, and binds all the same: {named}."


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


# Notes ------------------------------------------------------------------------------------------


def flaw_sentences(book: RuleBook, solution: Solution) -> Iterator[str]:
    """Flaws gone, brought and left."""
    heads = (
        ("Gone", solution.flaws_gone),
        ("Brought", solution.flaws_brought),
        ("Left", solution.flaws_left),
    )
    for head, notes in heads:
        for note in notes:
            yield f"{head}: {flaw_words(book, note)}"


def flaw_words(book: RuleBook, note: FlawNote) -> str:
    """A known flaw with its severity and place."""
    return _flaw_words(note, phrases.the(book, note.position))


@lru_cache(maxsize=4096)
def _flaw_words(note: FlawNote, where: str) -> str:
    """Kept, since an answer says it twice, and the next one again."""
    where = f"{note.severity.name}; {note.component} at {where}"
    return phrases.opening(f"{note.symptom.rstrip('.')} ({where}).")


def note_sentence(book: RuleBook, head: str, note: Note) -> str:
    """A note, with what is not recorded."""
    lacking = "; ".join(phrases.missing(book, missing) for missing in note.missing)
    missing = f" Not recorded: {lacking}." if lacking else ""
    return f"{head}: {sentence(book, note.ground).rstrip('.')}.{missing}"


def rests_on(solution: Solution) -> str:
    """What the claims under a set are worth: that of the weakest, and how many have no more."""
    if not solution.changes and not solution.loose:
        return "No claim is needed: nothing changes."
    if solution.confidence is None:
        return "Rests on the factory's own fitting."
    count = len({u.claim.name for u in solution.unconfirmed if u.claim.grade is solution.confidence})
    if solution.confidence is Grade.none:
        return f"Rests on claims with no evidence recorded at all ({count})."
    if count:
        return f"The weakest claims rest on {GRADE_WORDS[solution.confidence]} ({count})."
    return f"Every claim was measured, fitted or driven; the weakest: {GRADE_WORDS[solution.confidence]}."


def unconfirmed_sentence(book: RuleBook, unconfirmed: Unconfirmed) -> str:
    """A claim that nobody has confirmed: a rule by its name, a fitment by the part and its place."""
    claim, part = unconfirmed.claim, unconfirmed.component
    grade = GRADE_WORDS[claim.grade]
    if isinstance(claim, Fitment):
        fits = f"{part} fits{phrases.where_of(book, unconfirmed)}"
        return f"Nobody has confirmed that {fits}: it rests on {grade}."
    where = f" at {phrases.the(book, unconfirmed.position)}" if unconfirmed.position else ""
    return f"Nobody has confirmed {claim.name}: {part or 'nothing'}{where} rests on {grade}."


def contradicted_sentence(book: RuleBook, contradicted: Unconfirmed) -> str:
    """A claim that a workshop found otherwise: what was reported, and what it is worth now."""
    claim, part = contradicted.claim, contradicted.component
    outcomes = Counter(report.outcome for report in claim.reports)
    counts = ", ".join(f"{outcomes[outcome]} {outcome}" for outcome in Found if outcomes[outcome])
    shops = _count(len({report.workshop.casefold() for report in claim.reports}), "workshop")
    what = (
        f"that {part} fits{phrases.where_of(book, contradicted)}"
        if isinstance(claim, Fitment)
        else claim.name
    )
    return f"Reports contradict {what}: {counts}, by {shops}. It is worth {GRADE_WORDS[claim.grade]} now."


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
