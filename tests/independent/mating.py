"""What screws, seats, plugs and meets, worked out a second time and as plainly as can be.

It imports nothing of the service. Threads are from the published tables: ISO 261 and 724, ASME B1.1 (UNC,
UNF), BS 84 (BSW, BSF); lengths in mm.
"""

import math

THREADS = {
    # name: outside diameter, pitch, flank angle
    "M6x1": (6.0, 1.0, 60), "M8x1": (8.0, 1.0, 60), "M10x1": (10.0, 1.0, 60), "M10x1.25": (10.0, 1.25, 60),
    "M12x1.25": (12.0, 1.25, 60), "M12x1.5": (12.0, 1.5, 60), "M14x1.5": (14.0, 1.5, 60),
    "5/16-24 UNF": (7.9375, 25.4 / 24, 60), "3/8-24 UNF": (9.525, 25.4 / 24, 60),
    "1/2-20 UNF": (12.7, 25.4 / 20, 60), "9/16-18 UNF": (14.2875, 25.4 / 18, 60),
    "1/2-13 UNC": (12.7, 25.4 / 13, 60), "3/8-16 UNC": (9.525, 25.4 / 16, 60),
    "3/8 BSW": (9.525, 25.4 / 16, 55), "1/2 BSW": (12.7, 25.4 / 12, 55),
    "1/4 BSF": (6.35, 25.4 / 26, 55), "3/8 BSF": (9.525, 25.4 / 20, 55), "1/2 BSF": (12.7, 25.4 / 16, 55),
    "3/8 UNF": (9.525, 25.4 / 24, 60),
}  # fmt: skip


def thread_met(one, other):
    """What happens when two threads are screwed together, in one word."""
    (d1, p1, a1), (d2, p2, a2) = THREADS[one], THREADS[other]
    if abs(d1 - d2) < 1e-6 and abs(p1 - p2) < 1e-6 and a1 == a2:
        return "same"
    small, (big, pitch, angle) = min(d1, d2), max(THREADS[one], THREADS[other])
    # Full depth on the diameter: ISO 68-1 5/8 H each side, Whitworth 2/3 H; H from the flank angle.
    full = 2 * pitch / (2 * math.tan(math.radians(angle / 2))) * (5 / 8 if angle == 60 else 2 / 3)
    if small - (big - full) < 0.2 * full:
        return "apart"
    finer, coarser = min(p1, p2), max(p1, p2)
    turns = small / finer  # turns within one diameter, each of which leaves the pitches further apart
    return "jams" if turns * (coarser - finer) > finer / 2 else "loose"


def union(one, other, flare=None, other_flare=None):
    """Thread and flare are two things: either alone makes a union leak (published pages on brake flares)."""
    if one is None or other is None:
        return "not determined"
    leaks = flare and other_flare and flare != other_flare
    return "holds" if thread_met(one, other) == "same" and not leaks else "fails"


def same(one, other):
    if one is None or other is None:
        return "not determined"
    return "holds" if one == other else "fails"


def splines(shaft, diff, hub):
    """ANSI B92.1: D = N / P, so splines of another count or pitch never go into each other.

    Each is (count, pitch); the outer end of the shaft is the hub's affair where both record it.
    """
    wrong = shaft["inner"] != diff["count"]
    wrong |= None not in (shaft["outer"], hub) and shaft["outer"] != hub
    wrong |= None not in (shaft["pitch"], diff["pitch"]) and shaft["pitch"] != diff["pitch"]
    return "fails" if wrong else "holds"


def teeth(over, under, recorded):
    """A ratio is teeth over teeth; what it may be off by writing two decimals is half a per cent."""
    return "holds" if abs(over / under / recorded - 1) <= 0.005 * (1 + 1e-9) else "caution"


def sealing(tyre, rim, tube):
    """ISO 4000-2 (a published dictionary has it too): a tubeless tyre needs a hump to stay on its seat."""
    if tyre == "tubed" or rim == "hump":
        return "holds"
    return "caution" if tube else "fails"


def rim(width, least, most):
    """How far the rim lies outside what the tyre permits, and the verdict."""
    outside = max(least - width, width - most)
    return outside, "holds" if outside <= 1e-6 else "fails"


def spare(road, other):
    """Turn of the spare over that of the road tyre, 2 per cent by practice; with other bolts it is none."""
    if (road["circle"], road["bolts"]) != (other["circle"], other["bolts"]):
        return 1.0, "fails"
    apart = abs(other["turn"] / road["turn"] - 1)
    return apart, "holds" if apart <= 0.02 + 1e-9 else "caution"


def rated(rating, taken):
    return "holds" if rating >= taken * (1 - 1e-9) else "fails"


def earth(parts):
    """Each part: its polarity or None. One car has one earth; what does not say its own leaves it open."""
    said = {polarity for polarity in parts if polarity not in (None, "either")}
    if len(said) > 1:
        return "fails"
    return "not determined" if None in parts or not said else "holds"


def volts(variant, battery, machine, others):
    """Battery and machine of one voltage make the system; `others` are spans of what each is made for."""
    system = battery if battery == machine else variant
    made_for = [(battery, battery), (machine, machine), *others]
    return "holds" if all(low - 0.1 <= system <= high + 0.1 for low, high in made_for) else "fails"


def bent(near, far, arrangement, per_lift, lift):
    """The wider angle of a propeller shaft's joints; a single joint, or two of constant speed, have one."""
    angles = [near + per_lift * lift]
    if arrangement in ("two in phase", "two out of phase", "double and single", None):
        angles.append(angles[0] if far is None else far + per_lift * lift)
    return max(map(abs, angles))
