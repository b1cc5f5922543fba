"""One issue of a flat list turned: rows, mapping, decisions, the catalogue and the last issue go in; records,
what waits and what is asked come out. Pure: the same goes in, the same comes out."""

from collections.abc import Mapping
from dataclasses import dataclass

from graftbook.catalogue.format.names import as_typed
from graftbook.editing.flat.changes import FlatChangeOut, changes_between
from graftbook.editing.flat.known import Fields, KnownRecords
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.parts import ListedPart
from graftbook.editing.flat.questions import Asking, ListQuestion, Remark
from graftbook.editing.flat.replacing import Replacing
from graftbook.editing.flat.rows import Rows
from graftbook.editing.flat.settling import Settling
from graftbook.editing.flat.telling import Telling, rows_told


@dataclass(frozen=True, slots=True)
class Turned:
    """What an issue becomes. `taken` is what the list would say once this is loaded, for the next issue."""

    objects: list[Fields]
    removals: dict[str, list[str]]
    taken: dict[str, ListedPart]
    questions: list[ListQuestion]
    told: list[Remark]
    untold: int
    changes: list[FlatChangeOut]
    rows: int
    numbers: int
    waiting: frozenset[str]
    unchanged: int
    """Numbers that the list tells as when they were taken."""
    new: int
    """Numbers that can be taken and that the catalogue does not know yet."""
    served: frozenset[str]
    """Keys of the answers that something was asked under; the others answer nothing of this issue."""

    @property
    def ready(self) -> int:
        """Numbers that can be taken: everything of them is decided, and they are not as they were taken."""
        return self.numbers - len(self.waiting) - self.unchanged


def turn(
    rows: Rows,
    mapping: FlatMapping,
    decisions: Mapping[str, str],
    known: KnownRecords,
    before: Mapping[str, ListedPart],
    *,
    only_range: bool = True,
) -> Turned:
    """Turn the rows of an issue; `before`: what the last issue that was taken said, by number."""
    asking = Asking(decisions)
    listed = rows_told(rows, mapping, asking)
    telling = Telling(known, mapping, asking)
    parts = telling.parts(listed)
    replacing = Replacing(known, asking, parts, telling.lines)
    replacing.settle()
    settling = Settling(known, mapping, asking, before, only_range)
    for part in parts:
        settling.part(part, telling.lines[part["number"]])
    present = {part["number"] for part in parts}
    held = {as_typed(number) for number in asking.waiting}
    for number in sorted(set(before) - present):
        if as_typed(number) not in held:
            settling.gone(number)
    settled = settling.settled
    entered = _objects_of_replaced(replacing, settled.taken, mapping)
    suppliers = _suppliers(telling, settled.objects)
    kept = {n: part for n, part in before.items() if n not in settled.taken and n not in settled.gone}
    components = known.records.get("component", {})
    return Turned(
        objects=[*suppliers, *entered, *settled.objects],
        removals={kind: names for kind, names in settled.removals.items() if names},
        taken=kept | settled.taken,
        questions=asking.in_order(),
        told=sorted(asking.told, key=lambda one: one.line),
        untold=asking.untold,
        changes=changes_between(before, parts),
        rows=len(listed),
        numbers=len(present),
        waiting=frozenset(asking.waiting & present),
        unchanged=settled.unchanged,
        new=sum(number not in components for number in settled.taken),
        served=frozenset(asking.served),
    )


def _objects_of_replaced(
    replacing: Replacing, taken: Mapping[str, ListedPart], mapping: FlatMapping
) -> list[Fields]:
    """Numbers that the list only names as replaced, called after the first that replaces them."""
    stands = replacing.known.records.get("component", {})
    found: dict[str, Fields] = {}
    for number, part in taken.items():
        known = stands.get(number, {})
        for old in replacing.entered.intersection(part["replaces"]):
            name, section = (part["name"] or known["name"], part["section"] or known["section"])
            found.setdefault(old, {"record": "component", "number": old, "name": name, "section": section,
                                   "origin": mapping.origin, "supply": "superseded"})  # fmt: skip
    return [found[old] for old in sorted(found)]


def _suppliers(telling: Telling, objects: list[Fields]) -> list[Fields]:
    """Suppliers that are new, if anything of theirs is loaded."""
    used = {one["supplier"] for one in objects if one["record"] == "offer"}
    return [
        {"record": "supplier", "name": name, "title": title}
        for title, name in telling.new_suppliers.items()
        if name in used
    ]
