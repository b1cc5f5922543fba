"""The order list: what must be bought for a set, what is at hand, and what comes off.

Pure: from a rule book and a solution to values. Money is in minor units.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from api.closure.answer import Because, Change, Loose, Solution
from api.rulebook.model import Component, Grade, RuleBook


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One number to buy. `pieces` is `quantity` rounded up to whole packs, `surplus` what is left over.

    `unit_price` is for one piece and None when unknown, as is then `total` (for all pieces).
    `grade` is that of the weakest claim that brings the component here; None for a loose part whose
    rules carry no claim of their own.
    """

    number: str
    name: str
    section: str
    positions: tuple[str, ...]
    quantity: int
    pack: int
    pieces: int
    unit_price: int | None
    deposit: int
    reasons: tuple[Because, ...]
    grade: Grade
    asked_numbers: tuple[str, ...] = ()
    hazard: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def packs(self) -> int:
        return self.pieces // self.pack

    @property
    def surplus(self) -> int:
        return self.pieces - self.quantity

    @property
    def total(self) -> int | None:
        return None if self.unit_price is None else self.unit_price * self.pieces

    @property
    def deposits(self) -> int:
        """Exchange deposits on all pieces."""
        return self.deposit * self.pieces


@dataclass(frozen=True, slots=True)
class AtHand:
    """A component that the set needs and that is on the bench already."""

    number: str
    name: str
    quantity: int
    positions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TakenOff:
    """A component that comes off; it is kept with the vehicle, so that the work can be undone."""

    number: str
    name: str
    position: str
    quantity: int
    replaced_by: str | None


@dataclass(frozen=True, slots=True)
class OrderList:
    """The whole list. `parts` covers the lines with a known price; `unknown_prices` names the rest."""

    lines: tuple[OrderLine, ...]
    at_hand: tuple[AtHand, ...]
    taken_off: tuple[TakenOff, ...]
    unknown_prices: tuple[str, ...]

    @property
    def parts(self) -> int:
        return sum(line.total or 0 for line in self.lines)

    @property
    def deposits(self) -> int:
        return sum(line.deposits for line in self.lines)

    @property
    def total(self) -> int:
        """Parts of known price and their exchange deposits."""
        return self.parts + self.deposits


@dataclass(slots=True)
class _Gathered:
    quantity: int = 0
    positions: list[str] = field(default_factory=list)
    reasons: list[Because] = field(default_factory=list)
    grades: list[Grade] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


def order_list(
    book: RuleBook,
    solution: Solution,
    on_the_bench: Iterable[str] = (),
    cautions: dict[str, tuple[str, ...]] | None = None,
) -> OrderList:
    """The list for a set, sections and numbers in the book's order.

    `cautions` gives the sentences that each section's work needs.
    """
    bench = frozenset(on_the_bench)
    needed = _gather(solution.changes, solution.loose)
    lines, at_hand = [], []
    for number in sorted(needed, key=lambda n: _place(book, n)):
        part, gathered = book.components[number], needed[number]
        if number in bench:
            at_hand.append(AtHand(number, part.name, gathered.quantity, tuple(gathered.positions)))
        else:
            lines.append(_line(part, gathered, cautions or {}))
    return OrderList(
        lines=tuple(lines),
        at_hand=tuple(at_hand),
        taken_off=tuple(_taken_off(book, change) for change in solution.changes if change.replaces),
        unknown_prices=tuple(line.number for line in lines if line.unit_price is None),
    )


def _gather(changes: Iterable[Change], loose: Iterable[Loose]) -> dict[str, _Gathered]:
    needed: dict[str, _Gathered] = defaultdict(_Gathered)
    for change in changes:
        if change.component is None:
            continue
        entry = needed[change.component]
        entry.quantity += change.quantity
        entry.positions.append(change.position)
        entry.reasons += [change.because, *change.also_needed_by]
        entry.grades.append(change.grade)
        if change.asked_number and change.asked_number != change.component:
            entry.asked.append(change.asked_number)
    for part in loose:
        entry = needed[part.component]
        entry.quantity += part.quantity
        entry.reasons += [part.because, *part.also_needed_by]
        entry.grades.append(part.because.grade)
    return needed


def _line(part: Component, gathered: _Gathered, cautions: dict[str, tuple[str, ...]]) -> OrderLine:
    pieces = -(-gathered.quantity // part.pack) * part.pack
    return OrderLine(
        number=part.number,
        name=part.name,
        section=part.section,
        positions=tuple(gathered.positions),
        quantity=gathered.quantity,
        pack=part.pack,
        pieces=pieces,
        unit_price=part.price,
        deposit=part.deposit,
        reasons=_once(gathered.reasons),
        grade=min(gathered.grades),
        asked_numbers=tuple(dict.fromkeys(gathered.asked)),
        hazard=part.hazard,
        cautions=cautions.get(part.section, ()),
    )


def _once(reasons: Iterable[Because]) -> tuple[Because, ...]:
    """Each wish or rule once, in order, even when both sides of a pair give it."""
    first: dict[tuple[str, str], Because] = {}
    for reason in reasons:
        first.setdefault((reason.cause, reason.name), reason)
    return tuple(first.values())


def _taken_off(book: RuleBook, change: Change) -> TakenOff:
    number = change.replaces or ""
    part = book.components.get(number)
    quantity = next(
        (f.quantity for f in book.fitments if f.component == number and f.position == change.position), 1
    )
    return TakenOff(number, part.name if part else "", change.position, quantity, change.component)


def _place(book: RuleBook, number: str) -> tuple[int, str]:
    section = book.sections.get(book.components[number].section)
    return (section.order if section else 10**6, number)
