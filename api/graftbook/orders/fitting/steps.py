"""The words of a fitting step, and what stands in it. Pure."""

from collections.abc import Mapping
from typing import Literal

from graftbook.orders.fitting.sequence import Job, LooseUse, Sequence, Step, Work
from graftbook.orders.schemas import LooseUseOut, TimeWord

VERBS = {
    "": ("Take off", "Fit"),
    "off": ("Take off", "Put back"),
    "carried over": ("Take off", "Put on again"),
    "depressurised": ("Let the pressure off", "Bring up to pressure"),
    "disconnected": ("Disconnect", "Connect again"),
    "on stands": ("Put on stands", "Let down from the stands"),
    "drained": ("Drain", "Fill"),
    "bled": ("Open", "Fill and bleed"),
    "again": ("Tighten again", "Tighten again"),
}
"""What is done before the work, and after it."""


_GOES_ON: Mapping[str, Literal["before", "after"]] = {"before": "before", "after": "after"}


def verb_of(job: Job, work: Work) -> str:
    return VERBS[job.state][work is Work.fitting]


def what_is_done(job: Job, work: Work) -> list[str]:
    """How it is done, and why it makes room: the reasons stand where it is first done."""
    done = job.opening if work is Work.removing else job.closing
    first = work is Work.removing or job.removing is None
    return [*([done] if done else []), *(job.reasons if first else ())]


def time_of(job: Job, work: Work) -> TimeWord:
    """Whether the minutes of a step are recorded, or stand with those of its fitting."""
    if work in job.untimed:
        return "not recorded"
    return "with its fitting" if work is Work.removing and job.fitting is not None else "recorded"


def loose_use(use: LooseUse) -> LooseUseOut:
    when = {"before": "First: ", "after": "Last: "}.get(use.goes_on, "")
    amount = f", {use.amount}" if use.amount else ""
    serves = f"; serves {', '.join(use.also_serves)} too" if use.also_serves else ""
    return {
        "component": use.component,
        "name": use.name,
        "quantity": use.quantity,
        "amount": use.amount,
        "goes_on": _GOES_ON.get(use.goes_on),
        "sentence": f"{when}{use.quantity} \u00d7 {use.name} ({use.component}){amount}{serves}",
    }


def without_detours(found: Sequence) -> dict[Step, frozenset[Step]]:
    """What each step waits for, without what another of them waits for already."""
    earlier: dict[Step, set[Step]] = {}
    short: dict[Step, frozenset[Step]] = {}
    for step in found.steps:
        direct = found.waits[step]
        behind = {far for near in direct for far in earlier[near]}
        earlier[step] = behind | direct
        short[step] = frozenset(direct - behind)
    return short
