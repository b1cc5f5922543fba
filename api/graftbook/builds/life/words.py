"""What the sheet and the page say of a build beside its facts."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

from graftbook.builds.life.schemas import BuildChangedOut, BuildSheetOut, StillOpenOut
from graftbook.questions.closures.check_schemas import ChecksOut, FindingOut

NOT_RECORDED = "not recorded"
MOST_NAMED = 4
GRAVE = ("dangerous", "severe")


class FigureRow(NamedTuple):
    """A figure of the arithmetic as it is printed."""

    name: str
    before: str
    after: str
    unit: str


def how_it_was(change: BuildChangedOut) -> list[str]:
    """Why a position is not as built, and what that remedied: only what is recorded."""
    because = change["reason"]
    if not because and change["event"] is None:
        because = "It was so when the vehicle was taken in; nobody recorded why."
    flaws = [f"Gone with it: {flaw['symptom']}" for flaw in change["flaws_gone"]]
    return [because, *flaws]


def how_it_stands(change: BuildChangedOut) -> str:
    """By which order it came, what says that it fits, whether the original can go back, where that is."""
    by = f"Order list {change['order_list']}." if change["order_list"] else ""
    return " ".join(filter(None, (by, _evidence(change), _put_back(change))))


def _evidence(change: BuildChangedOut) -> str:
    if change["component"] is None:
        return ""
    if change["claim"] is None:
        return "No record of the catalogue says that it fits there."
    grade = change["evidence"]
    return "Nobody has said yet that it fits." if grade == "no evidence" else f"That it fits there: {grade}."


def _put_back(change: BuildChangedOut) -> str:
    """Whether the original can go back, and where it is; what came off is in a table of its own too."""
    if change["original"] is None:
        return "It can be taken off again." if change["can_be_put_back"] else ""
    kept = f"The original {change['original']} is kept: {change['kept']}." if change["kept"] else ""
    if not kept and change["event"] is None:
        kept = f"Where the original {change['original']} is, is {NOT_RECORDED}."
    if change["can_be_put_back"] is None:
        return f"Whether it can be put back is {NOT_RECORDED}. {kept}".rstrip()
    return f"{'Can' if change['can_be_put_back'] else 'CANNOT'} be put back. {kept}".rstrip()


def grave_flaws(facts: BuildSheetOut) -> list[str]:
    """What the changes brought, then what is dangerous or severe and left: each flaw once."""
    brought = {flaw["flaw"]: f"New with it: {flaw['sentence']}" for flaw in facts["flaws_brought"]}
    left = [flaw for flaw in facts["flaws_left"] if flaw["severity"] in GRAVE]
    return list((brought | {flaw["flaw"]: flaw["sentence"] for flaw in reversed(left)}).values())


def unconfirmed(facts: BuildSheetOut) -> list[str]:
    """The claims that nobody has confirmed, by what they rest on."""
    resting: dict[str, dict[str, None]] = {}
    for claim in facts["unconfirmed"]:
        resting.setdefault(claim["evidence"], {})[claim["claim"]] = None
    return [f"Nobody has confirmed ({grade}): {', '.join(claims)}." for grade, claims in resting.items()]


def unfinished(facts: BuildSheetOut) -> list[str]:
    """What is still open, in sentences; nothing when the decided set is on the vehicle."""
    found, drive = facts["still_open"], facts["drive"]
    sentences = [drive["sentence"], *drive["reasons"]] if drive["broken"] or drive["not_recorded"] else []
    return sentences + _open(found)


def _open(found: StillOpenOut) -> list[str]:
    if found["sentences"]:
        return found["sentences"]
    changes = found["changes"]
    names = [f"{c['component'] or 'nothing'} at {c['position_title']}" if c["position_title"] else
             f"{c['quantity']} × {c['component']}" for c in changes]  # fmt: skip
    if not names:
        return []
    more = f"; and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return [f"Still open of what was decided: {'; '.join(names[:MOST_NAMED])}{more}."]


def figures_that_changed(checks: ChecksOut) -> Iterator[tuple[FindingOut, list[FigureRow]]]:
    """Each finding that is not what it was as built, with its figures before and after."""
    for finding in checks["findings"]:
        rows = [
            FigureRow(f["name"], _figure(f["before"]), _figure(f["after"]), f["unit"])
            for f in finding["figures"]
            if f["before"] != f["after"]
        ]
        if finding["changed"] and rows:
            yield finding, rows


def _figure(value: float | None) -> str:
    if value is None:
        return "–"
    return f"{value:,.0f}" if value == 0 or abs(value) >= 1000 else f"{value:.3g}"


def sections_kept(facts: BuildSheetOut) -> list[tuple[str, Sequence[str]]]:
    """Section → the places in it that are as the factory left them."""
    titles = facts["section_titles"]
    return [
        (titles.get(section, section), [place["position_title"] for place in places])
        for section, places in groupby(facts["kept_original"], itemgetter("section"))
    ]
