"""Electrical: charging budget, cables, fuses, polarity, voltages."""

from collections.abc import Sequence

from graftbook.checks.electrical.charging import cable_current, cable_drop, idle, of_every_rule
from graftbook.checks.electrical.cranking import cranking
from graftbook.checks.electrical.voltage import system_v
from graftbook.checks.findings import against, at_most, undetermined
from graftbook.checks.fitted import Fitted, Reading, on_both, only_with
from graftbook.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, figure, shown

FUSE_LOAD = Limit("at most 80 % of the fuse", "vendors' note, as quoted", Provenance.seen, "", 80, "%")

FUSE_CABLE = Limit("at most what the cable behind it carries", "cable data", Provenance.recorded)

POLARITY = Limit("one earth polarity throughout", "physics", Provenance.derived)

VOLTAGE = Limit("the system's voltage", "component data", Provenance.recorded)


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every electrical check that applies to what is fitted."""
    return [
        *of_every_rule(before, after),
        idle(before, after),
        cranking(before, after),
        cable_drop(before, after),
        cable_current(before, after),
        fuse_against_cable(before, after),
        fuse_against_load(before, after),
        polarity(after),
        voltage(before, after),
    ]


def fuse_against_cable(before: Fitted, after: Fitted) -> Finding:
    """A fuse larger than its cable lets the cable burn first."""
    rated = on_both(before, after, lambda r: r.value("harness.main", "cable_rating"))
    return against(
        "electrical.fuse_cable",
        "fuse rating",
        on_both(
            before,
            after,
            lambda r: only_with(r.value("fuse.box", "fuse_rating"), r.value("harness.main", "cable_rating")),
        ),
        FUSE_CABLE.at(rated.after, "A"),
        "A",
        at_most(rated.after),
        digits=0,
        mend="Fit a smaller fuse, or a harness with larger conductors.",
        more=(figure("what the cable carries", rated.before, rated.after, "A"),),
    )


def fuse_against_load(before: Fitted, after: Fitted) -> Finding:
    """Continuous load behind a fuse as a part of its rating."""
    sides = on_both(
        before, after, lambda r: r.value("fuse.box", "fuse_load") / r.value("fuse.box", "fuse_rating")
    )
    over = sides.after is not None and not at_most(1).holds(sides.after)
    return against(
        "electrical.fuse_load",
        "continuous load as a part of the fuse rating",
        sides,
        FUSE_LOAD,
        "%",
        at_most(0.8),
        digits=0,
        otherwise=Verdict.fails if over else Verdict.caution,
        mend="Split the load over two fuses, or fit the next larger fuse that the cable still carries.",
    )


def _words(fitted: Fitted, kind: str) -> dict[str, list[str]]:
    """Each recorded word of `kind` to the components that record it."""
    found: dict[str, list[str]] = {}
    for _, component, measure in fitted.recorded(kind):
        numbers = found.setdefault(measure.text or measure.written, [])
        if component.number not in numbers:
            numbers.append(component.number)
    return found


def polarity(after: Fitted) -> Finding:
    """Whether everything that cares about the earth polarity agrees on it."""

    def sides_of(fitted: Fitted) -> tuple[dict[str, list[str]], list[str]]:
        found = _words(fitted, "polarity")
        found.pop("either", None)
        silent = [
            c.number
            for _, c, m in fitted.recorded("polarity_sensitive")
            if m.text == "yes" and "polarity" not in c.characteristics
        ]
        return found, silent

    def verdict(fitted: Fitted) -> Verdict:
        found, silent = sides_of(fitted)
        if len(found) > 1:
            return Verdict.fails
        return Verdict.not_determined if silent or not found else Verdict.holds

    found, silent = sides_of(after)
    numbers = [n for group in found.values() for n in group]
    return Finding(
        check="electrical.polarity",
        subject="electrical",
        verdict=verdict(after),
        sentence=_polarity_sentence(found, silent),
        limit=POLARITY,
        components=tuple(numbers + silent),
        missing=tuple(f"polarity of {n}" for n in silent),
        mend=_polarity_mend(after, found),
        beyond=_against_the_battery(after, found) if len(found) > 1 else None,
        caution=CAUTIONS["electrical"],
    )


def _polarity_sentence(found: dict[str, list[str]], silent: Sequence[str]) -> str:
    if len(found) > 1:
        groups = " ".join(
            f"{word.capitalize()} earth: {', '.join(numbers)}." for word, numbers in sorted(found.items())
        )
        return f"The earth polarity is mixed. {groups}"
    if silent:
        return f"The earth polarity of {', '.join(silent)} is not recorded, and it matters there."
    if not found:
        return "No component records its earth polarity."
    return f"Everything that cares about polarity is for {next(iter(found))} earth."


def _polarity_mend(fitted: Fitted, found: dict[str, list[str]]) -> str:
    if len(found) < 2:
        return ""
    word, numbers = _fewer(found)
    named = {c.number: f"{c.number} ({c.name})" for _, c, _ in fitted.recorded("polarity")}
    to = next(other for other in found if other != word)
    return f"Change {', '.join(named[n] for n in numbers)}, the fewer, from {word} to {to} earth."


def _against_the_battery(fitted: Fitted, found: dict[str, list[str]]) -> int:
    """How many stand against the battery, whose posts decide; against the more, where it says nothing."""
    battery = fitted.component("battery")
    earth = battery and battery.characteristics.get("polarity")
    side = earth and (earth.text or earth.written)
    if side not in found:
        return len(_fewer(found)[1])
    return sum(len(numbers) for word, numbers in found.items() if word != side)


def _fewer(found: dict[str, list[str]]) -> tuple[str, list[str]]:
    return min(found.items(), key=lambda item: (len(item[1]), item[0]))


def voltage(before: Fitted, after: Fitted) -> Finding:
    """Whether everything with a rated voltage is made for the system's."""

    def strangers(reading: Reading) -> list[str]:
        system = system_v(reading)
        wrong: dict[str, None] = {}
        for position, component, measure in reading.fitted.recorded("rated_voltage"):
            low, high = reading.span(position, "rated_voltage")
            if not low - 0.1 <= system <= high + 0.1:
                wrong[f"{component.number} ({measure.written})"] = None
        return list(wrong)

    sides = on_both(before, after, strangers)
    if sides.after is None:
        return undetermined("electrical.voltage", "whether every voltage agrees", sides, VOLTAGE)
    wrong = ", ".join(sides.after)
    return Finding(
        check="electrical.voltage",
        subject="electrical",
        verdict=Verdict.fails if wrong else Verdict.holds,
        sentence=f"Not made for the system's voltage: {wrong}."
        if wrong
        else "Every rated voltage is the system's.",
        limit=VOLTAGE,
        components=sides.used,
        mend=f"Change {wrong}{_or_the_battery(after)}." if wrong else "",
        wrong=tuple(sides.after),
        caution=CAUTIONS["electrical"],
    )


def _or_the_battery(fitted: Fitted) -> str:
    """The way back, where the battery alone makes the voltage another than the variant's."""
    reading = Reading(fitted)
    was, now = reading.maybe_fact("system_voltage"), system_v(reading)
    return "" if was in (None, now) else f", or fit a battery of {shown(was, 'V'):g} V"
