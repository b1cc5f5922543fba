"""What clashes in a list: which of its lines, with what, why, and what settles it."""

from collections.abc import Iterable, Mapping
from typing import TypedDict

from graftbook.pages.checking.amending import change_of
from graftbook.pages.checking.missing import MissingParts
from graftbook.pages.checking.typed_list import ListEntry
from graftbook.questions.checks.service import Proposed
from graftbook.questions.closures.compared_schemas import CheckOut, SurplusOut
from graftbook.questions.closures.schemas import ChangeOut, ContradictionOut, NoteOut, WayOutOut
from graftbook.rulebook.scope import LOOSE

Sources = dict[str, tuple[ListEntry, int]]
"""JSON pointer → the entry behind it, and how many of its pieces have a place already."""


class There(TypedDict):
    """What sits on the vehicle and clashes, and the row of the missing parts that takes its place."""

    position: str
    number: str | None
    name: str | None
    line: int | None


class ListClash(TypedDict):
    """One clash: lines of the list, what of the vehicle they meet, the reasons, the rules' names."""

    mine: list[ListEntry]
    there: list[There]
    sentences: list[str]
    rules: list[str]


class WayOutShown(WayOutOut):
    """A way out, the entries that it takes off the list, and what a button sends; empty: no button."""

    gone: list[ListEntry]
    change: str


class TooMuch(SurplusOut):
    """Something surplus, and what a button sends to take its line off; empty where it is part of a line."""

    change: str


class Listed:
    """Which entry of the list a position, a loose number or a wish comes from."""

    def __init__(self, proposed: Proposed, sources: Sources) -> None:
        self.at = {position: sources[pointer][0] for position, pointer in proposed.came.items()}
        self.at |= {f"{LOOSE}{n}": sources[came[0]][0] for n, came in proposed.loose_came.items()}
        components = proposed.asked.book.components
        sits = {**proposed.sits, **{f"{LOOSE}{number}": number for number in proposed.loose}}
        self.names = {e.number: components[c].name for p, e in self.at.items() if (c := sits[p])}
        self._loose = {n: [sources[p][0] for p in came] for n, came in proposed.loose_came.items()}
        self._wishes = {name: [sources[p][0] for p in came] for name, came in proposed.wishes().items()}

    def behind(self, wishes: Iterable[str]) -> list[ListEntry] | None:
        """The entries behind wishes; None where one is no wish of the list or only a part of an entry."""
        names = set(wishes)
        if not names <= self._wishes.keys():
            return None
        entries = {id(e): e for name in names for e in self._wishes[name]}
        others = {id(e) for name in self._wishes.keys() - names for e in self._wishes[name]}
        return None if entries.keys() & others else list(entries.values())

    def some_behind(self, wishes: Iterable[str]) -> list[ListEntry]:
        """The entries behind those wishes that are the list's."""
        found = [entry for name in wishes for entry in self._wishes.get(name, ())]
        return sorted({id(entry): entry for entry in found}.values(), key=lambda entry: entry.line)

    def whole(self, one: SurplusOut) -> list[ListEntry]:
        """The entries that are surplus as a whole; none where a part of them is needed."""
        if one["position"]:
            entry = self.at.get(one["position"])
            return [entry] if entry and entry.count == 1 else []
        loose = self._loose.get(one["component"] or "", [])
        return list({id(entry): entry for entry in loose}.values()) if len(loose) == one["quantity"] else []


def clashes_of(document: CheckOut, listed: Listed, missing: MissingParts | None) -> list[ListClash]:
    """Each clash once, whichever side it is on; where no set keeps the list, what cannot be together."""
    closure = document["completed"]
    if closure and closure["contradictions"]:
        return [_contradicting(one, listed) for one in closure["contradictions"]]
    changes = {c["position"]: c for c in closure["set"]["changes"]} if closure and closure["set"] else {}
    lines = missing["lines"] if missing else {}
    together: dict[str, ListClash] = {}
    for note in document["clashing"]:
        clash = together.setdefault(
            note["sentence"], {"mine": [], "there": [], "sentences": [note["sentence"]], "rules": []}
        )
        _take_in(clash, note, listed, changes, lines)
    return list(together.values())


def _take_in(
    clash: ListClash,
    note: NoteOut,
    listed: Listed,
    changes: Mapping[str, ChangeOut],
    lines: Mapping[str, int],
) -> None:
    clash["rules"].append(note["name"])
    for position in note["positions"]:
        entry, change = listed.at.get(position), changes.get(position)
        if entry:
            clash["mine"] += [] if entry in clash["mine"] else [entry]
        else:
            clash["there"].append(
                {
                    "position": position,
                    "number": change["replaces"] if change else None,
                    "name": change["replaces_name"] if change else None,
                    "line": lines.get(position),
                }
            )


def _contradicting(one: ContradictionOut, listed: Listed) -> ListClash:
    """What its lines ask for is told by their names; a rule by its reason, its name apart."""
    mine = listed.some_behind(part["name"] for part in one["parts"])
    others = [part for part in one["parts"] if not listed.some_behind([part["name"]])]
    return {
        "mine": mine,
        "there": [],
        "sentences": list(dict.fromkeys(fact["sentence"] for fact in (*others, *one["facts"]))),
        "rules": [part["name"] for part in others if part["cause"] not in ("wish", "limit")],
    }


def ways_of(document: CheckOut, listed: Listed) -> list[WayOutShown]:
    """The ways out of what cannot be together, as changes of the list where they are that."""
    closure = document["completed"]
    return [_way(way, listed) for way in closure["ways_out"]] if closure else []


def _way(way: WayOutOut, listed: Listed) -> WayOutShown:
    gone = listed.behind(because["name"] for because in way["gives_up"])
    number, _, position = (way["fit"] or "").partition("@")
    come = [ListEntry(0, number, 1, position)] if number else []
    return {**way, "gone": gone or [], "change": change_of(gone, come) if gone else ""}


def surplus_of(document: CheckOut, listed: Listed) -> list[TooMuch]:
    """What nobody asks for, each with the way to take it off."""
    return [{**one, "change": change_of(listed.whole(one))} for one in document["surplus"]]
