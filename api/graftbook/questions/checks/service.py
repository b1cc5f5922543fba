"""A proposed set as an answer: complete or not, what clashes, what remains, and the arithmetic."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from graftbook.closure.answering import scope_of
from graftbook.closure.question import ClearPosition, FitComponent
from graftbook.http.errors import MOST_MISTAKES
from graftbook.http.responses import etag_of
from graftbook.problems import InvalidRequest, Problem, Unknown, UnknownComponent, begun
from graftbook.process.service import Service
from graftbook.questions.closures import reasoning
from graftbook.questions.closures.service import Answering, document_maker
from graftbook.questions.reading import Asked, ask, at_revision
from graftbook.questions.schemas import CheckIn
from graftbook.questions.vehicles.service import MOST_NEAR, member
from graftbook.rulebook.scope import Scope

Wrong = dict[str, Problem]
"""JSON pointer → what is wrong with the number or position that stands there."""


def check(service: Service, body: CheckIn) -> Answering:
    """Whether a proposed set is complete and works together.

    Raises what `ask` raises, and what is wrong with the set itself: a number that nobody has, or one that
    could sit in several places.
    """
    proposed = _question_of(service, body)
    if proposed.wrong:
        raise _all_of(proposed.wrong)
    return _answering(service, proposed)


def check_what_is_known(service: Service, body: CheckIn) -> tuple[Answering, "Proposed"]:
    """The same without what is wrong with the set, and what became of each number. Raises as `ask` does."""
    proposed = _question_of(service, body)
    return _answering(service, proposed), proposed


def _question_of(service: Service, body: CheckIn) -> "Proposed":
    def look_up(then: Service) -> Proposed:
        proposed = Proposed(ask(then, body))
        proposed.settle(body)
        return proposed

    return at_revision(service, body, look_up, lambda found: [found.asked])


def _answering(service: Service, found: "Proposed") -> Answering:
    asked, proposed, loose = found.asked, found.sits, found.loose
    depends = [asked.depends_on(), sorted(proposed.items()), sorted(loose.items())]

    make = document_maker(service, "check", reasoning.check, [asked], proposed, loose)
    return etag_of("check", service.settings.currency, depends), make


class Proposed:
    """The set that a body proposes: what sits where, what is loose, and what of it is wrong.

    `came` says which JSON pointer a position's number comes from, `loose_came` the same of loose pieces.
    """

    def __init__(self, asked: Asked) -> None:
        self.asked = asked
        self.sits: dict[str, str | None] = {}
        self.loose: dict[str, int] = {}
        self.wrong: Wrong = {}
        self.came: dict[str, str] = {}
        self._to_come: dict[str, int] = {}
        self.loose_came: dict[str, list[str]] = {}

    def wishes(self) -> dict[str, list[str]]:
        """The name of the wish that keeps a piece when the set is completed → where the piece comes from."""
        placed = {
            (FitComponent(c, p) if c else ClearPosition(p)).name: [self.came[p]] for p, c in self.sits.items()
        }
        return placed | {
            FitComponent(number, "", count).name: self.loose_came[number]
            for number, count in self.loose.items()
        }

    def settle(self, body: CheckIn) -> None:
        """Take in every number of the body, or note what is wrong with it."""
        names = self.asked.names
        names.look_up([*filter(None, body.positions.values()), *body.components])
        for position, number in body.positions.items():
            with self._noting(f"/positions/{member(position)}") as pointer:
                fitted = names.fitted({position: number}, "/positions")
                self.sits |= fitted
                self.came |= dict.fromkeys(fitted, pointer)
        numbers: dict[str, str] = {}
        for i, word in enumerate(body.components):
            with self._noting(f"/components/{i}") as pointer:
                numbers[pointer] = names.component(word, pointer)
        self.asked = replace(self.asked, book=names.book())
        scope = scope_of(self.asked.book, self.asked.question)
        listed = Counter(numbers.values())
        for pointer, number in numbers.items():
            with self._noting(pointer):
                self._place(scope, number, pointer, listed[number])

    @contextmanager
    def _noting(self, pointer: str) -> Iterator[str]:
        try:
            yield pointer
        except (Unknown, InvalidRequest) as problem:
            self.wrong[pointer] = problem.kept()

    def _place(self, scope: Scope, number: str, pointer: str, listed: int) -> None:
        """Put a number where it fits; both sides of a pair take it in turn, and a place that takes several
        pieces (the road wheels) takes as many of those `listed`. Raises InvalidRequest."""
        if number in scope.index.loose:
            self.loose[number] = self.loose.get(number, 0) + 1
            self.loose_came.setdefault(number, []).append(pointer)
            return
        if self._to_come.get(number):
            self._to_come[number] -= 1
            return
        places = [fit for fit in scope.serving(number) if fit.position not in self.sits]
        if not places:
            raise InvalidRequest(self._no_place(scope, number), pointer=pointer)
        takes = {fit.position: scope.options(fit.position)[fit.component].quantity for fit in places}
        positions = _meant(takes, listed)
        if len({scope.book.positions[p].pair or p for p in positions}) == 1:
            positions = positions[:1]
        elif listed != sum(takes.values()):
            message = f"{number} fits several positions ({', '.join(positions)}); say which under `positions`"
            raise InvalidRequest(message, pointer=pointer, positions=positions)
        self._to_come[number] = sum(takes[position] for position in positions) - 1
        self.sits |= {p: next(fit.component for fit in places if fit.position == p) for p in positions}
        self.came |= dict.fromkeys(positions, pointer)

    def _no_place(self, scope: Scope, number: str) -> str:
        """Why a number has no place: it goes nowhere on the vehicle, or what else is listed sits there."""
        taken = {fit.position: self.sits[fit.position] for fit in scope.serving(number)}
        if not taken:
            return f"{number} fits no position of this vehicle"
        there = " and ".join(dict.fromkeys(held or "nothing" for held in taken.values()))
        places = ", ".join(scope.book.positions[position].title for position in sorted(taken))
        return f"{number} has no place left: the list has {there} there already ({places})"


def _meant(takes: dict[str, int], listed: int) -> list[str]:
    """The positions that so many pieces may be meant for: of several the one that takes just as many."""
    exact = [position for position, pieces in takes.items() if pieces == listed > 1]
    return exact if len(exact) == 1 else sorted(takes)


def _all_of(wrong: Wrong) -> Problem:
    """The first mistake, with the others beside it."""
    first, *others = wrong.values()
    if others:
        first_wrong = list(wrong.items())[:MOST_MISTAKES]
        first.fields["errors"] = [
            {"pointer": p, "message": begun(problem.detail)} for p, problem in first_wrong
        ]
        first.detail = f"{first.detail} (and {len(others)} more)"
        if cut := near_cut(wrong):
            first.detail = f"{first.detail}. {cut}"
    return first


def near_cut(wrong: Wrong) -> str:
    """A sentence where not every unknown number was told what is like it; else empty."""
    unknown = sum(isinstance(problem, UnknownComponent) for problem in wrong.values())
    if unknown <= MOST_NEAR:
        return ""
    return f"What is like an unknown number was looked for with the first {MOST_NEAR} of {unknown:,} only"
