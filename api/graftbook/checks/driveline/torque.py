"""Torque in each part of the driveline where it is greatest, and the part that carries most of its rating.

Driven axles share what the engine sends, and a transfer box without a differential of its own lets either
take all of it: a part that feeds one axle is loaded up to that axle's grip, a part that feeds both up to
the grip of both together, and none by more than the engine sends.
"""

import math
from collections.abc import Callable, Iterator
from functools import partial

from graftbook.checks.driveline.gearing import GRIP, circumference_m, driven_axles, efficiency, gears
from graftbook.checks.findings import undetermined
from graftbook.checks.fitted import Fitted, Reading, on_both, remembered
from graftbook.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, figure
from graftbook.rulebook.units import STANDARD_GRAVITY

AXLE_EFFICIENCY = 0.96
"""Of a crown wheel and pinion; usual figure, common practice, where none is recorded."""

BIAS = 2.5
"""Torque of the better wheel over the other's behind a limited-slip differential; usual figure."""

SHAFTS = ("halfshaft.rear.left", "halfshaft.rear.right", "halfshaft.front.left", "halfshaft.front.right")
PROPSHAFTS = ("propshaft.rear", "propshaft.front")

TORQUE = Limit("at most what it is rated for", "component data", Provenance.recorded)

SPARE = Limit(
    "at most 90 % of what it is rated for, or nothing is to spare",
    "workshop practice",
    Provenance.common_practice,
    value=90,
    unit="%",
)


def solid_shear_pa(torque_nm: float, diameter_m: float) -> float:
    """tau = 16 T / (pi d^3)."""
    return 16 * torque_nm / (math.pi * diameter_m**3)


def tube_polar_m4(outer_m: float, inner_m: float) -> float:
    """J = pi / 32 (D^4 - d^4); d = 0 for a solid shaft."""
    return math.pi / 32 * (outer_m**4 - inner_m**4)


def tube_shear_pa(torque_nm: float, outer_m: float, inner_m: float) -> float:
    """tau = T (D / 2) / J."""
    return torque_nm * outer_m / 2 / tube_polar_m4(outer_m, inner_m)


def shaft_torque_nm(
    engine_nm: float,
    overall_ratio: float,
    efficiency: float,
    grip_nm: float,
    locked_grip_nm: float,
    locked: bool,
    greater_share: float = 0.5,
) -> float:
    """Torque on one half shaft: the smaller of what the engine sends and what the tyres hold.

    An open differential halves the engine's torque and lets one tyre hold it; a limited-slip one sends
    `greater_share` to the tyre that grips better; a locked one can send all of it to that tyre, which
    then carries up to the whole axle's grip.
    """
    sent = engine_nm * overall_ratio * efficiency
    return min(sent, locked_grip_nm) if locked else min(sent * greater_share, grip_nm)


def biased_share(bias: float) -> float:
    """What the better wheel gets of an axle's torque when it may carry `bias` times the other's."""
    return bias / (1 + bias)


@remembered
def axle_ratio(reading: Reading, axle: str) -> float:
    return reading.value((f"gears.{axle}", f"diff.{axle}"), "axle_ratio")


@remembered
def axle_efficiency(reading: Reading, axle: str) -> float:
    """Efficiency of one crown wheel and pinion; never less than that of the whole driveline."""
    recorded = reading.maybe(f"gears.{axle}", "axle_efficiency")
    return max(AXLE_EFFICIENCY if recorded is None else recorded, efficiency(reading))


def _range(reading: Reading, low: bool) -> float:
    if not reading.fitted.has("transfer"):
        return 1.0
    return reading.value("transfer", "transfer_low" if low else "transfer_high")


@remembered
def _sent_nm(reading: Reading) -> float:
    """What the engine sends out of the transfer box in the lowest gear, before any loss."""
    return reading.value("engine.unit", "torque") * gears(reading)[0] * _range(reading, low=True)


@remembered
def _axle_grip_nm(reading: Reading, axle: str) -> float:
    """Torque at which both tyres of an axle slip, laden."""
    load = reading.fact(f"axle_load_{axle}_laden") * STANDARD_GRAVITY
    return GRIP * load * circumference_m(reading, axle) / (2 * math.pi)


@remembered
def _held_nm(reading: Reading, axle: str) -> float:
    """Torque on an axle's propeller shaft at which its tyres slip; the axle's own loss comes on top."""
    return _axle_grip_nm(reading, axle) / (axle_ratio(reading, axle) * axle_efficiency(reading, axle))


def half_shaft_nm(reading: Reading, position: str) -> float:
    axle = position.split(".")[1]
    both = _axle_grip_nm(reading, axle)
    kind = reading.word(f"diff.{axle}", "differential")
    recorded = reading.maybe(f"diff.{axle}", "bias_ratio") if kind == "limited slip" else 1.0
    return shaft_torque_nm(
        _sent_nm(reading),
        axle_ratio(reading, axle),
        efficiency(reading),
        both / 2,
        both,
        kind == "locking",
        biased_share(BIAS if recorded is None else recorded),
    )


def propshaft_nm(reading: Reading, position: str) -> float:
    """Torque on a propeller shaft: engine in the lowest gear, but no more than its axle's tyres hold."""
    axle = position.split(".")[1]
    before_axle = efficiency(reading) / axle_efficiency(reading, axle)
    return min(_sent_nm(reading) * before_axle, _held_nm(reading, axle))


def transfer_nm(reading: Reading) -> float:
    """Torque out of the transfer box to all driven axles, in the lowest gear."""
    axles = driven_axles(reading.fitted)
    before_axle = efficiency(reading) / min(axle_efficiency(reading, axle) for axle in axles)
    return min(_sent_nm(reading) * before_axle, sum(_held_nm(reading, axle) for axle in axles))


def input_nm(reading: Reading) -> float:
    """Torque into the gearbox: the engine's own, unless the tyres of all driven axles slip in every gear."""
    axles = driven_axles(reading.fitted)
    held = sum(_axle_grip_nm(reading, axle) / axle_ratio(reading, axle) for axle in axles)
    tallest = min(gears(reading)) * _range(reading, low=False) * efficiency(reading)
    return min(reading.value("engine.unit", "torque"), held / tallest)


def overdrive_nm(reading: Reading) -> float:
    """Torque into the overdrive, which is engaged in top gear."""
    return input_nm(reading) * gears(reading)[-1]


def axle_nm(reading: Reading, axle: str) -> float:
    """Torque on one axle's crown wheel in the lowest gear."""
    sent = _sent_nm(reading) * axle_ratio(reading, axle) * efficiency(reading)
    return min(sent, _axle_grip_nm(reading, axle))


Torque = Callable[[Reading], float]


def _rated_parts(fitted: Fitted) -> Iterator[tuple[str, Torque]]:
    """Each place that may record a torque rating, with what loads it."""
    yield from (("clutch", input_nm), ("gearbox", input_nm), ("overdrive", overdrive_nm))
    yield "transfer", transfer_nm
    for axle in driven_axles(fitted):
        shaft = f"propshaft.{axle}"
        yield shaft, partial(propshaft_nm, position=shaft)
        for place in (f"gears.{axle}", f"diff.{axle}"):
            yield place, partial(axle_nm, axle=axle)
    if "front" in driven_axles(fitted):
        for side in ("left", "right"):
            yield f"freewheel.{side}", partial(half_shaft_nm, position=f"halfshaft.front.{side}")


IN_ANY_GEAR = ("clutch", "gearbox", "overdrive")
"""Rated by the torque that goes in, which is the engine's in every gear that the tyres hold."""


def links(reading: Reading) -> dict[str, float]:
    """Torque in each link of the driveline as a part of what it carries; only links with data."""
    parts = {}
    for position, torque in _rated_parts(reading.fitted):
        if rating := reading.maybe(position, "torque_rating"):
            parts[position] = torque(reading) / rating
    for position in (s for s in SHAFTS if s.split(".")[1] in driven_axles(reading.fitted)):
        diameter = reading.maybe(position, "shaft_diameter")
        strength = reading.maybe(position, "shear_strength")
        if diameter and strength:
            parts[position] = solid_shear_pa(half_shaft_nm(reading, position), diameter) / strength
    if not parts:
        reading.value("halfshaft.rear.left", "shaft_diameter")
    return parts


def weakest_link(before: Fitted, after: Fitted) -> Finding:
    """The link that carries the greatest part of its rating, with the ranking."""
    sides = on_both(before, after, links)
    now = sides.after
    if now is None:
        return undetermined("driveline.weakest_link", "the weakest link", sides, TORQUE)
    was = sides.before or {}
    names = sorted(was.keys() | now.keys(), key=lambda p: (-now.get(p, 0.0), p))
    ranking = tuple(figure(after.title(p), was.get(p), now.get(p), "%") for p in names)
    weakest = names[0]
    load = now[weakest]
    earlier = min(was, key=lambda p: (-was[p], p)) if was else weakest
    text = (
        f"The weakest link {_where(weakest)} is the {after.title(weakest)}, at {load:.0%} of what it carries"
    )
    same = not was or (earlier == weakest and f"{was[earlier]:.0%}" == f"{load:.0%}")
    text += "" if same else f"; today it is the {before.title(earlier)}, at {was[earlier]:.0%}"
    verdict, limit = _of_load(load)
    good = verdict is Verdict.holds
    return Finding(
        check="driveline.weakest_link",
        subject="driveline",
        verdict=verdict,
        sentence=f"{text}." if good else f"{text}; {limit.text} ({limit.cited}).",
        figures=ranking,
        limit=limit,
        components=sides.used,
        mend="" if good else f"First strengthen the {after.title(weakest)}.",
        beyond=round(100 * load),
        caution=CAUTIONS["driveline"],
    )


def _where(link: str) -> str:
    return "with all the engine's torque" if link in IN_ANY_GEAR else "in the lowest gear"


def _of_load(part: float) -> tuple[Verdict, Limit]:
    if part > 1:
        return Verdict.fails, TORQUE
    return Verdict.holds if part <= 0.9 else Verdict.caution, SPARE
