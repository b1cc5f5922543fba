"""How a lift lets the vehicle stand: its height, headlamps and castor, and how soon it tips sideways."""

import math
from functools import partial

from graftbook.checks.chassis.suspension import lift_m, recorded_lift_m
from graftbook.checks.chassis.wheel_room import track_change_m
from graftbook.checks.findings import Bound, against, at_least, undetermined
from graftbook.checks.fitted import Fitted, Reading, on_both
from graftbook.checks.verdict import Figure, Finding, Limit, Provenance, Verdict, figure, opening

USUAL_LIFT_M = 0.030
AIM_PART = 0.005
CASTOR_RAD = math.radians(0.5)
TILT_PART = 0.9

_PRACTICE = Provenance.common_practice
LIFT = "either way; beyond it dampers, hoses, shafts and steering must follow"
HEIGHT = Limit(f"at most 30 mm {LIFT}", "workshop practice, the usual 30 mm", _PRACTICE, "", 30, "mm")
AIM = Limit(
    "at most 0.5 % either way, half the usual dip of 1 %", "workshop practice", _PRACTICE, "", 0.5, "%"
)
CASTOR = Limit("at most half a degree either way", "workshop practice", _PRACTICE, "", 0.5, "deg")
TILT = Limit(
    "at least what nine tenths of the original track over height give",
    "workshop practice",
    _PRACTICE,
    "static stability, track / (2 h)",
)


def pitch_rad(front_lift_m: float, rear_lift_m: float, wheelbase_m: float) -> float:
    """How far the body stands nose up: atan((front lift - rear lift) / wheelbase)."""
    return math.atan((front_lift_m - rear_lift_m) / wheelbase_m)


def static_stability(track_m: float, height_m: float) -> float:
    """Track over twice the height of the centre of gravity; its arc tangent is the slope that tips it."""
    return track_m / (2 * height_m)


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """The height of each end, and what follows of the two together."""
    heights = [height(before, after, axle) for axle in ("front", "rear")]
    return [*heights, headlamp_aim(before, after), castor(before, after), tilt(before, after)]


def height(before: Fitted, after: Fitted, axle: str) -> Finding:
    """Height of the body over the axle; a change is a reason to look at all that bends with it.

    How much needs nothing else is what is recorded for the variant (`lift_permitted`), else the usual.
    """
    what = f"{axle} ride height against the original"
    sides = on_both(before, after, lambda r: recorded_lift_m(r, axle))
    permitted = on_both(before, after, lambda r: r.maybe_fact("lift_permitted") or USUAL_LIFT_M).after
    if sides.after is None or permitted is None:
        return undetermined(f"suspension.height.{axle}", what, sides, HEIGHT)
    return against(
        f"suspension.height.{axle}",
        what,
        sides,
        _height_limit(after, permitted),
        "mm",
        Bound(-permitted, permitted),
        digits=0,
        otherwise=Verdict.caution,
        mend="Check damper, hose and shaft travel, headlamp aim and steering at the new height.",
    )


def _height_limit(fitted: Fitted, permitted_m: float) -> Limit:
    if Reading(fitted).maybe_fact("lift_permitted") is None:
        return HEIGHT
    most = permitted_m * 1000
    return Limit(f"at most {most:.0f} mm {LIFT}", "variant data", Provenance.recorded, "", most, "mm")


def _lifts(before: Fitted, after: Fitted) -> tuple[Figure, ...]:
    """What each end is lifted, as figures."""
    ends = [(axle, on_both(before, after, partial(lift_m, axle=axle))) for axle in ("front", "rear")]
    return tuple(figure(f"{axle} lift", end.before, end.after, "mm") for axle, end in ends)


def _pitch(reading: Reading) -> float:
    front, rear = (recorded_lift_m(reading, axle) for axle in ("front", "rear"))
    return pitch_rad(front, rear, reading.fact("wheelbase"))


def headlamp_aim(before: Fitted, after: Fitted) -> Finding:
    """What an unequal lift raises the beams by, as a part of their reach."""
    return against(
        "suspension.headlamp_aim",
        "headlamp beams raised by a lift of the front over the rear",
        on_both(before, after, lambda r: math.tan(_pitch(r))),
        AIM,
        "%",
        Bound(-AIM_PART, AIM_PART),
        otherwise=Verdict.caution,
        mend="Set the headlamps anew before it is driven at night.",
        more=_lifts(before, after),
    )


def castor(before: Fitted, after: Fitted) -> Finding:
    """What an unequal lift turns the front axle by: nose up gains castor, nose down loses it."""
    sides = on_both(before, after, _pitch)
    turned = math.degrees(abs(sides.after or 0.0))
    feels = "the steering gets heavy" if (sides.after or 0.0) > 0 else "it wanders"
    return against(
        "suspension.castor",
        "castor gained by a lift of the front over the rear",
        sides,
        CASTOR,
        "deg",
        Bound(-CASTOR_RAD, CASTOR_RAD),
        digits=2,
        otherwise=Verdict.caution,
        mend=f"Left so, {feels}: fit castor wedges of {turned:.1f} degrees between the front springs and the "
        "axle, or lift both ends alike, and have the steering checked by someone licensed for it.",
        more=_lifts(before, after),
    )


def _raised_m(reading: Reading) -> float:
    """What the lift raises the centre of gravity by: what is sprung, each end by its share of the load."""
    mass = reading.fact("mass_laden")
    front = reading.fact("axle_load_front_laden") / mass
    sprung = 1 - (reading.fact("unsprung_mass_front") + reading.fact("unsprung_mass_rear")) / mass
    lifts = (recorded_lift_m(reading, "front"), recorded_lift_m(reading, "rear"))
    return sprung * (front * lifts[0] + (1 - front) * lifts[1])


def tilt(before: Fitted, after: Fitted) -> Finding:
    """The slope on which the laden vehicle tips sideways, by track and height of the centre of gravity.

    Today's wheels and tyres stand for those that track and height were measured with.
    """
    old = Reading(before)
    offset, radius = old.maybe("wheel.road", "offset"), _radius(old)

    def original(reading: Reading) -> float:
        track = (reading.fact("track_front") + reading.fact("track_rear")) / 2
        return static_stability(track, reading.fact("gravity_height_laden"))

    def stability(reading: Reading) -> float:
        wider = 0.0 if offset is None else track_change_m(offset, reading.value("wheel.road", "offset"))
        taller = 0.0 if radius is None else reading.value("tyre.road", "tyre_diameter") / 2 - radius
        track = (reading.fact("track_front") + reading.fact("track_rear")) / 2 + wider
        return static_stability(track, reading.fact("gravity_height_laden") + _raised_m(reading) + taller)

    sides = on_both(before, after, stability)
    least = on_both(before, after, lambda r: math.atan(TILT_PART * original(r))).after
    return against(
        "suspension.tilt",
        "slope on which it tips sideways, laden",
        on_both(before, after, lambda r: math.atan(stability(r))),
        TILT.at(least, "deg", 1),
        "deg",
        at_least(least),
        otherwise=Verdict.caution,
        mend=f"{_lower(after, radius)} would do it; until then carry the load low and take bends and slopes "
        "slower.",
        more=(Figure("track over twice the height of the centre of gravity", sides.before, sides.after),),
    )


def _lower(fitted: Fitted, radius_today: float | None) -> str:
    """What would let it stand lower or wider, of what raises it: "Less lift or a wider track"."""
    reading = Reading(fitted)
    radius = _radius(reading)
    ways = ["less lift"] if max(lift_m(reading, axle) for axle in ("front", "rear")) > 0 else []
    if radius is not None and radius_today is not None and radius > radius_today:
        ways.append("a lower tyre")
    text = " or ".join(filter(None, (", ".join(ways), "a wider track")))
    return opening(text)


def _radius(reading: Reading) -> float | None:
    diameter = reading.maybe("tyre.road", "tyre_diameter")
    return None if diameter is None else diameter / 2
