"""Corrosion: joints of unlike metals against the anodic-index limits, and how long zinc lasts."""

from dataclasses import dataclass

from api.checks.bounds import at_least
from api.checks.findings import against, undetermined
from api.checks.fitted import Fitted, Reading, on_both
from api.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, figure

ANODIC_INDEX_V = {
    "copper": 0.35, "brass": 0.40, "bronze": 0.40, "stainless steel 18 % Cr": 0.50,
    "stainless steel 12 % Cr": 0.60, "tin-lead": 0.65, "lead": 0.70, "plain steel": 0.85,
    "cast iron": 0.85, "wrought aluminium": 0.90, "cast aluminium": 0.95,
    "galvanised steel": 1.20, "zinc": 1.25, "magnesium": 1.75,
}  # fmt: skip
"""Volts against gold, as published up to 0.85; above it one secondary listing. One scale, never mixed."""

GREATEST_DIFFERENCE_V = {"harsh": 0.15, "normal": 0.25, "controlled": 0.50}
ZINC_UM_PER_YEAR = {"C1": (0.0, 0.1), "C2": (0.1, 0.7), "C3": (0.7, 2.1), "C4": (2.1, 4.2), "C5": (4.2, 8.4)}
ZINC_G_PER_M2_UM = 7.2
STEEL = frozenset({"plain steel", "cast iron"})
ZINC = frozenset({"zinc", "galvanised steel"})
ALUMINIUM = frozenset({"wrought aluminium", "cast aluminium"})
BARRIERS = frozenset({"paint", "zinc and paint", "powder coat"})
WANTED_YEARS = 10

TOUCHING = (
    ("frame", "bulkhead"),
    ("frame", "panels.rear"),
    ("frame", "bumper.front"),
    ("frame", "fuel.tank"),
    ("bulkhead", "wings.front"),
)
"""Pairs of positions that are bolted to each other on a light vehicle with a separate frame."""

ZINC_LIFE = Limit("at least 10 years to bare steel", "ISO 9223 zinc rates", Provenance.seen,
                  "C1 to C5, as copied", WANTED_YEARS, "years")  # fmt: skip
BARE = Limit(
    "bare steel never on bare aluminium, whatever the index says",
    "workshop practice",
    Provenance.common_practice,
)


PARTING = "Zinc and paint on both sides, a washer between that takes up no water, and no water trap."


def index_limit(environment: str) -> Limit:
    value = GREATEST_DIFFERENCE_V[environment]
    return Limit(
        f"at most {value:.2f} V in a {environment} environment",
        "anodic index against gold",
        Provenance.seen,
        "published table with three limits, a secondary page",
        value,
        "V",
    )


def index_difference_v(one: str, other: str) -> float:
    """Difference of anodic index; raises ValueError for a metal without one."""
    for metal in (one, other):
        if metal not in ANODIC_INDEX_V:
            raise ValueError(f"no anodic index for {metal or 'an unknown metal'}")
    return abs(ANODIC_INDEX_V[one] - ANODIC_INDEX_V[other])


def index_allows(one: str, other: str, environment: str) -> bool:
    return index_difference_v(one, other) <= GREATEST_DIFFERENCE_V[environment] + 1e-9


def zinc_life_years(thickness_m: float, corrosivity: str) -> tuple[float, float]:
    """Least and greatest years to bare steel, at first-year ISO 9223 rates (later years are slower)."""
    slow, fast = ZINC_UM_PER_YEAR[corrosivity]
    um = thickness_m * 1e6
    return um / fast, um / slow if slow else float("inf")


def least_zinc_m(section_m: float) -> tuple[float, float]:
    """ISO 1461 least local and mean thickness of zinc for a steel section, not centrifuged."""
    if section_m > 0.006:
        return 70e-6, 85e-6
    if section_m > 0.003:
        return 55e-6, 70e-6
    return (45e-6, 55e-6) if section_m >= 0.0015 else (35e-6, 45e-6)


def zinc_mass_g_m2(thickness_m: float) -> float:
    return thickness_m * 1e6 * ZINC_G_PER_M2_UM


def surface_metal(material: str, coating: str) -> str:
    """The metal that faces the joint: zinc where steel carries it, else the material."""
    return "zinc" if "zinc" in coating else material


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every recorded joint of unlike metals, then the life of zinc on frame and bulkhead."""
    pairs = [(a, b) for a, b in TOUCHING if _unlike(after, a, b) or _unlike(before, a, b)]
    zinced = [p for p, _, m in after.recorded("zinc_thickness") if m.low != 0]
    return [
        *(metal_joint(before, after, a, b) for a, b in pairs),
        *(zinc_life(before, after, position) for position in zinced),
    ]


def _unlike(fitted: Fitted, one: str, other: str) -> bool:
    """Whether both sides are fitted and are not known to be one metal with one coating."""
    sides = fitted.component(one), fitted.component(other)
    if None in sides:
        return False
    kinds = ("material", "coating")
    first, second = ([c.characteristics.get(kind) for kind in kinds] for c in sides)
    return None in first or first != second


@dataclass(frozen=True, slots=True)
class MetalJoint:
    """Two facing metals, how many sides carry a barrier, whether something parts them, and where."""

    one: str
    other: str
    barriers: int
    isolated: bool
    environment: str

    @property
    def steel_on_aluminium(self) -> bool:
        return bool({self.one, self.other} & STEEL and {self.one, self.other} & ALUMINIUM)

    @property
    def sacrificial(self) -> bool:
        """Zinc on steel gives itself up for the steel: a caution, never a failure."""
        return bool({self.one, self.other} & STEEL and {self.one, self.other} & ZINC)

    @property
    def parted(self) -> bool:
        return self.isolated or self.barriers == 2

    @property
    def worded(self) -> str:
        if self.isolated:
            return "parted by an isolation set"
        one_side = "a barrier on one side only"
        if self.steel_on_aluminium:
            one_side += ", and steel on aluminium needs one on both"
        return ("bare metal on bare metal", one_side, "a barrier on both sides")[self.barriers]

    @property
    def harm(self) -> str:
        """What the limit says and which side is eaten; neither where they hold because they are parted."""
        if self.parted and self.one != self.other and self.verdict is Verdict.holds:
            return "so the limit for metal on metal does not apply."
        limit = self.limit
        eaten = "" if self.verdict is Verdict.holds else area_words(self.one, self.other)
        return f"{limit.text} ({limit.cited}). {eaten}".rstrip()

    @property
    def limit(self) -> Limit:
        return BARE if self.steel_on_aluminium else index_limit(self.environment)

    @property
    def verdict(self) -> Verdict:
        if self.one == self.other:
            return Verdict.holds
        if self.steel_on_aluminium:
            if self.parted:
                return Verdict.holds
            mild = {0: "controlled", 1: "normal"}[self.barriers]
            harder = GREATEST_DIFFERENCE_V[self.environment] < GREATEST_DIFFERENCE_V[mild]
            return Verdict.fails if harder else Verdict.caution
        if index_allows(self.one, self.other, self.environment):
            return Verdict.holds
        if self.parted:
            return Verdict.holds if index_allows(self.one, self.other, "controlled") else Verdict.caution
        return Verdict.caution if self.sacrificial or self.barriers else Verdict.fails


def _joint(reading: Reading, one: str, other: str) -> MetalJoint:
    metals, barriers = [], 0
    for position in (one, other):
        coating = reading.word(position, "coating")
        metals.append(surface_metal(reading.word(position, "material"), coating))
        barriers += coating in BARRIERS
    isolated = reading.fitted.has("isolation")
    return MetalJoint(metals[0], metals[1], barriers, isolated, reading.fact_word("environment"))


def metal_joint(before: Fitted, after: Fitted, one: str, other: str) -> Finding:
    """Two positions bolted together: difference of index against the environment's limit."""
    sides = on_both(before, after, lambda r: _joint(r, one, other))
    check = f"corrosion.{one}+{other}"
    titles = " and ".join(after.title(p) for p in (one, other))
    if sides.after is None:
        return undetermined(check, f"whether {titles} go together", sides)
    joint = sides.after
    gaps = [index_difference_v(j.one, j.other) if j else None for j in (sides.before, joint)]
    return Finding(
        check=check,
        subject="corrosion",
        verdict=joint.verdict,
        sentence=f"{titles[0].upper()}{titles[1:]}: {joint.one} against {joint.other}, {gaps[1]:.2f} V, "
        f"{joint.worded}{',' if joint.harm.startswith('so ') else ';'} {joint.harm}",
        figures=(figure("difference of anodic index", gaps[0], gaps[1], "V"),),
        limit=joint.limit,
        components=sides.used,
        mend="" if joint.verdict is Verdict.holds else PARTING,
        beyond=round(gaps[1] or 0.0, 2),
        caution=CAUTIONS["corrosion"],
    )


def area_words(one: str, other: str) -> str:
    """Which side is eaten, in words: the anode, and faster the smaller it is."""
    if one == other:
        return ""
    anode = max((one, other), key=lambda metal: ANODIC_INDEX_V.get(metal, 0.0))
    return f"The {anode} is eaten, and the faster the smaller its part of the joint."


def zinc_life(before: Fitted, after: Fitted, position: str) -> Finding:
    """Least years that the zinc on a position lasts in the variant's corrosivity class."""

    def least(reading: Reading) -> float:
        thickness, corrosivity = reading.value(position, "zinc_thickness"), reading.fact_word("corrosivity")
        return zinc_life_years(thickness, corrosivity)[0] if corrosivity else float("nan")

    sides = on_both(before, after, least)
    check, what = (
        f"corrosion.zinc.{position}",
        f"least years that the zinc on {after.title(position)} lasts",
    )
    if sides.after is None:
        return undetermined(check, what, sides, ZINC_LIFE)
    return against(
        check,
        what,
        sides,
        ZINC_LIFE,
        "years",
        at_least(WANTED_YEARS),
        digits=0,
        otherwise=Verdict.caution,
        mend="Thicker zinc, or paint over the zinc, lasts longer.",
    )
