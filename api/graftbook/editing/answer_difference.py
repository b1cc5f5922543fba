"""What comes of one question without an edit and with it, and in which sentences that differs.

Pure: from values to values, so that a reasoning process can do all of it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

from graftbook.checks.set import check_set
from graftbook.checks.verdict import Finding
from graftbook.closure.answer import Answer, Change, Outcome, Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.criteria import Criterion
from graftbook.closure.explain.comparing import Comparison, compare
from graftbook.closure.words import phrases, wording
from graftbook.questions.closures.reasoning import Posed
from graftbook.rulebook.model import RuleBook


@dataclass(frozen=True, slots=True)
class AnswerDifference:
    """How a question's answer differs with the edit, and in what; of one `undecided`, what stopped it.

    `extra`: what its parts cost more, in minor units; 0 where a price is not known. `more_time`: with more
    of it more may be told.
    """

    how: Literal["impossible", "possible", "changed", "same", "undecided"]
    sentences: tuple[str, ...] = ()
    extra: int = 0
    more_time: bool = False


def compare_answers(before: Posed, after: Posed) -> AnswerDifference:
    """Both answers to a question, compared; the deadline is that of the first, for both."""
    until = before.deadline
    one = answer_question(before.book, before.question, until.halfway(), next_bests=False)
    other = answer_question(after.book, after.question, until.within(until.left()), next_bests=False)
    return difference_between(before, one, after, other)


def difference_between(before: Posed, one: Answer, after: Posed, other: Answer) -> AnswerDifference:
    """Two answers as what differs between them; two impossibles are alike."""
    stopped = [*_why_undecided("Today's answer", one), *_why_undecided("The answer with the edit", other)]
    if stopped:
        return AnswerDifference(
            "undecided", tuple(stopped), more_time=Outcome.too_large not in (one.outcome, other.outcome)
        )
    if one.solution is None or other.solution is None:
        if one.solution is not None:
            parts = (wording.contradiction_sentences(after.book, each) for each in other.contradictions)
            return AnswerDifference("impossible", tuple(line for part in parts for line in part))
        if other.solution is not None:
            return AnswerDifference(
                "possible", (f"It can then be done: {wording.costs(other.solution.totals)}",)
            )
        return AnswerDifference("same")
    compared = compare(one, other)
    sentences = (
        *_sums_and_parts(before, one.solution, after, other.solution, compared),
        *_found_otherwise(
            _findings_by_check(before, one.solution), _findings_by_check(after, other.solution)
        ),
        *_told_otherwise(before, one.solution, after, other.solution),
    )
    more = _extra(one.solution, other.solution)
    return AnswerDifference("changed", sentences, more) if sentences else AnswerDifference("same")


def _why_undecided(which: str, answer: Answer) -> Iterator[str]:
    """What stopped one of the two answers; nothing when it is decided."""
    if answer.outcome is Outcome.too_large:
        yield f"{which} reaches more than can be reasoned over."
    elif answer.outcome is Outcome.not_proved:
        yield f"{which} was not proved in time."


def _extra(before: Solution, after: Solution) -> int:
    one, other = before.totals, after.totals
    return 0 if one.unknown_prices or other.unknown_prices else other.price - one.price


def _sums_and_parts(
    before: Posed, one: Solution, after: Posed, other: Solution, compared: Comparison
) -> Iterator[str]:
    """What the set costs more and what it holds otherwise."""
    difference = compared.difference
    if more_dear := _extra(one, other):
        more = f"{phrases.money(abs(more_dear))} {'more' if more_dear > 0 else 'less'}"
        yield f"Its parts cost {phrases.money(other.totals.price)} with the edit, {more} than today."
        figures: dict[Criterion, int] = {
            c: more for c, more in difference.figures.items() if c is not Criterion.price
        }
        difference = replace(difference, figures=figures)
    if difference:
        yield f"It makes this difference: {wording.difference_words(difference)}."
    gone = {change.position: change for change in compared.only_in_one}
    come = {change.position: change for change in compared.only_in_other}
    for position in sorted(gone.keys() | come.keys()):
        yield _otherwise(before.book, gone.get(position), after.book, come.get(position))
    yield from _come_and_gone(
        "No longer", "New",
        (wording.loose_sentence(before.book, part) for part in one.loose),
        (wording.loose_sentence(after.book, part) for part in other.loose),
    )  # fmt: skip


def _come_and_gone(gone: str, come: str, before: Iterable[str], after: Iterable[str]) -> Iterator[str]:
    """The lines that are there on one side only."""
    was, now = dict.fromkeys(before), dict.fromkeys(after)
    yield from (f"{come}: {line}" for line in now if line not in was)
    yield from (f"{gone}: {line}" for line in was if line not in now)


def _told_otherwise(before: Posed, one: Solution, after: Posed, other: Solution) -> Iterator[str]:
    """What is said otherwise of the work that both sets have, of the flaws and the rules, of the evidence."""
    was = {(change.position, change.component): change for change in one.changes}
    for change in other.changes:
        old = was.get((change.position, change.component))
        now = wording.change_sentence(after.book, change, choices=False)
        if old and (then := wording.change_sentence(before.book, old, choices=False)) != now:
            yield f"{now} It was: {then}"
        elif old and old.grade is not change.grade:
            what = wording.what_changes(after.book, change)
            yield f"{what}: {wording.GRADE_WORDS[change.grade]}; it was {wording.GRADE_WORDS[old.grade]}."
    yield from _come_and_gone(
        "No longer told", "Now told",
        wording.remark_sentences(before.book, one), wording.remark_sentences(after.book, other),
    )  # fmt: skip
    if (rests := wording.rests_on(other)) != wording.rests_on(one):
        yield rests


def _findings_by_check(asked: Posed, solution: Solution) -> dict[str, Finding]:
    """Check → what it finds of the set."""
    vehicle = asked.question.vehicle
    found = check_set(asked.book, vehicle, solution.today, solution.after, asked.market, asked.binding)
    return {finding.check: finding for finding in found}


def _found_otherwise(before: dict[str, Finding], after: dict[str, Finding]) -> Iterator[str]:
    """The checks that find something else, those of another verdict first."""
    other = [one for check, one in after.items() if _in_words(before.get(check)) != _in_words(one)]
    other.sort(key=lambda one: (was := before.get(one.check)) is not None and was.verdict is one.verdict)
    for finding in other:
        was = before.get(finding.check)
        yield f"{_in_words(finding)} {f'It was: {_in_words(was)}' if was else 'It was not checked.'}"
    for check in sorted(before.keys() - after.keys()):
        yield f"No longer checked: {_in_words(before[check])}"


def _in_words(finding: Finding | None) -> str:
    return f"{phrases.opening(finding.verdict.value)}: {finding.sentence}" if finding else ""


def _otherwise(before: RuleBook, gone: Change | None, after: RuleBook, come: Change | None) -> str:
    """What one position holds with the edit, and what it held; nothing where neither is there."""
    if come is None:
        return f"No longer: {wording.what_changes(before, gone)}." if gone else ""
    now = wording.what_changes(after, come)
    if gone is None:
        return f"New: {now}."
    was = phrases.component(before, gone.component) if gone.component else "nothing"
    return phrases.opening(f"{now}; it was {was}.")
