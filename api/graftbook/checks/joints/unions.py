"""Unions: threads and flares that look alike and must not be mixed, of pipes, hoses and wheel studs."""

from typing import Any

from graftbook.checks.findings import undetermined
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both
from graftbook.checks.joints.bolts import STUDS
from graftbook.checks.joints.threads import mixing, thread
from graftbook.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, opening

PIPE_UNIONS = (
    ("brake.master", "pipe", "brake.pipes.front", "pipe"),
    ("brake.master", "pipe", "brake.pipes.rear", "pipe"),
    ("brake.pipes.front", "end", "brake.hose.front.left", "pipe"),
    ("brake.pipes.front", "end", "brake.hose.front.right", "pipe"),
    ("brake.hose.front.left", "hose", "brake.front.left", "hose"),
    ("brake.hose.front.right", "hose", "brake.front.right", "hose"),
    ("brake.pipes.rear", "end", "brake.hose.rear", "pipe"),
    ("brake.pipes.rear", "end", "brake.rear.left", "pipe"),
    ("brake.pipes.rear", "end", "brake.rear.right", "pipe"),
    ("fuel.tank", "pipe", "fuel.feed", "pipe"),
    ("fuel.feed", "end", "fuel.pump", "pipe"),
)
"""Position and end against position and end; an end is the first word of `pipe_thread` and `pipe_flare`."""

SAME = Limit(
    "the same thread and the same flare",
    "ISO 68-1, ASME B1.1 and BS 84 dimensions",
    Provenance.seen,
    "sizes as held in an open CAD program's tables",
)
SEAT = Limit("the seat of the nut is the seat of the wheel", "component data", Provenance.recorded)


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every union whose two sides are fitted and of which at least one side is recorded."""
    findings = [
        union(before, after, *ends)
        for ends in PIPE_UNIONS
        if _speaks(after, ends[0], ends[1], ends[2], ends[3])
    ]
    findings += [stud(before, after, hub) for hub in STUDS if _has(after, hub, "stud_thread")]
    if after.has("wheel.nuts") and _has(after, "wheel.road", "nut_seat"):
        findings.append(seat(before, after))
    return findings


def _has(fitted: Fitted, position: str, kind: str) -> bool:
    component = fitted.component(position)
    return component is not None and kind in component.characteristics


def _speaks(fitted: Fitted, one: str, end: str, other: str, other_end: str) -> bool:
    both_there = fitted.has(one) and fitted.has(other)
    return both_there and (_has(fitted, one, f"{end}_thread") or _has(fitted, other, f"{other_end}_thread"))


def threads_meet(one: str, other: str) -> tuple[Verdict, str]:
    """The verdict on two thread names, and what happens in words."""
    if one == other:
        return Verdict.holds, f"both {one}"
    try:
        met = mixing(thread(one), thread(other))
    except ValueError:
        return Verdict.fails, f"{one} against {other}"
    if met.same:
        return Verdict.holds, f"{one} is {other}"
    return Verdict.fails, f"{one} against {other}: {met.words}"


def union(before: Fitted, after: Fitted, one: str, end: str, other: str, other_end: str) -> Finding:
    """Thread and flare of one union; the two are independent of each other."""

    def meets(reading: Reading) -> tuple[Verdict, str]:
        first, second = reading.word(one, f"{end}_thread"), reading.word(other, f"{other_end}_thread")
        if reading.missing:
            return Verdict.not_determined, ""
        verdict, words = threads_meet(first, second)
        flares = reading.maybe_word(one, f"{end}_flare"), reading.maybe_word(other, f"{other_end}_flare")
        if all(flares) and flares[0] != flares[1]:
            return Verdict.fails, f"{words}; flare {flares[0]} against {flares[1]}, which leaks"
        return verdict, words

    sides = on_both(before, after, meets)
    check = f"unions.{one}.{end}+{other}.{other_end}"
    titles = " and ".join(f"the {after.title(p)}" for p in (one, other))
    if sides.after is None:
        return undetermined(check, f"whether {titles} screw together", sides, SAME)
    verdict, words = sides.after
    mend = "Change one side so that thread and flare are the same, or fit a made-up pipe between."
    return _finding(check, f"Union of {titles}: {words}.", verdict, sides, SAME, mend)


def stud(before: Fitted, after: Fitted, hub: str) -> Finding:
    """Wheel studs against wheel nuts."""

    def meets(reading: Reading) -> tuple[Verdict, str]:
        first, second = reading.word(hub, "stud_thread"), reading.word("wheel.nuts", "stud_thread")
        return (Verdict.not_determined, "") if reading.missing else threads_meet(first, second)

    sides = on_both(before, after, meets)
    title = after.title(hub)
    if sides.after is None:
        return undetermined(
            f"unions.studs.{hub}", f"whether the nuts fit the studs of the {title}", sides, SAME
        )
    verdict, words = sides.after
    sentence = f"Wheel nuts on the studs of the {title}: {words}."
    return _finding(f"unions.studs.{hub}", sentence, verdict, sides, SAME, "Fit nuts of the studs' thread.")


def seat(before: Fitted, after: Fitted) -> Finding:
    """Seat of the wheel against seat of the nut."""

    def meets(reading: Reading) -> tuple[Verdict, str]:
        wheel, nut = reading.word("wheel.road", "nut_seat"), reading.word("wheel.nuts", "nut_seat")
        if reading.missing:
            return Verdict.not_determined, ""
        if wheel == nut:
            return Verdict.holds, f"The wheel nuts suit the wheels: both have a {wheel} seat."
        words = f"the wheels have a {wheel} seat, the nuts a {nut} seat"
        return Verdict.fails, f"The wheel nuts do not suit the wheels: {words}."

    sides = on_both(before, after, meets)
    if sides.after is None:
        return undetermined("unions.seat", "whether the nuts seat in the wheels", sides, SEAT)
    verdict, sentence = sides.after
    return _finding("unions.seat", sentence, verdict, sides, SEAT, "Fit nuts with the wheel's seat.")


def _finding(
    check: str, sentence: str, verdict: Verdict, sides: BothSides[Any], limit: Limit, mend: str
) -> Finding:
    return Finding(
        check=check,
        subject="unions",
        verdict=verdict,
        sentence=opening(sentence),
        limit=limit,
        components=sides.used,
        mend="" if verdict is Verdict.holds else mend,
        caution=CAUTIONS["unions"],
        wrong=() if verdict is Verdict.holds else (sentence,),
    )
