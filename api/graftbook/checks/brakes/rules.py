"""What the law asks of brakes, by vehicle category and market: in service, and for type approval."""

from dataclasses import dataclass, replace

from graftbook.checks.brakes.grip import LockOrder
from graftbook.checks.law import Law
from graftbook.checks.verdict import Limit, Provenance
from graftbook.rulebook.units import STANDARD_GRAVITY

SEEN, MEMORY, PRACTICE = Provenance.seen, Provenance.memory, Provenance.common_practice

CATEGORIES = ("M1", "N1")


@dataclass(frozen=True, slots=True)
class InService:
    """What a vehicle on the road is inspected for; rates in g, each with its limit as cited.

    `secondary` is of the hand brake where it is all that is left of a single circuit.
    """

    service_g: float
    service: Limit
    secondary_g: float
    secondary: Limit
    parking_g: float
    parking: Limit


@dataclass(frozen=True, slots=True)
class BrakeRule:
    """What type approval asks: decelerations in m/s2, forces in N, each with its limit as cited.

    `foot_least_n` is the force below which a pedal is too light, 0 where the rule has none. `hand_n` is
    the greatest force at the lever, on the slope and where the hand brake is the secondary brake.
    """

    service_m_s2: float
    service: Limit
    least_m_s2: float
    least: Limit
    foot_least_n: float
    foot_n: float
    foot: Limit
    slope: float
    hand_n: float
    hand: Limit
    by_hand: Limit
    order: LockOrder
    locks: Limit
    hand_is_secondary: bool = True


def _part(part: float, source: str, clause: str, provenance: Provenance) -> Limit:
    rate = part * STANDARD_GRAVITY
    text = f"a vehicle in service needs at least {part:.1%} of its weight, {rate:.2f} m/s2"
    return Limit(text.replace(".0%", "%"), source, provenance, clause, rate, "m/s2")


def _rate(value: float, source: str, clause: str, provenance: Provenance) -> Limit:
    text = f"type approval asks at least {value:.2f} m/s2"
    return Limit(text, source, provenance, clause, value, "m/s2")


def _foot(least: float, most: float, source: str, clause: str, provenance: Provenance) -> Limit:
    span = f"from {least:.0f} to {most:.0f} N" if least else f"at most {most:.0f} N"
    return Limit(f"type approval asks {span}", source, provenance, clause, most, "N")


def _slope(force: float, source: str, clause: str) -> Limit:
    text = f"type approval asks at most {force:.0f} N at the lever"
    return Limit(text, source, MEMORY, clause, force, "N")


def _order(last: float, source: str, clause: str, provenance: Provenance, allowed: str = "") -> Limit:
    text = f"type approval asks that the front locks before the rear from 0.15 to {last:.1f} g{allowed}"
    return Limit(text, source, provenance, clause)


_COPIED = "as copied in a public repository"
_MANUAL = "GOV.UK test manual"
_IN_SERVICE_UN = {
    category: InService(
        0.50,
        _part(0.50, _MANUAL, f"1.2.2, {of}, {_COPIED}", SEEN),
        0.25,
        _part(0.25, _MANUAL, f"1.3.2, single line, {_COPIED}", SEEN),
        0.16,
        _part(0.16, _MANUAL, f"1.4.2, {_COPIED}", SEEN),
    )
    for category, of in (("M1", "first used before September 2010"), ("N1", "goods vehicles"))
}
_IN_SERVICE_US = {
    category: InService(
        part,
        _part(part, "Pennsylvania Code, title 67", f"chapter 175, table I, {of}", SEEN),
        0.25,
        _part(0.25, "workshop practice", "as GOV.UK test manual 1.3.2 asks of a single line", PRACTICE),
        0.16,
        _part(0.16, "workshop practice", "as GOV.UK test manual 1.4.2 asks", PRACTICE),
    )
    for category, part, of in (("M1", 0.652, "up to ten seats"), ("N1", 0.528, "goods up to 10,000 lb"))
}

DIRECTIVE = "71/320/EEC as amended"
_APPENDIX = "Annex II, Appendix, 3.1.1"
_CARS_LOCK = _order(
    0.8,
    DIRECTIVE,
    _APPENDIX,
    SEEN,
    ", save that from 0.3 to 0.45 g the rear may use up to 0.05 more grip than the rate",
)
_GOODS_LOCK = _order(0.5, DIRECTIVE, _APPENDIX, SEEN)

# 6.43 m/s2, 0.1 v + 0.0060 v2 and 65 to 500 N: the copy names CELEX 42015X1222(01) and 2023/401.
_CARS_UN = BrakeRule(
    6.43,
    _rate(6.43, "UN R13-H", f"Annex 3, 2.1.1, {_COPIED}", SEEN),
    2.44,
    _rate(2.44, "UN R13-H", "Annex 3, 2.2; 168 m from 100 km/h as quoted of 49 CFR 571.135 S7.11", MEMORY),
    65,
    500,
    _foot(65, 500, "UN R13-H", f"Annex 3, 2.1.1, {_COPIED}", SEEN),
    0.20,
    400,
    _slope(400, "UN R13-H", "Annex 3, 2.3"),
    _rate(2.44, "UN R13-H", "Annex 3, 2.2; 400 N by hand as quoted of UN R13, Annex 4, 2.2.2", MEMORY),
    LockOrder(0.8, inversion=True),
    _CARS_LOCK,
)
_GOODS_UN = BrakeRule(
    5.0,
    _rate(5.0, "UN R13", "Annex 4, 2.1 for N1", MEMORY),
    2.2,
    _rate(2.2, "UN R13", "Annex 4, 2.2 for N, as quoted", SEEN),
    0,
    700,
    _foot(0, 700, "UN R13", "Annex 4, 2.1 for N1", MEMORY),
    0.18,
    600,
    _slope(600, "UN R13", "Annex 4, 2.3"),
    _rate(2.2, "UN R13", "Annex 4, 2.2.2 for N, 600 N by hand, as quoted", SEEN),
    LockOrder(0.5, band=True),
    _GOODS_LOCK,
)
_ALL_US = BrakeRule(
    6.43,
    _rate(6.43, "49 CFR 571.135", "S7.5, 70 m from 100 km/h, as quoted in NHTSA interpretation 11409", SEEN),
    2.44,
    _rate(2.44, "49 CFR 571.135", "S7.11, 168 m from 100 km/h, as quoted", SEEN),
    65,
    500,
    _foot(65, 500, "49 CFR 571.135", "S7.5, as quoted", SEEN),
    0.20,
    400,
    _slope(400, "49 CFR 571.135", "S7.12"),
    _rate(2.44, "49 CFR 571.135", "S7.10, 168 m from 100 km/h; by foot alone", MEMORY),
    LockOrder(0.8),
    _order(0.8, "49 CFR 571.135", "S7.2", MEMORY),
    hand_is_secondary=False,
)


def brake_rule(law: Law, category: str) -> BrakeRule:
    """Type approval of a category ("M1" passenger car, "N1" light goods vehicle)."""
    if law is Law.us:
        return _ALL_US
    return _GOODS_UN if category == "N1" else _CARS_UN


def danger_line(rule: BrakeRule) -> Limit:
    """What is left of two circuits with one lost, where no rule in service binds: the approval's figure."""
    text = f"what is left must give at least {rule.least_m_s2:.2f} m/s2"
    asked = f"as {rule.least.source}, {rule.least.clause}, asks of a secondary brake"
    return replace(rule.least, text=text, source="workshop practice", clause=asked, provenance=PRACTICE)


def in_service(law: Law, category: str) -> InService:
    """What a vehicle of a category is inspected for on the road."""
    rules = _IN_SERVICE_US if law is Law.us else _IN_SERVICE_UN
    return rules["N1" if category == "N1" else "M1"]
