"""What can be found for a vehicle: everything its rule book names, told what fits the very vehicle. Pure."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace

from graftbook.catalogue.finding.ranking import NAME, PLACE, VALUE, Entry, weights_of
from graftbook.rulebook.model import Component, RuleBook, Vehicle, When

_CALLED = 4.0
"""What else an upgrade is called weighs as its title does."""


class OfBook:
    """The entries of one rule book, made once; for each vehicle it is told anew what fits."""

    def __init__(self, book: RuleBook) -> None:
        self._whens: dict[str, list[When]] = defaultdict(list)
        self._places: dict[str, dict[str, None]] = defaultdict(dict)
        for fitment in book.fitments:
            self._whens[fitment.component].append(fitment.when)
            self._places[fitment.component].setdefault(fitment.position)
        self._entries = [(whens, entry) for whens, entry in self._made(book)]
        self.vocabulary = sorted({word for _, entry in self._entries for word in entry.weights})

    def entries(self, vehicle: Vehicle) -> list[Entry]:
        """Everything, each with whether it fits this vehicle."""
        return [
            replace(entry, fits=not whens or any(when.holds(vehicle) for when in whens))
            for whens, entry in self._entries
        ]

    def _made(self, book: RuleBook) -> Iterator[tuple[list[When], Entry]]:
        for upgrade in book.upgrades:
            weights = weights_of(upgrade.title, (_CALLED, upgrade.called))
            yield (
                [upgrade.when],
                Entry("upgrade", upgrade.name, upgrade.title, detail=upgrade.note, weights=weights),
            )
        for number, component in book.components.items():
            if component.loose or number in self._whens:
                yield self._whens.get(number, []), self._component(book, component)
        for flaw in book.flaws:
            whose = [book.components[number].name for number in flaw.components if number in book.components]
            weights = weights_of("", (NAME, [flaw.symptom, flaw.appears_when]), (PLACE, whose))
            yield [flaw.when], Entry("flaw", flaw.name, flaw.symptom, detail=flaw.component, weights=weights)

    def _component(self, book: RuleBook, component: Component) -> Entry:
        places = [
            book.positions[name].title
            for name in self._places.get(component.number, ())
            if name in book.positions
        ]
        section = book.sections.get(component.section)
        values = [
            f"{measure.written} {book.kinds[kind].title}"
            for kind, measure in component.characteristics.items()
            if kind in book.kinds
        ]
        weights = weights_of(
            component.name, (PLACE, [*places, section.title if section else ""]), (VALUE, values)
        )
        return Entry("component", component.number, component.name, component.section, weights=weights)
