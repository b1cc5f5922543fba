"""Which number replaces which: the numbers that are meant, and circles among them. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from graftbook.catalogue.format.names import as_typed, supersession_name
from graftbook.editing.flat.known import KnownRecords
from graftbook.editing.flat.parts import ListedPart
from graftbook.editing.flat.questions import OUT, Asking

Edge = tuple[str, str]
"""(old, new)."""
ENTER = "enter"
MOST_CIRCLES = 200
"""So many circles are asked about at once."""


class Replacing:
    """Settles what the parts replace. `entered`: numbers that the list only names as replaced, to be entered
    as superseded."""

    def __init__(
        self,
        known: KnownRecords,
        asking: Asking,
        parts: Sequence[ListedPart],
        lines: Mapping[str, Sequence[int]],
    ) -> None:
        self.known, self.asking, self.lines = known, asking, lines
        self.parts = {part["number"]: part for part in parts}
        self.own = {as_typed(number): number for number in self.parts}
        self.entered: set[str] = set()

    def settle(self) -> None:
        """Put the catalogue's own numbers into each part's `replaces`, and leave circles out or ask."""
        for number, part in self.parts.items():
            self.asking.at(number, self.lines[number])
            part["replaces"] = [old for text in part["replaces"] if (old := self._meant(number, text))]
        self._tell_several()
        self._settle_circles()
        self._let_wait()

    def _meant(self, number: str, text: str) -> str:
        if own := self.own.get(as_typed(text)):
            return own
        meant = self.known.meant(text)
        if len(meant) == 1:
            return meant[0]
        sentence = f"{number} replaces “{text[:60]}”, which is no number of the catalogue or of this list."
        near = meant or self.known.near.get(text, [])
        offered = [*((one, one) for one in near), (ENTER, "enter it, as superseded"), (OUT, "leave it out")]
        answer = self.asking.ask(
            "replaces", text[:120], sentence, offered, typed="number", for_all=not meant,
            reads=lambda typed: len(self.known.meant(typed)) == 1 or as_typed(typed) in self.own,
        )  # fmt: skip
        if answer == ENTER:
            self.entered.add(text)
            return text
        if answer in (None, OUT):
            return ""
        return self.own.get(as_typed(answer or ""), "") or next(iter(self.known.meant(answer or "")), "")

    def edges(self) -> list[Edge]:
        """What the list says replaces what."""
        return [(old, number) for number, part in self.parts.items() for old in part["replaces"]]

    def _tell_several(self) -> None:
        by: dict[str, list[str]] = defaultdict(list)
        for old, new in self.edges():
            by[old].append(new)
        for old, every in by.items():
            if len(every) > 1:
                self.asking.at(every[0], self.lines[every[0]])
                self.asking.tell(f"{old} is replaced by {' and by '.join(every[:5])}.")

    def _settle_circles(self) -> None:
        """One edge of each circle is left out, or it is asked which."""
        mine = self.edges()
        after: dict[str, set[str]] = defaultdict(set)
        for old, every in self.known.successors.items():
            after[old] |= every
        for old, new in mine:
            after[old].add(new)
        left = _in_circles(after)
        found = 0  # circles that nobody decided yet
        for old, new in mine:
            if old not in left or new not in left:
                continue
            while found < MOST_CIRCLES and new in after[old] and (way := _way(after, left, new, old)):
                found += not self._settle_circle([(old, new), *way], after)
            if found == MOST_CIRCLES:
                self._wait_for_the_others(left)
                return

    def _settle_circle(self, circle: Sequence[Edge], after: dict[str, set[str]]) -> bool:
        """Leave out the edge that was decided on; undecided, all of the list's are asked about and passed.
        Whether it was decided."""
        listed = [(old, new) for old, new in circle if old in self.parts.get(new, _NOTHING)["replaces"]]
        answer = self._circle_asked(circle, listed)
        if answer is not None:
            self.parts[answer[1]]["replaces"].remove(answer[0])
        for old, new in listed if answer is None else [answer]:
            after[old].discard(new)
        return answer is not None

    def _wait_for_the_others(self, left: Iterable[str]) -> None:
        for number in sorted(set(left) & set(self.parts)):
            self.asking.at(number, self.lines[number])
            sentence = (
                f"There are more than {MOST_CIRCLES} circles of replaced numbers; settle the others first."
            )
            self.asking.ask("circle", "more", sentence, [])

    def _circle_asked(self, circle: Sequence[Edge], listed: Sequence[Edge]) -> Edge | None:
        steps = ", ".join(f"{new} replaces {old}" for old, new in circle[:8])
        by_value = {supersession_name(old, new): (old, new) for old, new in listed}
        offered = [(value, f"leave out that {new} replaces {old}") for value, (old, new) in by_value.items()]
        answer = None
        for number in sorted({number for edge in circle for number in edge} & set(self.parts)):
            self.asking.at(number, self.lines[number])
            sentence = f"These numbers replace one another in a circle: {steps}."
            answer = self.asking.ask("circle", " ".join(sorted(by_value))[:200], sentence, offered)
        return by_value.get(answer or "")

    def _let_wait(self) -> None:
        """Whatever replaces a number that is only in the list waits for it."""
        waiting = [n for n in self.asking.waiting if not self.known.meant(n)]
        after: dict[str, list[str]] = defaultdict(list)
        for old, new in self.edges():
            after[old].append(new)
        while waiting:
            for new in after.get(waiting.pop(), ()):
                if new not in self.asking.waiting:
                    self.asking.waiting.add(new)
                    if not self.known.meant(new):
                        waiting.append(new)


_NOTHING: ListedPart = {
    "number": "", "name": "", "section": "", "price": "", "pack": 0, "note": "", "fits": [], "offers": {},
    "replaces": [],
}  # fmt: skip


def _in_circles(after: Mapping[str, Iterable[str]]) -> set[str]:
    """What is left when numbers that nothing leads to, or that lead nowhere, are taken off until none is."""
    out = {one: set(every) for one, every in after.items()}
    into: dict[str, set[str]] = defaultdict(set)
    for one, every in out.items():
        for other in every:
            into[other].add(one)
    left = set(out) | set(into)
    ends = [one for one in left if not out.get(one) or not into.get(one)]
    while ends:
        one = ends.pop()
        if one not in left:
            continue
        left.discard(one)
        for other in out.pop(one, ()):
            into[other].discard(one)
            if not into[other]:
                ends.append(other)
        for other in into.pop(one, ()):
            out[other].discard(one)
            if not out[other]:
                ends.append(other)
    return left


def _way(after: Mapping[str, Iterable[str]], within: set[str], start: str, goal: str) -> list[Edge] | None:
    """A shortest way from one number to another."""
    came: dict[str, str] = {start: ""}
    queue = [start]
    for one in queue:
        if one == goal:
            path = [one]
            while came[path[-1]]:
                path.append(came[path[-1]])
            path.reverse()
            return list(pairwise(path))
        for other in sorted(set(after.get(one, ())) & within):
            if other not in came:
                came[other] = one
                queue.append(other)
    return None
