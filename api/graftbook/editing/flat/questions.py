"""What cannot be decided of a flat list: questions, the answers that are kept, what was assumed. Pure."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from graftbook.problems import printable

MOST_LINES = 20
"""Lines of one question that are told; how many there are in all is counted."""
MOST_TOLD = 5_000
OUT = "out"
"""The answer by which something is left out."""
FOR_ALL = "*"

KINDS = {
    "cells": "Rows with more cells than there are heads",
    "number": "Numbers that cannot be read, or may be others",
    "characters": "Cells with characters that nobody can print",
    "formula": "Cells that hold a formula",
    "says": "Rows that tell one number differently",
    "description": "Numbers without a description",
    "position": "Descriptions that name no known position",
    "section": "Parts whose section is not known",
    "fits": "Words for vehicles that are not known",
    "no_fits": "Rows that do not say which vehicles",
    "year": "A year, or a chassis number",
    "day_order": "Days that can be read two ways",
    "end": "A from or to that cannot be read",
    "no_variant": "A from or to without a variant",
    "outside": "A from or to outside the chassis numbers",
    "other_variant": "A from or to of another variant than the row fits",
    "several": "A bare number for several variants",
    "upside_down": "Spans that stand upside down",
    "count": "Counts that cannot be read",
    "price": "Prices that cannot be read",
    "price_mark": "Prices that can be read two ways",
    "price_jump": "Prices that moved five-fold or more",
    "currency": "Signs for a currency",
    "supplier": "Suppliers that are not known",
    "no_supplier": "Prices without a supplier",
    "replaces": "Replaced numbers that are not known",
    "circle": "Circles of replaced numbers",
    "name_differs": "Names that the catalogue tells differently",
    "price_differs": "Prices that the catalogue tells differently",
    "pack_differs": "Packs that the catalogue tells differently",
    "offer_differs": "Offers that the catalogue tells differently",
    "fitment_differs": "Fitments that the catalogue tells differently",
    "supplied_again": "Numbers that come back",
    "gone": "Numbers that the list no longer has",
}
"""Kinds of question, in the order in which they are worked through: what decides most comes first."""


@dataclass(frozen=True, slots=True)
class OfferedAnswer:
    """An answer that is offered: what is kept, and how it is said."""

    value: str
    words: str


@dataclass(slots=True)
class ListQuestion:
    """Something unclear. `about` is what a decision is kept under, the same in every issue of the list.

    `typed`: what may be typed in place of a choice (`vehicle`, `position`, `number`, `price`, …); empty:
    nothing. `for_all`: one answer may be given for every question of the kind.
    """

    kind: str
    about: str
    sentence: str
    choices: tuple[OfferedAnswer, ...]
    typed: str = ""
    for_all: bool = False
    lines: list[int] = field(default_factory=list)
    count: int = 0
    numbers: set[str] = field(default_factory=set)

    @property
    def key(self) -> str:
        """What the decision is kept under."""
        return f"{self.kind}:{self.about}"


@dataclass(frozen=True, slots=True)
class Remark:
    """Something that was read in one way without asking, or passed over: nothing of it is silent."""

    line: int
    number: str
    sentence: str


class Asking:
    """Asks what is decided already, and notes what is not. `at` says of what the asking is meanwhile.

    `served`: under which keys an answer was looked up.
    """

    def __init__(self, decisions: Mapping[str, str]) -> None:
        self.decisions = decisions
        self.questions: dict[str, ListQuestion] = {}
        self.told: list[Remark] = []
        self.untold = 0
        self.waiting: set[str] = set()
        self.served: set[str] = set()
        self.number = ""
        self._lines: tuple[int, ...] = (0,)

    def at(self, number: str, lines: Iterable[int]) -> None:
        """What is asked from here on is about this number, and stands in these lines."""
        self.number, self._lines = number, tuple(lines) or (0,)

    def ask(
        self,
        kind: str,
        about: str,
        sentence: str,
        choices: Iterable[tuple[str, str]],
        *,
        typed: str = "",
        reads: Callable[[str], bool] = lambda _: True,
        for_all: bool = False,
    ) -> str | None:
        """The answer that is kept, or None where there is none: then the number waits.

        `reads`: whether what somebody typed can be used; else it is asked again, and says so.
        """
        about = printable(about)
        offered = [OfferedAnswer(value, words) for value, words in dict(choices).items()]
        values = {choice.value for choice in offered}
        for key in (f"{kind}:{about}", *([f"{kind}:{FOR_ALL}"] if for_all else [])):
            if (kept := self.decisions.get(key)) is not None:
                self.served.add(key)
                if kept in values or (typed and reads(kept)):
                    return kept
                sentence += f" The answer “{kept}” is not known either."
        self._note(kind, about, sentence, tuple(offered), typed, for_all=for_all)
        return None

    def _note(
        self,
        kind: str,
        about: str,
        sentence: str,
        choices: tuple[OfferedAnswer, ...],
        typed: str,
        *,
        for_all: bool,
    ) -> None:
        question = self.questions.setdefault(
            f"{kind}:{about}", ListQuestion(kind, about, sentence, choices, typed, for_all)
        )
        for line in self._lines:
            if line not in question.lines:
                question.count += 1
                if len(question.lines) < MOST_LINES:
                    question.lines.append(line)
        if self.number:
            question.numbers.add(self.number)
            self.waiting.add(self.number)

    def tell(self, sentence: str) -> None:
        """Note what was assumed or passed over."""
        if len(self.told) < MOST_TOLD:
            self.told.append(Remark(self._lines[0], self.number, sentence))
        else:
            self.untold += 1

    def in_order(self) -> list[ListQuestion]:
        """The questions, kind by kind, those that hold up most numbers first."""
        order = {kind: at for at, kind in enumerate(KINDS)}
        return sorted(self.questions.values(), key=lambda q: (order[q.kind], -len(q.numbers), q.about))
