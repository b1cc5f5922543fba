"""What the sets of several vehicles need together: one line a number, and what comes off.

Pure: from rule books and solutions to values. Money is in minor units.
"""

import math
from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from graftbook.closure.answer import Because, Cause, Change, FlawNote, Loose, Solution, number_asked
from graftbook.closure.words.phrases import opening
from graftbook.closure.words.sentences import lifting, section_cautions, sentence
from graftbook.orders.buying.contents import contents_of, in_words, needed_amount
from graftbook.rulebook.model import Companion, Component, Effort, Fitment, Grade, RuleBook
from graftbook.rulebook.scope import LOOSE

_HANDS: Mapping[str, Literal["left", "right"]] = {"left": "left", "right": "right"}


@dataclass(frozen=True, slots=True)
class VehicleSet:
    """One vehicle's set. `label` tells the vehicles of a list apart; the bench needs no buying."""

    label: str
    book: RuleBook
    solution: Solution
    on_the_bench: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Share:
    """What one vehicle needs of a line."""

    vehicle: str
    positions: tuple[str, ...]
    quantity: int


@dataclass(frozen=True, slots=True)
class NeededBy:
    """Why a vehicle needs it: the wish or rule by name and in words, and the change that it comes from."""

    cause: Cause
    name: str
    sentence: str
    parent: str = ""


@dataclass(frozen=True, slots=True)
class Need:
    """One number that is needed, whoever sells it.

    `quantity` counts pieces; where rules say how much (`amount`, in words) it is what holds that much
    of all vehicles together. `chain`: the numbers from the one asked for to this one. `hand`: of a
    handed part. `pair`: its places are changed together. `grade`: of the weakest claim that brings it.
    """

    part: Component
    quantity: int
    shares: tuple[Share, ...]
    reasons: tuple[NeededBy, ...]
    grade: Grade
    amount: str = ""
    asked_numbers: tuple[str, ...] = ()
    chain: tuple[str, ...] = ()
    hand: Literal["", "left", "right"] = ""
    pair: bool = False
    goes_with: tuple[Component, ...] = ()
    cautions: tuple[str, ...] = ()
    section_order: int = 0
    section_title: str = ""


@dataclass(frozen=True, slots=True)
class AtHand:
    """A component that a set needs and that lies on the bench already."""

    part: Component
    vehicle: str
    quantity: int
    positions: tuple[str, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TakenOff:
    """A component that comes off. `deposit`: its replacement is bought on exchange for one like it."""

    vehicle: str
    position: str
    number: str
    name: str
    quantity: int
    replaced_by: str | None
    worth_keeping: bool
    flaw: str = ""
    welded_in: bool = False
    """Only a welder could put it back, so it comes off in pieces."""
    reworked: bool = False
    """What replaces it is made of it."""


@dataclass(frozen=True, slots=True)
class Needs:
    """Everything that is needed, in the order of sections and numbers."""

    lines: tuple[Need, ...]
    at_hand: tuple[AtHand, ...]
    taken_off: tuple[TakenOff, ...]


@dataclass(slots=True)
class _Gathered:
    """What the vehicles need of one number, while it is summed."""

    part: Component
    book: RuleBook
    quantities: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    positions: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    amounts: dict[str, float | None] = field(default_factory=dict)
    loose_pieces: int = 0
    reasons: list[NeededBy] = field(default_factory=list)
    grades: list[Grade] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    sides: set[str] = field(default_factory=set)
    pair: bool = False
    goes_with: dict[str, Component] = field(default_factory=dict)


def needs_of(wanted: Iterable[VehicleSet]) -> Needs:
    """What the sets need together; what lies on a vehicle's bench is not bought for that vehicle."""
    gathered: dict[str, _Gathered] = {}
    at_hand: list[AtHand] = []
    taken_off: list[TakenOff] = []
    for one in wanted:
        for number, entry in _of_vehicle(one).items():
            if number in one.on_the_bench:
                places = tuple(entry.positions[one.label])
                cautions = _cautions(entry)
                at_hand.append(AtHand(entry.part, one.label, entry.quantities[one.label], places, cautions))
            elif number in gathered:
                _join(gathered[number], entry)
            else:
                gathered[number] = entry
        taken_off += _taken_off(one)
    lines = [_need(entry) for entry in gathered.values()]
    lines.sort(key=lambda need: (need.section_order, need.part.number))
    return Needs(tuple(lines), tuple(at_hand), tuple(taken_off))


def _of_vehicle(one: VehicleSet) -> dict[str, _Gathered]:
    found: dict[str, _Gathered] = {}

    def entry(number: str) -> _Gathered:
        if number not in found:
            found[number] = _Gathered(one.book.components[number], one.book)
        return found[number]

    for change in one.solution.changes:
        if change.component is not None:
            _add_change(entry(change.component), one, change)
    for part in one.solution.loose:
        _add_loose(entry(part.component), one, part)
    return found


def _add_change(entry: _Gathered, one: VehicleSet, change: Change) -> None:
    place = one.book.positions.get(change.position)
    entry.quantities[one.label] += change.quantity
    entry.positions[one.label].append(place.title if place else change.position)
    entry.reasons += _needed_by(one.book, (change.because, *change.also_needed_by))
    entry.grades.append(change.grade)
    if change.asked_number and change.asked_number != change.component:
        entry.asked.append(change.asked_number)
    entry.sides.add(place.side if place and entry.part.twin else "")
    entry.pair = entry.pair or bool(place and place.pair)


def _add_loose(entry: _Gathered, one: VehicleSet, part: Loose) -> None:
    reasons = [part.because, *part.also_needed_by]
    entry.quantities[one.label] += part.quantity
    entry.loose_pieces += part.quantity
    entry.amounts[one.label] = needed_amount(one.book, part.component, reasons)
    entry.reasons += _needed_by(one.book, reasons)
    entry.grades.append(part.because.grade)
    entry.asked += _asked_for(one.book, part.component, reasons)
    entry.sides.add("")
    entry.goes_with |= {number: one.book.components[number] for number in _bringing(one, reasons)}


def _bringing(one: VehicleSet, reasons: Iterable[Because]) -> Iterator[str]:
    """The numbers of what is new on the vehicle and asks for a loose part."""
    new = {change.position: change.component for change in one.solution.changes}
    for reason in reasons:
        loose = reason.parent.startswith(LOOSE)
        if number := reason.parent.removeprefix(LOOSE) if loose else new.get(reason.parent):
            yield number


def _needed_by(book: RuleBook, reasons: Iterable[Because]) -> list[NeededBy]:
    return [NeededBy(b.cause, b.name, sentence(book, b.ground), b.parent) for b in reasons]


def _asked_for(book: RuleBook, number: str, reasons: Iterable[Because]) -> list[str]:
    """The old numbers by which wishes and rules named a loose part."""
    named = []
    for reason in reasons:
        if asked := number_asked(reason.ground):
            named.append(asked)
        elif isinstance(reason.ground, Companion):
            named += [a.component for a in reason.ground.alternatives if a.loose]
    return [old for old in named if old != number and chain_between(book, old, number)]


def _join(into: _Gathered, more: _Gathered) -> None:
    for label, quantity in more.quantities.items():
        into.quantities[label] += quantity
        into.positions[label] += more.positions[label]
    into.amounts |= more.amounts
    into.loose_pieces += more.loose_pieces
    into.reasons += more.reasons
    into.grades += more.grades
    into.asked += more.asked
    into.sides |= more.sides
    into.pair = into.pair or more.pair
    into.goes_with |= more.goes_with


def _need(entry: _Gathered) -> Need:
    part, book = entry.part, entry.book
    quantity = sum(entry.quantities.values())
    amounts = list(entry.amounts.values())
    amount, contents = "", contents_of(part)
    if contents and amounts and all(a is not None for a in amounts):
        needed = math.fsum(a for a in amounts if a is not None)
        quantity += pieces_for(needed, contents.size) - entry.loose_pieces
        amount = in_words(needed, contents)
    section = book.sections.get(part.section)
    asked = tuple(dict.fromkeys(entry.asked))
    (hand,) = entry.sides if len(entry.sides) == 1 else ("",)
    return Need(
        part=part,
        quantity=quantity,
        shares=tuple(
            Share(label, tuple(entry.positions[label]), pieces) for label, pieces in entry.quantities.items()
        ),
        reasons=_once(entry.reasons),
        grade=min(entry.grades),
        amount=amount,
        asked_numbers=asked,
        chain=chain_between(book, asked[0], part.number) if asked else (),
        hand=_HANDS.get(hand, ""),
        pair=entry.pair,
        goes_with=tuple(entry.goes_with.values()),
        cautions=_cautions(entry),
        section_order=section.order if section else 10**6,
        section_title=section.title if section else part.section,
    )


def _cautions(entry: _Gathered) -> tuple[str, ...]:
    return (*section_cautions(entry.book, entry.part.section), *lifting(entry.part))


def pieces_for(amount: float, contents: float) -> int:
    """The fewest pieces that hold an amount; a rounding error of the units is no further piece."""
    return max(1, math.ceil(amount / contents - 1e-9))


def _once(reasons: Sequence[NeededBy]) -> tuple[NeededBy, ...]:
    """Each wish or rule once, in order, even when both sides of a pair give it."""
    first: dict[tuple[str, str], NeededBy] = {}
    for reason in reasons:
        first.setdefault((reason.cause, reason.name), reason)
    return tuple(first.values())


def _taken_off(one: VehicleSet) -> Iterator[TakenOff]:
    """What comes off. An original part may have to go back one day: it is kept unless it can hurt."""
    own: dict[tuple[str, str], Fitment] = {}
    for fitment in one.book.fitments:
        own.setdefault((fitment.component, fitment.position), fitment)
    worst: dict[tuple[str, str], FlawNote] = {}
    for note in sorted(one.solution.flaws_gone, key=lambda note: -note.severity):
        worst.setdefault((note.component, note.position), note)
    for change in one.solution.changes:
        if number := change.replaces:
            place, part = one.book.positions.get(change.position), one.book.components.get(number)
            made = one.book.components.get(change.component) if change.component else None
            flaw = worst.get((number, change.position))
            fitted = own.get((number, change.position))
            yield TakenOff(
                vehicle=one.label,
                position=place.title if place else change.position,
                number=number,
                name=part.name if part else "",
                quantity=fitted.quantity if fitted else 1,
                replaced_by=change.component,
                worth_keeping=part is None or part.origin == "original",
                flaw=opening(flaw.symptom) if flaw else "",
                reworked=made is not None and made.reworked,
                welded_in=fitted is not None and fitted.effort is Effort.cutting,
            )


def chain_between(book: RuleBook, old: str, new: str) -> tuple[str, ...]:
    """The shortest way along supersessions from an old number to a new one, both included.

    Empty when none leads there: the number then serves by another record.
    """
    onward: dict[str, list[str]] = defaultdict(list)
    for supersession in book.supersessions:
        onward[supersession.old].append(supersession.new)
        if supersession.both_ways:
            onward[supersession.new].append(supersession.old)
    came_from: dict[str, str] = {old: ""}
    waiting = deque([old])
    while waiting:
        here = waiting.popleft()
        if here == new:
            return _back(came_from, here)
        for number in sorted(onward[here]):
            if number not in came_from:
                came_from[number] = here
                waiting.append(number)
    return ()


def _back(came_from: dict[str, str], here: str) -> tuple[str, ...]:
    chain = []
    while here:
        chain.append(here)
        here = came_from[here]
    return tuple(reversed(chain))
