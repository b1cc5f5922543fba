"""Lint of what the factory fitted: too much or nothing at a position of some vehicle.

Every bound of a condition is tried on both of its sides, so the vehicles that are tried stand for
all that the chassis spans hold.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import combinations, islice

from graftbook.catalogue.lint.finding import Wrong
from graftbook.rulebook.model import ALWAYS, ChassisSpan, Claim, Fitment, RuleBook, Vehicle, When
from graftbook.rulebook.units import chassis_number

_OPTIONS_TOGETHER = 4
"""Options tried in every combination; of more, each alone and all together."""
MOST_VEHICLES = 64
"""Vehicles of a variant that a closure is asked for."""
MOST_TRIED = 4_000

_Key = tuple[Wrong, tuple[str, ...]]


def from_new_findings(book: RuleBook) -> Iterator[tuple[_Key, str]]:
    """(what, sentence) for positions with two components from new at once, or essential and with none."""
    at: dict[str, list[Fitment]] = defaultdict(list)
    for fitment in book.fitments:
        if fitment.from_new:
            at[fitment.position].append(fitment)
    for name, position in book.positions.items():
        twice: dict[tuple[str, ...], str] = {}
        bare: str = ""
        for vehicle in vehicles_to_try(book, at[name]):
            holding = {f.component: f for f in at[name] if f.when.holds(vehicle)}
            if len(holding) > 1:
                names = tuple(sorted(f.name for f in holding.values()))
                twice.setdefault(names, in_words(vehicle))
            elif not holding and position.essential:
                bare = bare or in_words(vehicle)
        for names, where in twice.items():
            yield (
                (Wrong.two_at_once, (name, *names)),
                f"{' and '.join(names)} are both at {name} from new on {where}",
            )
        if bare:
            sentence = f"{name} is never left empty, but nothing is there from new on {bare}"
            yield (Wrong.nothing_from_new, (name,)), sentence


def vehicles_to_try(book: RuleBook, claims: Sequence[Claim]) -> Iterator[Vehicle]:
    """Vehicles of the variant that stand for all: both sides of every bound, options with and without."""
    options = sorted({o for c in claims for o in c.when.options | c.when.without} & book.variant.options)
    for span in book.variant.spans:
        for serial in _serials(span, claims):
            built = _day(span, serial)
            for chosen in _choices(options):
                yield Vehicle(book.variant.name, span.prefix, serial, built, chosen)


def vehicles_that_differ(book: RuleBook) -> list[Vehicle]:
    """At most `MOST_VEHICLES` of the variant, one for each set of records that can hold together."""
    claims = [claim for group in claims_of(book) for claim in group if claim.when is not ALWAYS]
    by_when = list({claim.when: claim for claim in claims}.values())
    found: dict[frozenset[When], Vehicle] = {}
    for vehicle in islice(vehicles_to_try(book, by_when), MOST_TRIED):
        holding = frozenset(claim.when for claim in by_when if claim.when.holds(vehicle))
        found.setdefault(holding, vehicle)
        if len(found) == MOST_VEHICLES:
            break
    return list(found.values())


def claims_of(book: RuleBook) -> tuple[Sequence[Claim], ...]:
    """The records that reasoning asks whether they speak of a vehicle."""
    return (
        book.fitments, book.flaws, book.companions, book.conflicts, book.joints, book.budgets,
    )  # fmt: skip


def _serials(span: ChassisSpan, claims: Sequence[Claim]) -> list[int]:
    tried = {span.first, span.last}
    days = max((span.built_to - span.built_from).days, 1)
    for when in {claim.when for claim in claims}:
        if when.chassis_prefix == span.prefix:
            for bound in (when.chassis_from, when.chassis_to):
                tried |= {bound - 1, bound, bound + 1} if bound is not None else set()
        for day in (when.built_from, when.built_to):
            if day is not None:
                serial = span.first + (day - span.built_from).days * (span.last - span.first) // days
                step = (span.last - span.first) // days + 1
                tried |= {serial - step, serial, serial + step}
    return sorted(serial for serial in tried if span.first <= serial <= span.last)


def _day(span: ChassisSpan, serial: int) -> date:
    steps = span.last - span.first
    days = (span.built_to - span.built_from).days
    return span.built_from + timedelta(days=days * (serial - span.first) // steps if steps else 0)


def _choices(options: list[str]) -> list[frozenset[str]]:
    if len(options) <= _OPTIONS_TOGETHER:
        sizes = range(len(options) + 1)
        return [frozenset(some) for size in sizes for some in combinations(options, size)]
    return [frozenset(), *(frozenset({option}) for option in options), frozenset(options)]


def in_words(vehicle: Vehicle) -> str:
    """A vehicle of the variant in words."""
    options = f" with {', '.join(sorted(vehicle.options))}" if vehicle.options else ""
    return f"{chassis_number(vehicle.chassis_prefix, vehicle.chassis_serial)}{options}"
