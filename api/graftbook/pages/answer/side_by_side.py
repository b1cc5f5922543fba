"""Two answers side by side: what differs, line by line, in the sums, in the checks and in the flaws."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Literal, NotRequired, TypedDict

from graftbook.pages.words import SEVERITIES, both_sides, price_of_all, without_side
from graftbook.questions.checks.documents import WORST_FIRST
from graftbook.questions.closures.check_schemas import ChecksOut, FindingOut, VerdictWord
from graftbook.questions.closures.schemas import (
    ChangeOut,
    ClosureOut,
    FlawNoteOut,
    LooseOut,
    MoneyOut,
    RemarksOut,
    SetOut,
    StayingOut,
)

State = Literal["other part", "only here", "only there", "other figures", "same"]
STATES: tuple[State, ...] = ("other part", "only here", "only there", "other figures", "same")
FLAW_STATES = ("brought along", "left", "gone")
"""The worst first: a flaw that two places have is told by the worse of them."""
NOT_THERE = "not there"
_COUNTED: tuple[Literal["changes", "visible", "irreversible", "flaws", "unconfirmed"], ...] = (
    "changes",
    "visible",
    "irreversible",
    "flaws",
    "unconfirmed",
)
_QUIET: tuple[VerdictWord, ...] = ("holds", "not determined")


class ComparedPart(TypedDict):
    """What one answer has at a place. `how`: it is new there, stays as it is, comes off, or nothing sits
    there. Quantity, price and minutes are those of all places of the line; what stays costs nothing."""

    how: Literal["new", "stays", "comes off", "nothing"]
    numbers: list[str]
    name: str
    quantity: int
    price: MoneyOut
    minutes: int


class ComparedLine(TypedDict):
    """A place, or a loose part, in both answers. `price` and `minutes`: what the other has more; a price of
    None cannot be told."""

    state: State
    place: str
    here: ComparedPart
    there: ComparedPart
    price: MoneyOut
    minutes: int


class Total(TypedDict):
    """A sum in both answers, and what the other has more; None: it cannot be told."""

    name: str
    kind: Literal["money", "minutes", "count"]
    here: str | int
    there: str | int
    more: str | int | None
    unknown: NotRequired[list[str]]


class Check(TypedDict):
    """A check that does not end alike; None: that answer has nothing to check there."""

    subject: str
    here: FindingOut | None
    there: FindingOut | None


class ComparedFlaw(TypedDict):
    """A flaw that one answer leaves otherwise than the other."""

    severity: str
    symptom: str
    component: str
    here: str
    there: str


class Compared(TypedDict):
    """All that differs between two sets."""

    lines: dict[State, list[ComparedLine]]
    totals: list[Total]
    checks: list[Check]
    quiet_checks: int
    flaws: list[ComparedFlaw]
    flaws_of_one: list[ComparedFlaw]


def compared(here: ClosureOut, there: ClosureOut) -> Compared | None:
    """What differs between two answers; None where one of them has no set."""
    one, other = here["set"], there["set"]
    if one is None or other is None:
        return None
    checks, quiet = checks_of(here["checks"], there["checks"])
    flaws = flaws_of(one, other)
    of_both = [flaw for flaw in flaws if NOT_THERE not in (flaw["here"], flaw["there"])]
    return {
        "lines": by_state([*changes_of(one, other, list(here["section_titles"])), *loose_of(one, other)]),
        "totals": totals_of(one, other),
        "checks": checks,
        "quiet_checks": quiet,
        "flaws": of_both,
        "flaws_of_one": [flaw for flaw in flaws if flaw not in of_both],
    }


def by_state(lines: Iterable[ComparedLine]) -> dict[State, list[ComparedLine]]:
    """The lines of each state that there are any of, what differs most first."""
    found: dict[State, list[ComparedLine]] = defaultdict(list)
    for line in lines:
        found[line["state"]].append(line)
    return {state: found[state] for state in STATES if found[state]}


def changes_of(one: SetOut, other: SetOut, sections: Sequence[str]) -> list[ComparedLine]:
    """The places that either answer changes, by section; a pair that is alike in both is one line."""
    here, there = ({c["position"]: c for c in each["changes"]} for each in (one, other))
    stay_here, stay_there = ({s["position"]: s for s in each["stays"]} for each in (one, other))
    order = {section: place for place, section in enumerate(sections)}
    together: dict[tuple[object, ...], list[tuple[ChangeOut, ComparedLine]]] = defaultdict(list)
    known = {**there, **here}
    for position in sorted(known, key=lambda p: (order.get(known[p]["section"], len(order)), p)):
        change = known[position]
        line = _line(
            change["position_title"],
            _part(here.get(position), stay_here.get(position)),
            _part(there.get(position), stay_there.get(position)),
        )
        together[_alike(change, line)].append((change, line))
    return [_pair_line([line for _, line in some]) for some in together.values()]


def _part(change: ChangeOut | None, stays: StayingOut | None) -> ComparedPart:
    if change is None:
        if stays is None:
            return _nothing()
        return {**_nothing(), "how": "stays", "numbers": [stays["component"]], "name": stays["name"] or ""}
    gone = change["component"] is None
    number = change["replaces"] if gone else change["component"]
    return {
        "how": "comes off" if gone else "new",
        "numbers": [number] if number else [],
        "name": (change["replaces_name"] if gone else change["name"]) or "",
        "quantity": change["quantity"],
        "price": "0.00" if gone else change["price"],
        "minutes": change["minutes"],
    }


def _nothing() -> ComparedPart:
    return {"how": "nothing", "numbers": [], "name": "", "quantity": 0, "price": "0.00", "minutes": 0}


def _line(place: str, here: ComparedPart, there: ComparedPart) -> ComparedLine:
    return {
        "state": _state(here, there),
        "place": place,
        "here": here,
        "there": there,
        "price": _more(here["price"], there["price"]),
        "minutes": there["minutes"] - here["minutes"],
    }


def _state(here: ComparedPart, there: ComparedPart) -> State:
    changed = [part["how"] in ("new", "comes off") for part in (here, there)]
    if not all(changed):
        return "only here" if changed[0] else "only there"
    if (here["how"], here["numbers"]) != (there["how"], there["numbers"]):
        return "other part"
    return "same" if here == there else "other figures"


def _more(here: MoneyOut, there: MoneyOut) -> MoneyOut:
    """What the second costs more; None where a price is not known."""
    return None if here is None or there is None else str(Decimal(there) - Decimal(here))


def _alike(change: ChangeOut, line: ComparedLine) -> tuple[object, ...]:
    if not change["pair"]:
        return (change["position"],)
    parts = [
        (part["how"], without_side(part["name"]), part["quantity"], part["price"], part["minutes"])
        for part in (line["here"], line["there"])
    ]
    return (change["pair"], without_side(line["place"]), line["state"], *parts)


def _pair_line(lines: Sequence[ComparedLine]) -> ComparedLine:
    """The lines of a pair as one for both sides."""
    if len(lines) == 1:
        return lines[0]
    here, there = (_sum([line["here"] for line in lines]), _sum([line["there"] for line in lines]))
    return {**_line(both_sides([line["place"] for line in lines]), here, there), "state": lines[0]["state"]}


def _sum(parts: Sequence[ComparedPart]) -> ComparedPart:
    names = list(dict.fromkeys(part["name"] for part in parts))
    return {
        "how": parts[0]["how"],
        "numbers": list(dict.fromkeys(number for part in parts for number in part["numbers"])),
        "name": both_sides(names) if len(names) > 1 else names[0],
        "quantity": sum(part["quantity"] for part in parts),
        "price": price_of_all(part["price"] for part in parts),
        "minutes": sum(part["minutes"] for part in parts),
    }


def loose_of(one: SetOut, other: SetOut) -> list[ComparedLine]:
    """Fluids, gaskets, fasteners of either answer. Another quantity of the same is another figure."""
    here, there = ({p["component"]: p for p in each["loose_parts"]} for each in (one, other))
    return [_line("", _loose(here.get(name)), _loose(there.get(name))) for name in {**here, **there}]


def _loose(part: LooseOut | None) -> ComparedPart:
    if part is None:
        return _nothing()
    return {
        "how": "new",
        "numbers": [part["component"]],
        "name": part["name"] or "",
        "quantity": part["quantity"],
        "price": part["price"],
        "minutes": part["minutes"],
    }


def totals_of(one: SetOut, other: SetOut) -> list[Total]:
    """The sums side by side. Parts cannot be compared where a price that is not known is in one alone."""
    here, there = one["totals"], other["totals"]
    return [
        _money(one, other),
        {
            "name": "labour",
            "kind": "minutes",
            "here": here["labour_minutes"],
            "there": there["labour_minutes"],
            "more": there["labour_minutes"] - here["labour_minutes"],
        },
        *(_count(key, here[key], there[key]) for key in _COUNTED),
        _count("machined", len(here["machined"]), len(there["machined"])),
    ]


def _count(name: str, here: int, there: int) -> Total:
    return {"name": name, "kind": "count", "here": here, "there": there, "more": there - here}


def _money(one: SetOut, other: SetOut) -> Total:
    here, there = one["totals"]["price"], other["totals"]["price"]
    here_only, there_only = _pieces_unpriced(one), _pieces_unpriced(other)
    unknown = sorted((here_only - there_only) + (there_only - here_only))
    more = None if unknown else _more(here, there)
    return {"name": "price", "kind": "money", "here": here, "there": there, "more": more, "unknown": unknown}


def _pieces_unpriced(found: SetOut) -> Counter[str]:
    """The pieces whose price is not known, by number."""
    pieces: Counter[str] = Counter()
    for part in (*found["changes"], *found["loose_parts"]):
        if part["price"] is None and part["component"]:
            pieces[part["component"]] += part["quantity"]
    return pieces


def checks_of(here: ChecksOut | None, there: ChecksOut | None) -> tuple[list[Check], int]:
    """The checks whose verdicts differ, the worst first; and how many only one of the answers has, with
    nothing to mind in it."""
    one, other = (_by_check(each) for each in (here, there))
    differ: list[Check] = [
        {"subject": key[0], "here": one.get(key), "there": other.get(key)}
        for key in {**one, **other}
        if _verdict(one.get(key)) != _verdict(other.get(key))
    ]
    changed = [each for each in differ if not _is_quiet(each)]
    return sorted(changed, key=_worst), len(differ) - len(changed)


def _by_check(checks: ChecksOut | None) -> Mapping[tuple[str, str, int], FindingOut]:
    """The findings of a set; of several under one name, the first with the first of the other set."""
    found: dict[tuple[str, str, int], FindingOut] = {}
    times: Counter[tuple[str, str]] = Counter()
    for finding in checks["findings"] if checks else ():
        key = (finding["subject"], finding["check"])
        found[*key, times[key]] = finding
        times[key] += 1
    return found


def _verdict(finding: FindingOut | None) -> VerdictWord | None:
    return finding["verdict"] if finding else None


def _is_quiet(check: Check) -> bool:
    """Whether one answer alone has the check, and nothing is wrong with it."""
    only = check["here"] or check["there"]
    return None in (check["here"], check["there"]) and _verdict(only) in _QUIET


def _worst(check: Check) -> int:
    verdicts = (_verdict(check["here"]), _verdict(check["there"]))
    return min(WORST_FIRST.index(verdict) for verdict in verdicts if verdict)


def flaws_of(one: RemarksOut, other: RemarksOut) -> list[ComparedFlaw]:
    """The flaws that one answer leaves otherwise than the other, the gravest first."""
    here, there = _by_flaw(one), _by_flaw(other)
    found: list[ComparedFlaw] = []
    for name in {**here, **there}:
        (was, note), (becomes, _) = (here.get(name) or there[name], there.get(name) or here[name])
        one_state, other_state = (was if name in here else NOT_THERE, becomes if name in there else NOT_THERE)
        if one_state != other_state:
            found.append(
                {
                    "severity": note["severity"],
                    "symptom": note["symptom"],
                    "component": note["component"],
                    "here": one_state,
                    "there": other_state,
                }
            )
    return sorted(found, key=lambda flaw: SEVERITIES.index(flaw["severity"]))


def _by_flaw(found: RemarksOut) -> dict[str, tuple[str, FlawNoteOut]]:
    notes = (found["flaws_brought"], found["flaws_left"], found["flaws_gone"])
    states: dict[str, tuple[str, FlawNoteOut]] = {}
    for state, some in zip(FLAW_STATES, notes, strict=True):
        for note in some:
            states.setdefault(note["flaw"], (state, note))
    return states
