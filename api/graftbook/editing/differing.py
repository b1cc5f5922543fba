"""In which sentences two answers to one question differ: without an edit, and with it."""

from collections.abc import Iterator
from dataclasses import replace

from graftbook.checks.set import check_set
from graftbook.checks.verdict import Finding
from graftbook.closure.answer import Answer, Change, Solution
from graftbook.closure.criteria import Criterion
from graftbook.closure.explain.comparing import compare
from graftbook.closure.words import phrases, wording
from graftbook.questions.reading import Asked
from graftbook.rulebook.model import RuleBook


def extra(before: Answer, after: Answer) -> int:
    """What the parts cost more with the edit, in minor units; 0 where a price is not known."""
    if before.solution is None or after.solution is None:
        return 0
    one, other = before.solution.totals, after.solution.totals
    return 0 if one.unknown_prices or other.unknown_prices else other.price - one.price


def differences(asked: Asked, before: Answer, then: Asked, after: Answer) -> Iterator[str]:
    """What a set gains and loses, and what of its arithmetic and its evidence is otherwise; two impossibles
    are alike."""
    if before.solution is None or after.solution is None:
        return
    compared = compare(before, after)
    loose = {(part.component, part.quantity): part for part in before.solution.loose}
    now = {(part.component, part.quantity): part for part in after.solution.loose}
    difference = compared.difference
    if more_dear := extra(before, after):
        more = f"{phrases.money(abs(more_dear))} {'more' if more_dear > 0 else 'less'}"
        yield f"Its parts cost {phrases.money(after.solution.totals.price)} with the edit, {more} than today."
        figures: dict[Criterion, int] = {
            c: more for c, more in difference.figures.items() if c is not Criterion.price
        }
        difference = replace(difference, figures=figures)
    if difference:
        yield f"It makes this difference: {wording.difference_words(difference)}."
    gone = {change.position: change for change in compared.only_in_one}
    come = {change.position: change for change in compared.only_in_other}
    for position in sorted(gone.keys() | come.keys()):
        yield _otherwise(asked.book, gone.get(position), then.book, come.get(position))
    for key in sorted(now.keys() - loose.keys()):
        yield f"New: {wording.loose_sentence(then.book, now[key])}"
    for key in sorted(loose.keys() - now.keys()):
        yield f"No longer: {wording.loose_sentence(asked.book, loose[key])}"
    yield from _found_otherwise(_found(asked, before.solution), _found(then, after.solution))
    if (rests := wording.rests_on(after.solution)) != wording.rests_on(before.solution):
        yield rests


def _found(asked: Asked, solution: Solution) -> dict[str, Finding]:
    """Check → what it finds of the set."""
    vehicle = asked.question.vehicle
    found = check_set(asked.book, vehicle, solution.today, solution.after, asked.market, asked.binding)
    return {finding.check: finding for finding in found}


def _found_otherwise(before: dict[str, Finding], after: dict[str, Finding]) -> Iterator[str]:
    """The checks that find something else, those of another verdict first."""
    other = [one for check, one in after.items() if _said(before.get(check)) != _said(one)]
    other.sort(key=lambda one: (was := before.get(one.check)) is not None and was.verdict is one.verdict)
    for finding in other:
        was = before.get(finding.check)
        yield f"{_said(finding)} {f'It was: {_said(was)}' if was else 'It was not checked.'}"
    for check in sorted(before.keys() - after.keys()):
        yield f"No longer checked: {_said(before[check])}"


def _said(finding: Finding | None) -> str:
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
