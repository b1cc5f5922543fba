"""Current, cables and cranking once more, plainly, from the published text: no import from the service."""

# IEC 60228 class 5, plain copper, greatest mohm/m at 20 C (as copied at mycableengineering.com).
CLASS_5 = {
    0.5: 39.0,
    0.75: 26.0,
    1: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4: 4.95,
    6: 3.30,
    10: 1.91,
    16: 1.21,
    25: 0.780,
}

# ISO 6722-1, greatest mohm/m at 20 C (1.5 mm2 seen in a cable chart, the rest from memory).
ISO_6722 = {
    0.5: 37.1,
    0.75: 24.7,
    1: 18.5,
    1.5: 12.7,
    2.5: 7.60,
    4: 4.71,
    6: 3.14,
    10: 1.82,
    16: 1.16,
    25: 0.743,
}

TABLES = {"ISO 6722": ISO_6722, "IEC 60228 class 5": CLASS_5}


def load(consumers, on):
    """Amperes of all that are on: (amperes, pieces, when, share or None); brief ones by share alone."""
    total = 0
    for amperes, pieces, when, share in consumers:
        if when == "brief":
            total += amperes * pieces * (share or 0)
        elif when in on:
            total += amperes * pieces * (1 if share is None else share)
    return total


def judge_load(amperes, machine, usable):
    """Workshop practice: four fifths of what the machine gives, or what the rule says; never all of it."""
    if amperes > machine * (1 + 1e-9):
        return "fails"
    if amperes > machine * usable * (1 + 1e-9):
        return "caution"
    return "holds"


def idle_output(idle_rpm, crank_mm, machine_mm, cut_in_rpm, rated_rpm, full):
    """The belt gears the machine by the pulleys; between cut-in and rated speed a straight line."""
    speed = idle_rpm * crank_mm / machine_mm
    if speed <= cut_in_rpm:
        return 0
    if speed >= rated_rpm:
        return full
    return full * (speed - cut_in_rpm) / (rated_rpm - cut_in_rpm)


def resistance(table, area_mm2, metres):
    """Ohm of a conductor of a tabulated size; above 25 mm2 by the last row and the area."""
    if area_mm2 > 25:
        return table[25] * 25 / area_mm2 / 1000 * metres
    return table[area_mm2] / 1000 * metres


def judge_drop(volts, system, remembered):
    """Marine cable practice, as quoted at hollandmarine.com: 3 % for what matters, 10 % for anything else.

    A resistance from memory fails nothing.
    """
    part = volts / system
    if part > 0.10 + 1e-12 and not remembered:
        return "fails"
    return "caution" if part > 0.03 + 1e-12 else "holds"


def judge_fuse(rating, cable, amperes):
    """The fuse blows before its cable burns; at most 80 % of it for long (vendors' note), never above it."""
    protects = "fails" if rating > cable else "holds"
    part = amperes / rating
    carries = "fails" if part > 1 + 1e-9 else "caution" if part > 0.8 + 1e-9 else "holds"
    return protects, carries


def cranking_volts(system, starter_amperes, cold_cranking, cables):
    """Ohm's law. A cell rests at 2.1 V; EN 50342-1 (from memory) leaves it 1.25 V at the rated current."""
    cells = system / 2
    inside = (cells * 2.1 - cells * 1.25) / cold_cranking
    return cells * 2.1 - starter_amperes * (inside + sum(cables))
