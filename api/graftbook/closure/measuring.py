"""An unknown part by its measures: which recorded figures it may have, where it may serve, what tells apart.

Every measure is a span: as far as the caliper may be off. A recorded figure may be the part's own where the
two spans meet. Where it may serve is read off the joints: what sits there today says what the part must have.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from graftbook.rulebook.compare import EITHER, agrees
from graftbook.rulebook.model import Comparator, Joint
from graftbook.rulebook.scope import Scope
from graftbook.rulebook.units import Measure

Measures = Mapping[str, Measure]
"""Kind of characteristic → its value; of a measured one the ends are as far as it may be off."""

_TURNED = {
    Comparator.equal: Comparator.equal,
    Comparator.at_least: Comparator.at_most,
    Comparator.at_most: Comparator.at_least,
}


def may_be(measured: Measure, recorded: Measure) -> bool:
    """Whether a measured value and a recorded one may be the same."""
    if measured.low is None or measured.high is None:
        return recorded.text is not None and (
            measured.text == recorded.text or EITHER in (measured.text, recorded.text)
        )
    if recorded.low is None or recorded.high is None:
        return False
    slack = 1e-9 * max(abs(measured.low), abs(measured.high), 1e-6)
    return recorded.low <= measured.high + slack and measured.low - slack <= recorded.high


@dataclass(frozen=True, slots=True)
class JointAsks:
    """What one joint asks of whatever sits at a position, by what sits on its other side today.

    `comparator` is None where the part must take the other's value in: a tyre its rim.
    """

    joint: Joint
    kind: str
    comparator: Comparator | None
    other_position: str
    other: str
    value: Measure | None
    """None: the other side has no such figure recorded."""
    margin: float

    def met_by(self, measured: Measure | None) -> bool | None:
        """Whether a part with this measure may serve; None where either figure is not known."""
        if measured is None or self.value is None:
            return None
        verdicts = [self._agrees(point) for point in _points(measured, self.value)]
        known = [verdict for verdict in verdicts if verdict is not None]
        return any(known) if known else None

    def _agrees(self, point: Measure) -> bool | None:
        if self.comparator is None:
            return agrees(self.value, Comparator.within, point, self.margin)
        return agrees(point, self.comparator, self.value, self.margin)


def _points(measured: Measure, value: Measure) -> Iterator[Measure]:
    """Where in a measure's span a joint may turn: its ends, and what is nearest to the other's figure."""
    if measured.low is None or measured.high is None or measured.low == measured.high:
        yield measured
        return
    ends = [measured.low, measured.high]
    nearest = [min(max(of, measured.low), measured.high) for of in (value.low, value.high) if of is not None]
    for point in dict.fromkeys([*ends, *nearest]):
        yield Measure(measured.written, point, point)


def asked_at(scope: Scope, position: str) -> list[JointAsks]:
    """What the joints at a position ask of its part beside what is fitted today, by name."""
    joints = scope.index.joints_at.get(position, ())
    found = [one for joint in joints if scope.holds(joint) for one in _sides(scope, joint, position)]
    return sorted(found, key=lambda one: (one.joint.name, one.kind))


def _sides(scope: Scope, joint: Joint, position: str) -> Iterator[JointAsks]:
    if joint.position == position and (other := scope.today.get(joint.other_position)):
        value = scope.measure(other, joint.other_kind)
        yield JointAsks(joint, joint.kind, joint.comparator, joint.other_position, other, value, joint.margin)
    if joint.other_position == position and (other := scope.today.get(joint.position)):
        value, turned = scope.measure(other, joint.kind), _TURNED.get(joint.comparator)
        yield JointAsks(joint, joint.other_kind, turned, joint.position, other, value, joint.margin)


@dataclass(frozen=True, slots=True)
class ServingPlace:
    """A position where the part may serve: joints that its measures meet, and those not yet to be judged."""

    position: str
    met: tuple[JointAsks, ...]
    open: tuple[JointAsks, ...]


def places(scope: Scope, measured: Measures) -> list[ServingPlace]:
    """Where a part with these measures may serve: some joint is met and none fails; the surest first."""
    found = []
    for position in sorted(scope.book.positions):
        verdicts = [(one, one.met_by(measured.get(one.kind))) for one in asked_at(scope, position)]
        met = tuple(one for one, verdict in verdicts if verdict)
        if met and not any(verdict is False for _, verdict in verdicts):
            left = tuple(one for one, verdict in verdicts if verdict is None)
            found.append(ServingPlace(position, met, left))
    return sorted(
        found, key=lambda place: (-len({one.kind for one in place.met}), len(place.open), place.position)
    )


@dataclass(frozen=True, slots=True)
class Next:
    """A kind of characteristic that tells candidates apart: value as written → their numbers.

    `left`: how many of them stay on average once it is measured; those without a figure always stay.
    """

    kind: str
    groups: tuple[tuple[str, tuple[str, ...]], ...]
    without: tuple[str, ...]
    left: float


def next_to_measure(candidates: Mapping[str, Measures], measured: Iterable[str]) -> list[Next]:
    """What to measure next, the most telling first; nothing where no figure tells two candidates apart."""
    known = set(measured)
    kinds = sorted({kind for one in candidates.values() for kind in one} - known)
    found = [one for kind in kinds if (one := _telling(kind, candidates)) is not None]
    return sorted(found, key=lambda one: (one.left, one.kind))


def _telling(kind: str, candidates: Mapping[str, Measures]) -> Next | None:
    groups: dict[tuple[float | None, float | None, str | None], list[str]] = {}
    written: dict[tuple[float | None, float | None, str | None], str] = {}
    without: list[str] = []
    for number, measures in candidates.items():
        value = measures.get(kind)
        if value is None:
            without.append(number)
            continue
        key = value.low, value.high, value.text
        groups.setdefault(key, []).append(number)
        written.setdefault(key, value.written)
    if len(groups) < 2:
        return None
    count = len(candidates)
    left = sum(len(some) * (len(some) + len(without)) for some in groups.values()) + len(without) * count
    by_value = tuple((written[key], tuple(some)) for key, some in groups.items())
    return Next(kind, by_value, tuple(without), left / count)
