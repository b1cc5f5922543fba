"""What can be found for a vehicle: everything its rule book names, told what fits the very vehicle. Pure."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from graftbook.catalogue.finding.ranking import (
    NAME,
    PLACE,
    VALUE,
    Entry,
    Hit,
    Index,
    head_of,
    recorded,
    sizes_in,
    weights_of,
)
from graftbook.catalogue.finding.speech import Term, shown
from graftbook.rulebook.model import Component, Fitment, Flaw, RuleBook, Vehicle, When

_IN_FLAWS_NAME = 1.4
_NOT_IN_A_NAME = re.compile(r"[^\w]+|_|\b[0-9]+\b|\b(?:left|right|four|long|early|late)\b")
SECTION = 0.5
LOOSE, SITS_NOW, NOT_ON_IT = -0.4, 0.3, -1.5
"""What speaks for a part whatever was said: small goods last; a flaw of a part that is not there, hardly."""


@dataclass(frozen=True, slots=True)
class _Holds:
    """When an entry holds: itself, where its parts can sit, where they sat from new. No parts: anywhere."""

    itself: tuple[When, ...] = ()
    sits: tuple[When, ...] = ()
    from_new: tuple[When, ...] = ()


class OfBook:
    """The entries of one rule book, made once; for each vehicle it is told anew what fits."""

    def __init__(self, book: RuleBook) -> None:
        self._fitments: dict[str, list[Fitment]] = defaultdict(list)
        for fitment in book.fitments:
            self._fitments[fitment.component].append(fitment)
        made = list(self._held_entries(book))
        self.words = shown(_texts(book))
        """Each root → a word that has it."""
        self.index = Index(entry for _, entry in made)
        holds = {(entry.kind, entry.name): those for those, entry in made}
        self.known = frozenset(holds)
        """Kind and name of every entry."""
        self._holds = [holds[entry.kind, entry.name] for entry in self.index.entries]
        self._numbers = {
            entry.name: at for at, entry in enumerate(self.index.entries) if entry.kind == "component"
        }

    def ranked(self, terms: Sequence[Term], vehicle: Vehicle, limit: int) -> list[Hit]:
        """What answers best, each with whether it fits this vehicle."""
        on = _OnVehicle(self.index.entries, self._holds, vehicle)
        found = self.index.ranked(terms, limit, on.fits, on.leaning)
        return [replace(hit, entry=replace(hit.entry, fits=on.fits(at))) for at, hit in found]

    def of_number(self, number: str, vehicle: Vehicle) -> Entry | None:
        """A component of the book; None where it is not in it."""
        at = self._numbers.get(number)
        on = _OnVehicle(self.index.entries, self._holds, vehicle)
        return None if at is None else replace(self.index.entries[at], fits=on.fits(at))

    def _held_entries(self, book: RuleBook) -> Iterator[tuple[_Holds, Entry]]:
        for upgrade in book.upgrades:
            entry = upgrade_entry(upgrade.name, upgrade.title, upgrade.called, upgrade.note)
            yield _Holds(itself=(upgrade.when,)), entry
        for number, component in book.components.items():
            if component.loose or number in self._fitments:
                yield self._holdings([number]), self._component(book, component)
        for flaw in book.flaws:
            held = replace(self._holdings(flaw.components), itself=(flaw.when,))
            yield held, self._flaw(book, flaw)

    def _holdings(self, numbers: Iterable[str]) -> _Holds:
        fitments = [each for number in numbers for each in self._fitments.get(number, ())]
        return _Holds(
            sits=tuple(each.when for each in fitments),
            from_new=tuple(each.when for each in fitments if each.from_new),
        )

    def _component(self, book: RuleBook, component: Component) -> Entry:
        places = dict.fromkeys(each.position for each in self._fitments.get(component.number, ()))
        section = book.sections.get(component.section)
        known = {kind: value for kind, value in component.characteristics.items() if kind in book.kinds}
        weights = weights_of(
            component.name,
            (SECTION, [section.title] if section else []),
            (VALUE, [f"{value.written} {book.kinds[kind].title}" for kind, value in known.items()]),
            sits=[book.positions[name].title for name in places if name in book.positions],
        )
        sizes = sizes_in(component.name) + [
            recorded(book.kinds[kind].quantity, value.si)
            for kind, value in known.items()
            if value.si is not None
        ]
        return Entry(
            "component", component.number, component.name, component.section, weights=weights,
            head=head_of(component.name), sizes=tuple(sizes), prior=LOOSE if component.loose else 0.0,
        )  # fmt: skip

    def _flaw(self, book: RuleBook, flaw: Flaw) -> Entry:
        whose = [book.components[number].name for number in flaw.components if number in book.components]
        places = {fit.position for number in flaw.components for fit in self._fitments.get(number, ())}
        sits = sorted(book.positions[name].title for name in places if name in book.positions)
        return flaw_entry(flaw.name, flaw.component, (flaw.symptom, flaw.appears_when), [*whose, *sits])


class _OnVehicle:
    """What of the entries fits one vehicle, and what sits there from new."""

    def __init__(self, entries: Sequence[Entry], holds: Sequence[_Holds], vehicle: Vehicle) -> None:
        self._entries = entries
        self._holds = holds
        self._vehicle = vehicle

    def fits(self, at: int) -> bool:
        """Whether the vehicle can have it."""
        held = self._holds[at]
        return self._any(held.itself, none=True) and self._any(held.sits, none=True)

    def leaning(self, at: int) -> float:
        """What sits there from new is asked for sooner; a flaw of a part that does not, hardly."""
        new = self._any(self._holds[at].from_new, none=False)
        if self._entries[at].kind == "flaw":
            return 0.0 if new else NOT_ON_IT
        return SITS_NOW if new else 0.0

    def _any(self, whens: Sequence[When], *, none: bool) -> bool:
        return any(when.holds(self._vehicle) for when in whens) if whens else none


def upgrade_entry(name: str, title: str, called: Iterable[str], note: str) -> Entry:
    """A named upgrade, found by its title and by what else it is called."""
    return Entry(
        "upgrade", name, title, detail=note, weights=weights_of(title, called=called),
        head=head_of(title), sizes=tuple(sizes_in(title)),
    )  # fmt: skip


def flaw_entry(name: str, component: str, told: Sequence[str], parts: Iterable[str]) -> Entry:
    """A known flaw, found by its name, by what people see of it, and by the parts that have it.

    `told`: its symptom, and when it appears.
    """
    named = _NOT_IN_A_NAME.sub(" ", name)
    heads = [" ".join(head_of(part)) for part in parts]
    weights = weights_of("", (NAME, told), (_IN_FLAWS_NAME, [named]), (PLACE, heads))
    return Entry("flaw", name, told[0], detail=component, weights=weights)


def _texts(book: RuleBook) -> Iterator[str]:
    for component in book.components.values():
        yield component.name
    for upgrade in book.upgrades:
        yield from (upgrade.title, *upgrade.called)
    for flaw in book.flaws:
        yield from (flaw.symptom, flaw.appears_when, _NOT_IN_A_NAME.sub(" ", flaw.name))
    titled = (book.positions, book.sections, book.kinds)
    yield from (each.title for those in titled for each in those.values())
