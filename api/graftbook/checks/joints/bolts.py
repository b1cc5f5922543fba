"""Bolts: what a tightening torque stretches them to, by their property class."""

from collections.abc import Iterable

from graftbook.checks.findings import Bound, against, undetermined
from graftbook.checks.fitted import Fitted, Reading, on_both
from graftbook.checks.joints.threads import thread
from graftbook.checks.verdict import Finding, Limit, Provenance, Verdict, figure, opening

PROOF_MPA = {
    "4.6": 225, "4.8": 310, "5.6": 280, "5.8": 380, "6.8": 440, "8.8": 580, "9.8": 650, "10.9": 830,
    "12.9": 970,
}  # fmt: skip
"""ISO 898-1 proof stress by property class, as copied; 8.8 up to 16 mm, above it 600 MPa."""
THICK_M, THICK_88_MPA = 0.016, 600

USUAL_FACTOR, OILED_FACTOR = 0.20, 0.15
"""K of T = K d F, common practice: dry threads as they come, and oiled ones."""

WANTED_PART = 0.7
LEAST_PART, MOST_PART = 0.3, 0.9

PROOF = Limit(
    "at most the proof stress",
    "ISO 898-1",
    Provenance.seen,
    "table of EN ISO 898-1:2013, as copied at nfgab.se",
    100,
    "%",
)
CLAMP = Limit(
    "between 30 and 90 % of the proof stress", "workshop practice", Provenance.common_practice, "T = K d F"
)
STUDS = ("hub.front.left", "hub.front.right", "hub.rear.left", "hub.rear.right")
NUTS = "wheel.nuts"


def proof_stress_pa(property_class: str, diameter_m: float) -> float:
    """Proof stress of a class; raises ValueError for one that is not in the table."""
    if property_class not in PROOF_MPA:
        raise ValueError(f"property class '{property_class}' is not known")
    thick = property_class == "8.8" and diameter_m > THICK_M
    return (THICK_88_MPA if thick else PROOF_MPA[property_class]) * 1e6


def clamp_n(torque_nm: float, diameter_m: float, factor: float = USUAL_FACTOR) -> float:
    """F = T / (K d)."""
    return torque_nm / (factor * diameter_m)


def torque_nm(clamp: float, diameter_m: float, factor: float = USUAL_FACTOR) -> float:
    """T = K d F."""
    return factor * diameter_m * clamp


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Each position whose part records a property class with a thread; wheel studs by their nuts' torque."""
    return [clamp(before, after, position) for position in _bolted(after)]


def _bolted(fitted: Fitted) -> Iterable[str]:
    for position, component, _ in fitted.recorded("property_class"):
        if {"thread", "stud_thread"} & set(component.characteristics):
            yield position


def clamp(before: Fitted, after: Fitted, position: str) -> Finding:
    """The stress that the tightening leaves in a bolt or stud, as a part of its proof stress."""
    title = after.title(position)
    check, whose = f"unions.clamp.{position}", f"wheel studs of the {title}" if position in STUDS else title
    sides = on_both(before, after, lambda r: _stretch(r, position))
    if sides.after is None:
        return undetermined(check, f"clamp of the {whose}", sides, CLAMP)
    after_read = Reading(after)
    name, grade = _thread_name(after_read, position), after_read.word(position, "property_class")
    part, torque, clamped, wanted, factor = sides.after
    was = sides.before or (None, None, None, None, None)
    limit, bound, otherwise = _limit(part)
    usual = ", usual for dry threads" if after_read.maybe(_places(position), "nut_factor") is None else ""
    oiled = f"; oiled ({OILED_FACTOR:.2f}) {part * factor / OILED_FACTOR:.0%}" if usual else ""
    return against(
        check,
        f"stress in the {whose}, as a part of the proof stress",
        on_both(before, after, lambda r: _stretch(r, position)[0]),
        limit,
        "%",
        bound,
        digits=0,
        otherwise=otherwise,
        mend=f"Tighten to {wanted:.0f} Nm{' with dry threads' if usual else ''}, which is 70 % of the proof "
        "stress; oiled threads need less, or they stretch beyond it.",
        more=(
            figure("tightening torque", was[1], torque, "Nm"),
            figure("clamp", was[2], clamped, "kN"),
            figure("torque for 70 % of the proof stress", was[3], wanted, "Nm"),
        ),
        say=lambda _before, _after: (
            f"{opening(whose)}, {name} of class {grade}: {torque:.0f} Nm clamps with "
            f"{clamped / 1000:.0f} kN, {part:.0%} of the proof stress, at K {factor:.2f}{usual}{oiled}"
        ),
    )


def _limit(part: float) -> tuple[Limit, Bound, Verdict]:
    if part <= 1:
        return CLAMP, Bound(LEAST_PART, MOST_PART), Verdict.caution
    return PROOF, Bound(high=1.0), Verdict.fails


def _stretch(reading: Reading, position: str) -> tuple[float, float, float, float, float]:
    """Part of the proof stress, torque, clamp, torque for the wanted part, and K."""
    grade, torque = reading.word(position, "property_class"), _torque(reading, position)
    name = _thread_name(reading, position)
    if not grade or not name:
        return (float("nan"),) * 5
    screw = thread(name)
    factor = reading.maybe(_places(position), "nut_factor") or USUAL_FACTOR
    proof = proof_stress_pa(grade, screw.diameter_m) * screw.stress_area_m2
    force = clamp_n(torque, screw.diameter_m, factor)
    return force / proof, torque, force, torque_nm(WANTED_PART * proof, screw.diameter_m, factor), factor


def _places(position: str) -> tuple[str, ...]:
    return (position, NUTS) if position in STUDS else (position,)


def _thread_name(reading: Reading, position: str) -> str:
    return reading.maybe_word(position, "thread") or reading.word(position, "stud_thread")


def _torque(reading: Reading, position: str) -> float:
    """What is recorded of the part, else of wheel nuts the workshop's own value; of a span the greatest."""
    recorded = reading.maybe(_places(position), "tightening_torque")
    if recorded is None and position in STUDS:
        recorded = _workshop_torque(reading.fitted)
    return reading.value(_places(position), "tightening_torque") if recorded is None else recorded


def _workshop_torque(fitted: Fitted) -> float | None:
    nuts = fitted.number(NUTS)
    found = [
        record.torque.high
        for record in fitted.book.tightenings
        if record.position == NUTS
        and record.component in ("", nuts)
        and (fitted.vehicle is None or record.when.holds(fitted.vehicle))
    ]
    return found[0] if len(set(found)) == 1 else None
