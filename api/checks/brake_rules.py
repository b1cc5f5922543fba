"""What the law asks of brakes, by vehicle category and market."""

from dataclasses import dataclass

from api.checks.law import Law
from api.checks.verdict import Limit, Provenance

SEEN, MEMORY = Provenance.seen, Provenance.memory


@dataclass(frozen=True, slots=True)
class BrakeRule:
    """Decelerations in m/s2 and foot or hand forces in N, each with its limit as cited."""

    service_m_s2: float
    service: Limit
    least_m_s2: float
    least: Limit
    foot_n: float
    foot: Limit
    slope: float
    hand_n: float
    hand: Limit


def _rate(value: float, source: str, clause: str, provenance: Provenance) -> Limit:
    return Limit(f"at least {value:.2f} m/s2", source, provenance, clause, value, "m/s2")


def _force(value: float, source: str, clause: str, provenance: Provenance) -> Limit:
    return Limit(f"at most {value:.0f} N", source, provenance, clause, value, "N")


def _slope(value: float, force: float, source: str, clause: str) -> Limit:
    text = f"at most {force:.0f} N at the lever"
    return Limit(text, source, MEMORY, clause, force, "N")


_CARS_UN = BrakeRule(
    6.43,
    _rate(6.43, "UN R13-H", "Annex 3, 2.1.1", MEMORY),
    2.44,
    _rate(2.44, "UN R13-H", "Annex 3, 2.2; 168 m from 100 km/h as quoted of 49 CFR 571.135 S7.11", SEEN),
    500,
    _force(500, "UN R13", "Annex 4, M1, as quoted", SEEN),
    0.20,
    400,
    _slope(0.20, 400, "UN R13-H", "Annex 3, 2.3"),
)
_GOODS_UN = BrakeRule(
    5.0,
    _rate(5.0, "UN R13", "Annex 4, 2.1 for N1", MEMORY),
    2.2,
    _rate(2.2, "UN R13", "Annex 4, 2.2 for N, as quoted", SEEN),
    700,
    _force(700, "UN R13", "Annex 4, N, as quoted", SEEN),
    0.18,
    600,
    _slope(0.18, 600, "UN R13", "Annex 4, 2.3"),
)
_ALL_US = BrakeRule(
    6.43,
    _rate(6.43, "49 CFR 571.135", "S7.5, 70 m from 100 km/h", MEMORY),
    2.44,
    _rate(2.44, "49 CFR 571.135", "S7.11, 168 m from 100 km/h, as quoted", SEEN),
    500,
    _force(500, "49 CFR 571.135", "as quoted", SEEN),
    0.20,
    400,
    _slope(0.20, 400, "49 CFR 571.135", "S7.12"),
)

CATEGORIES = ("M1", "N1")


def brake_rule(law: Law, category: str) -> BrakeRule:
    """The rule for a category ("M1" passenger car, "N1" light goods vehicle)."""
    if law is Law.us:
        return _ALL_US
    return _GOODS_UN if category == "N1" else _CARS_UN
