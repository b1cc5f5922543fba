"""Every component of every variant wished alone, and with three further sets.

    python -m tests.closure.sweep                  # the demo range
    python -m tests.closure.sweep FOLDER           # a folder of sheets
    python -m tests.closure.sweep --every 40       # every fortieth question only
    python -m tests.closure.sweep --variant 24P-17-R

Each answer is laid out as the service lays it out, and judged anew from the records: every set is complete
and holds nothing to spare, every part of it has a reason that leads back to the wish, a next best is another
component or tells the other way, and where fewer sets came than were asked for the answer says why. Prints
what was counted, and each failure by variant and number; ends with 1 when there is one.
"""

import argparse
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from sqlalchemy import Engine, text

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.lint.vehicles import vehicles_that_differ
from graftbook.catalogue.loading.imports import load
from graftbook.closure.answer import Answer, Outcome, Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.complete import check_completeness
from graftbook.closure.question import FitComponent, Question
from graftbook.database import make_engine, migrate
from graftbook.questions.closures.documents import answer_document
from graftbook.rulebook.model import RuleBook
from tests.closure.judging import wrong_reasons, wrongs_of_next_bests

DEMO = Path(__file__).parents[2] / "seed_data"
FURTHER = 3
SECONDS = 60.0
"""So much that no answer of the demo is cut short: what is cut short is counted by itself."""


@dataclass
class Swept:
    """What a sweep counted, and its failures as "variant number: what is wrong"."""

    counts: Counter = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)


def sweep(
    engine: Engine, every: int = 1, variants: tuple[str, ...] = (), tell: Callable[[str], None] = str
) -> Swept:
    """Ask for each `every`-th component of the variants (all, when none is named). `tell` gets each failure,
    and each variant when it is done."""
    swept = Swept()
    for book in books_of(engine, variants):
        vehicle = vehicles_that_differ(book)[0]
        for number in sorted(book.components)[swept.counts["variants"] % every :: every]:
            question = Question(vehicle, (FitComponent(number),), alternatives=FURTHER, seconds=SECONDS)
            for wrong in look(book, question, swept.counts):
                swept.failures.append(f"{book.variant.name} {number}: {wrong}")
                tell(swept.failures[-1])
        swept.counts["variants"] += 1
        tell(f"{book.variant.name}: {swept.counts['questions']:,} questions so far")
    return swept


def books_of(engine: Engine, variants: tuple[str, ...]) -> Iterator[RuleBook]:
    """The rule books of the variants, one after the other."""
    with engine.connect() as connection:
        known = [row.name for row in connection.execute(text("SELECT name FROM variant ORDER BY name"))]
    for name in known:
        if not variants or name in variants:
            yield Books(engine).book(name)


def look(book: RuleBook, question: Question, counts: Counter) -> Iterator[str]:
    """What is wrong with the answers to one question, alone and with further sets."""
    counts["questions"] += 1
    try:
        answer = answer_question(book, question)
        document = answer_document(book, answer)
        alone = answer_question(book, replace(question, alternatives=0), next_bests=False)
    except Exception:
        yield traceback.format_exc(limit=-1).strip().replace("\n", " | ")
        return
    counts[str(answer.outcome)] += 1
    counts["cut short"] += answer.cut_short
    if _told(alone) != _told(answer):
        yield "with further sets the first one is another"
    yield from _of_outcome(answer)
    for place, solution in enumerate((answer.solution, *answer.others) if answer.solution else ()):
        counts["sets"] += 1
        counts["further sets"] += place > 0
        counts["parts"] += len(solution.changes) + len(solution.loose)
        yield from (f"set {place + 1}: {wrong}" for wrong in wrongs_of(book, question, solution))
    if answer.solution:
        counts["next bests"] += sum(len(change.others) for change in answer.solution.changes)
        yield from wrongs_of_next_bests(book, question, answer.solution)
        if (len(answer.others) < FURTHER) != bool(document["fewer_other_sets"]):
            yield "fewer sets than asked for, and not why" if answer.others else "no further set, and not why"


def _told(answer: Answer) -> tuple:
    """What an answer comes to, without its further sets and next bests."""
    found = answer.solution
    return answer.outcome, answer.contradictions, found and (found.after, found.loose, found.totals)


def _of_outcome(answer: Answer) -> Iterator[str]:
    if answer.outcome is Outcome.impossible and not answer.contradictions:
        yield "impossible, and not why"
    if answer.outcome in (Outcome.not_proved, Outcome.too_large):
        yield f"{answer.outcome}"


def wrongs_of(book: RuleBook, question: Question, solution: Solution) -> Iterator[str]:
    """What is wrong with one set: it is not complete, something is to spare, or a reason is none."""
    proposed = {change.position: change.component for change in solution.changes}
    kits = {part.component: part.quantity for part in solution.loose}
    found = check_completeness(book, question, proposed, kits)
    for note in (*found.missing, *found.clashing, *found.limits_broken):
        yield f"breaks {note.name}"
    for spare in found.surplus:
        yield f"{spare.component} at {spare.position or 'no position'} is to spare"
    yield from wrong_reasons(book, question, solution)


def main(arguments: list[str]) -> int:
    """Sweep a folder's catalogue and print what was found; 1 when something is wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.closure.sweep")
    parser.add_argument("folder", nargs="?", type=Path, default=DEMO)
    parser.add_argument("--every", type=int, default=1, help="ask every Nth question only")
    parser.add_argument("--variant", action="append", default=[], help="this variant only; may be repeated")
    options = parser.parse_args(arguments)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{folder}/swept")
        migrate(engine)
        report = load(engine, options.folder, who="sweep", why="to be swept")
        if not report.ok:
            print(*report.mistakes, sep="\n")
            return 1
        swept = sweep(engine, options.every, tuple(options.variant), partial(print, flush=True))
        engine.dispose()
    for name, count in sorted(swept.counts.items()):
        print(f"{count:8,} {name}")
    print(f"{len(swept.failures)} failures in {time.monotonic() - began:.0f} s")
    return 1 if swept.failures or not swept.counts["questions"] else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
