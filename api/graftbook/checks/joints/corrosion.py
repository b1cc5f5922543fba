"""Corrosion: joints of unlike metals against the anodic-index limits, and how long zinc lasts."""

from collections.abc import Iterator
from dataclasses import dataclass

from graftbook.checks.findings import against, at_least, undetermined
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both
from graftbook.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, figure, opening
from graftbook.rulebook.index import index_of
from graftbook.rulebook.model import Component

ANODIC_INDEX_V = {
    "copper": 0.35, "brass": 0.40, "bronze": 0.40, "stainless steel 18 % Cr": 0.50,
    "stainless steel 12 % Cr": 0.60, "tin-lead": 0.65, "lead": 0.70, "plain steel": 0.85,
    "cast iron": 0.85, "wrought aluminium": 0.90, "cast aluminium": 0.95,
    "galvanised steel": 1.20, "zinc": 1.25, "magnesium": 1.75,
}  # fmt: skip
"""Volts against gold, as published up to 0.85; above it one secondary listing. One scale, never mixed."""

GREATEST_DIFFERENCE_V = {"harsh": 0.15, "normal": 0.25, "controlled": 0.50}
ZINC_UM_PER_YEAR = {"C1": (0.0, 0.1), "C2": (0.1, 0.7), "C3": (0.7, 2.1), "C4": (2.1, 4.2), "C5": (4.2, 8.4)}
STEEL = frozenset({"plain steel", "cast iron"})
ZINC = frozenset({"zinc", "galvanised steel"})
ALUMINIUM = frozenset({"wrought aluminium", "cast aluminium"})
BARRIERS = frozenset({"paint", "zinc and paint", "powder coat"})
WANTED_YEARS = 10

ZINC_LIFE = Limit("at least 10 years to bare steel", "ISO 9223 zinc rates", Provenance.seen,
                  "C1 to C5, as copied", WANTED_YEARS, "years")  # fmt: skip
PRACTICE = Provenance.common_practice
BARE = Limit("bare steel never on bare aluminium, whatever the index says", "workshop practice", PRACTICE)
BOTH = Limit("steel and aluminium want a barrier on both sides", "workshop practice", PRACTICE)
NOBLER = Limit(
    "never a coat on the metal alone that is eaten: the attack goes into every scratch of it",
    "workshop practice",
    PRACTICE,
)

PARTING = (
    "Paint on both sides, with zinc under it on the steel, a washer between that takes up no water, and no "
    "water trap."
)


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
    """Least and greatest years to bare steel, at first-year ISO 9223 rates (later years are slower).

    Raises ValueError for an unknown class.
    """
    if corrosivity not in ZINC_UM_PER_YEAR:
        raise ValueError(f"no rate of zinc in class {corrosivity}")
    slow, fast = ZINC_UM_PER_YEAR[corrosivity]
    um = thickness_m * 1e6
    return um / fast, um / slow if slow else float("inf")


def surface_metal(material: str, coating: str) -> str:
    """The metal that faces the joint: zinc where steel carries it, else the material."""
    return "zinc" if "zinc" in coating else material


def inspect(before: Fitted, after: Fitted) -> list[Finding]:
    """Every recorded joint of unlike metals, then the life of the zinc wherever it is recorded."""
    pairs = dict.fromkeys(touching(before, after))
    zinced = [p for p, _, m in after.recorded("zinc_thickness") if m.low != 0]
    return [
        *(_unknown_place(after, a, b) for a, b in pairs if not _has_position(after, a)),
        *(
            metal_joint(before, after, a, b)
            for a, b in pairs
            if _has_position(after, a) and (_unlike(after, a, b) or _unlike(before, a, b))
        ),
        *(zinc_life(before, after, position) for position in zinced),
    ]


def touching(before: Fitted, after: Fitted) -> list[tuple[str, str]]:
    """Pairs of positions that are bolted to each other, as the parts record it (`bolted_to`), each once.

    Of a part that records nothing the joints are those of what sits there today; they are not determined.
    """
    found: dict[frozenset[str], tuple[str, str]] = {}
    recording = {p for fitted in (before, after) for p, _, _ in fitted.recorded("bolted_to")}
    for position in sorted(p for p in recording if after.has(p)):
        own = _bolted_to(after, position)
        for other in named(own if own is not None else _bolted_to(before, position) or ""):
            found.setdefault(frozenset((other, position)), (other, position))
    return list(found.values())


def named(words: str) -> list[str]:
    """ "underframe; step.wells" -> underframe, step.wells."""
    return [name.strip() for name in words.split(";") if name.strip()]


def _bolted_to(fitted: Fitted, position: str) -> str | None:
    component = fitted.component(position)
    measure = component.characteristics.get("bolted_to") if component else None
    return measure.text if measure else None


def _has_position(fitted: Fitted, position: str) -> bool:
    return position in fitted.book.positions


def _unknown_place(fitted: Fitted, other: str, position: str) -> Finding:
    """A part that says that it is bolted to a place which the range does not have."""
    component = fitted.component(position)
    number = component.number if component else ""
    lacking = f"bolted_to of {number} at {position}"
    wanting = f"{number} ({fitted.title(position)}) is said to be bolted to '{other}', which is no place here"
    sides: BothSides[None] = BothSides(None, None, (lacking,), (wanting,), (number,))
    return undetermined(f"corrosion.{other}+{position}", "whether what is bolted up goes together", sides)


def _unlike(fitted: Fitted, one: str, other: str) -> bool:
    """Whether both sides are fitted and are not known to be one metal with one coating."""
    here, there = fitted.component(one), fitted.component(other)
    if here is None or there is None:
        return False
    kinds = ("material", "coating")
    first, second = ([c.characteristics.get(kind) for kind in kinds] for c in (here, there))
    return None in first or first != second


def isolates(words: str, one: str, other: str) -> bool:
    """Whether "underframe + roof; step.wells + doors.front" names the joint of the two positions."""
    joints = ({side.strip() for side in joint.split("+")} for joint in words.split(";"))
    return {one, other} in joints


def isolated_by(fitted: Fitted, one: str, other: str) -> Component | None:
    """What parts the joint: a part that is fitted, or one that is always fitted with one; None: nothing.

    A loose part counts where a required rule brings it with what sits at either position, so that there is
    no other way to fulfil the rule.
    """
    for _, component, measure in fitted.recorded("isolates"):
        if isolates(measure.text or "", one, other):
            return component
    kits = [kit for position in (one, other) for kit in _always_with(fitted, position)]
    for kit in kits:
        parts = kit.characteristics.get("isolates")
        if parts and isolates(parts.text or "", one, other):
            return kit
    return None


def _always_with(fitted: Fitted, position: str) -> Iterator[Component]:
    """Loose parts that what sits at `position` is always fitted with."""
    number = fitted.number(position)
    for rule in index_of(fitted.book).companions_of.get(number or "", ()):
        binds = rule.required and rule.position in ("", position) and len(rule.alternatives) == 1
        if binds and (fitted.vehicle is None or rule.when.holds(fitted.vehicle)):
            only = rule.alternatives[0]
            if only.loose and only.component in fitted.book.components:
                yield fitted.book.components[only.component]


@dataclass(frozen=True, slots=True)
class MetalJoint:
    """Two facing metals, which of them carries a barrier, what parts them, and where they are."""

    one: str
    other: str
    covered: tuple[bool, bool]
    isolated: Component | None
    environment: str

    @property
    def barriers(self) -> int:
        return sum(self.covered)

    @property
    def steel_on_aluminium(self) -> bool:
        return bool({self.one, self.other} & STEEL and {self.one, self.other} & ALUMINIUM)

    @property
    def sacrificial(self) -> bool:
        """Zinc on steel gives itself up for the steel: a caution, never a failure."""
        return bool({self.one, self.other} & STEEL and {self.one, self.other} & ZINC)

    @property
    def anode_alone(self) -> bool:
        """Only the metal that is eaten carries a coat: worse than half a remedy."""
        anode = ANODIC_INDEX_V[self.one] >= ANODIC_INDEX_V[self.other]
        return self.one != self.other and self.covered == (anode, not anode)

    @property
    def parted(self) -> bool:
        return self.isolated is not None or self.barriers == 2

    @property
    def worded(self) -> str:
        if self.isolated:
            return f"parted by {self.isolated.number} ({self.isolated.name})"
        if self.anode_alone:
            return f"a barrier on the {anode_of(self.one, self.other)} alone"
        if self.barriers == 1:
            return f"a barrier on the {cathode_of(self.one, self.other)} only"
        return "a barrier on both sides" if self.barriers else "bare metal on bare metal"

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
        """The rule that this joint answers to: of steel on aluminium by how much of it is bare."""
        if not self.steel_on_aluminium or self.one == self.other:
            return index_limit(self.environment)
        if self.anode_alone:
            return NOBLER
        return BARE if not self.barriers else BOTH

    @property
    def verdict(self) -> Verdict:
        if self.one == self.other:
            return Verdict.holds
        if self.steel_on_aluminium:
            return self._of_steel_on_aluminium
        if index_allows(self.one, self.other, self.environment):
            return Verdict.holds
        if self.parted:
            return Verdict.holds if index_allows(self.one, self.other, "controlled") else Verdict.caution
        half = self.barriers == 1 and not self.anode_alone
        return Verdict.caution if self.sacrificial or half else Verdict.fails

    @property
    def _of_steel_on_aluminium(self) -> Verdict:
        """Whatever the index says: bare, or with a coat on the aluminium alone, only dry air lets it live."""
        if self.parted:
            return Verdict.holds
        if self.barriers and not self.anode_alone:
            return Verdict.caution
        harsher = GREATEST_DIFFERENCE_V[self.environment] < GREATEST_DIFFERENCE_V["controlled"]
        return Verdict.fails if harsher else Verdict.caution


def _joint(reading: Reading, one: str, other: str) -> MetalJoint:
    metals, covered = [], []
    for position in (one, other):
        coating = reading.word(position, "coating")
        metals.append(surface_metal(reading.word(position, "material"), coating))
        covered.append(coating in BARRIERS)
    ways = ((one, other), (other, one))
    if not any(to in named(_bolted_to(reading.fitted, p) or "") for p, to in ways):
        reading.word(other, "bolted_to")
    isolated = isolated_by(reading.fitted, one, other)
    if isolated is None and reading.fitted.has("isolation"):
        reading.word("isolation", "isolates")
    environment = reading.fact_word("environment")
    if not reading.missing:
        _require_figures(metals, environment)
    return MetalJoint(metals[0], metals[1], (covered[0], covered[1]), isolated, environment)


def _require_figures(metals: list[str], environment: str) -> None:
    """Raise ValueError for a metal or an environment without a figure."""
    index_difference_v(*metals)
    if environment not in GREATEST_DIFFERENCE_V:
        raise ValueError(f"no limit for a {environment} environment")


def metal_joint(before: Fitted, after: Fitted, one: str, other: str) -> Finding:
    """Two positions bolted together: difference of index against the environment's limit."""
    sides = on_both(before, after, lambda r: _joint(r, one, other))
    check = f"corrosion.{one}+{other}"
    titles = " and ".join(f"the {after.title(p)}" for p in (one, other))
    if sides.after is None:
        return undetermined(check, f"whether {titles} go together", sides)
    joint = sides.after
    gaps = [index_difference_v(j.one, j.other) if j else None for j in (sides.before, joint)]
    return Finding(
        check=check,
        subject="corrosion",
        verdict=joint.verdict,
        sentence=f"{opening(titles)}: {joint.one} against {joint.other}, {gaps[1]:.2f} V, "
        f"{joint.worded}{',' if joint.harm.startswith('so ') else ';'} {joint.harm}",
        figures=(figure("difference of anodic index", gaps[0], gaps[1], "V"),),
        limit=joint.limit,
        components=tuple(dict.fromkeys((*sides.used, *([joint.isolated.number] if joint.isolated else [])))),
        mend="" if joint.verdict is Verdict.holds else PARTING,
        beyond=round(gaps[1] or 0.0, 2),
        caution=CAUTIONS["corrosion"],
    )


def anode_of(one: str, other: str) -> str:
    """The metal of the two that is eaten; the first where they stand alike."""
    return max((one, other), key=lambda metal: ANODIC_INDEX_V.get(metal, 0.0))


def cathode_of(one: str, other: str) -> str:
    return other if anode_of(one, other) == one else one


def area_words(one: str, other: str) -> str:
    """Which side is eaten, in words: the anode, and faster the smaller it is."""
    if one == other:
        return ""
    return f"The {anode_of(one, other)} is eaten, and the faster the smaller its part of the joint."


def zinc_life(before: Fitted, after: Fitted, position: str) -> Finding:
    """Least years that the zinc on a position lasts in the variant's corrosivity class."""

    def least(reading: Reading) -> float:
        thickness, corrosivity = reading.value(position, "zinc_thickness"), reading.fact_word("corrosivity")
        return zinc_life_years(thickness, corrosivity)[0] if corrosivity else float("nan")

    sides = on_both(before, after, least)
    check, what = (
        f"corrosion.zinc.{position}",
        f"how long the zinc lasts at the least ({after.title(position)})",
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
        mend="Thicker zinc lasts longer."
        if Reading(after).maybe_word(position, "coating") == "zinc and paint"
        else "Thicker zinc, or paint over the zinc, lasts longer.",
    )
