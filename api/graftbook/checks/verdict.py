"""What a check says: a verdict, the numbers before and after, the limit and where it comes from."""

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

from graftbook.rulebook.units import UNITS


class Verdict(StrEnum):
    """The outcome of one check, best first."""

    holds = "holds"
    caution = "caution"
    fails = "fails"
    not_determined = "not determined"


class Provenance(StrEnum):
    """How well a limit is known."""

    seen = "seen in a published text"
    memory = "from memory, not confirmed"
    derived = "follows from the formula"
    common_practice = "common practice, no published source"
    recorded = "recorded in the catalogue"


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound and where it comes from; `value` is in `unit`, None when the bound is not one number."""

    text: str
    source: str
    provenance: Provenance
    clause: str = ""
    value: float | None = None
    unit: str = ""

    @property
    def cited(self) -> str:
        """The source as an answer prints it: standard, clause, and a warning when from memory."""
        where = f"{self.source}, {self.clause}" if self.clause else self.source
        return f"{where}, from memory" if self.provenance is Provenance.memory else where

    def at(self, value_si: float | None, unit: str, digits: int = 0) -> "Limit":
        """The same limit with the number that this vehicle gives it; unchanged when there is none."""
        if value_si is None:
            return self
        value = shown(value_si, unit)
        return replace(self, text=f"{self.text}, {value:.{digits}f} {unit}", value=value, unit=unit)


@dataclass(frozen=True, slots=True)
class Figure:
    """One number today and with the set fitted, in `unit`; None where it is not determined."""

    name: str
    before: float | None
    after: float | None
    unit: str = ""


class FindingKind(StrEnum):
    """Whose a finding is: the set's doing, as it was today, or the set's mending."""

    worse = "worse"
    newly_not_determined = "newly not determined"
    already_so = "already so"
    mended = "mended"
    holds = "holds"
    not_determined = "not determined"


@dataclass(frozen=True, slots=True)
class Finding:
    """What one check found on one vehicle.

    `check` is the stable name ("brakes.pedal_force"). `components` are the numbers whose
    characteristics decide it; `missing` names the characteristics that are not recorded ("bore of X at
    P"), `impossible` those recorded as what cannot be. `mend` is a change that would mend it. `beyond`
    is how far the judged figure lies past its limit, in the first figure's unit (less than nothing
    inside it), `wrong` what disagrees where no number is judged. `today` is the same check on the
    vehicle as it stands, by the limit that applies there; None where the check does not apply there.
    """

    check: str
    subject: str
    verdict: Verdict
    sentence: str
    figures: tuple[Figure, ...] = ()
    limit: Limit | None = None
    components: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    impossible: tuple[str, ...] = ()
    mend: str = ""
    caution: str = ""
    beyond: float | None = None
    wrong: tuple[str, ...] = ()
    today: "Finding | None" = None

    @property
    def verdict_before(self) -> Verdict | None:
        """The verdict on the vehicle as it stands; None where the check does not apply to it."""
        return self.today.verdict if self.today else None

    @property
    def changed(self) -> bool:
        """Whether the set changes the verdict or a figure."""
        figures = any(figure.before != figure.after for figure in self.figures)
        return figures or self.verdict is not self.verdict_before

    @property
    def kind(self) -> FindingKind:
        """Whose it is. A figure past its limit that moves further from it is the set's doing too."""
        was, now = self.verdict_before, self.verdict
        if now is Verdict.not_determined:
            return FindingKind.not_determined if was is now else FindingKind.newly_not_determined
        if was not in _BAD:
            return FindingKind.worse if now in _BAD else FindingKind.holds
        if _BAD.get(now, 0) < _BAD[was]:
            return FindingKind.mended
        return FindingKind.worse if _BAD[now] > _BAD[was] or self._further() else FindingKind.already_so

    @property
    def better(self) -> bool:
        """Whether the set brings what was so already nearer to its limit."""
        was = self.today
        if (
            self.kind is not FindingKind.already_so
            or was is None
            or self.beyond is None
            or was.beyond is None
        ):
            return False
        return self.beyond < was.beyond

    def _further(self) -> bool:
        was = self.today
        if was is None:
            return False
        if set(self.wrong) - set(was.wrong):
            return True
        return self.beyond is not None and was.beyond is not None and self.beyond > was.beyond


_BAD = {Verdict.caution: 1, Verdict.fails: 2}
"""What is not as it should be, and how much so."""

CAUTIONS = {
    "brakes": "Brakes hold lives: have changed brakes fitted and inspected by someone licensed for it. "
    "Local rules on changed brakes come first.",
    "wheels": "Changed wheels and tyres may need approval where the vehicle is registered; have the "
    "clearances checked on full lock and full travel before it is driven.",
    "driveline": "A broken shaft can take the drive and, on some axles, the wheel with it: have the work "
    "inspected by someone licensed for it.",
    "suspension": "Springs under load and changed ride height can hurt: support the frame or the body, and "
    "have brakes, shafts and steering inspected at full travel. Local rules on changed height come first.",
    "fuel": "Fuel burns: work cold, in the open air, with the battery off. Fuel-injection pressure needs "
    "hose and unions made for it. Local rules and a licensed fitter come first.",
    "electrical": "A battery drives enough current to burn a vehicle down: disconnect it first, fuse every "
    "added cable at the source, and have changed wiring inspected by someone licensed for it.",
    "corrosion": "The frame, or the body where there is none, carries the load: have corroded or repaired "
    "structure inspected by someone licensed; welding on it is for a qualified welder under local rules.",
    "unions": "A wrong thread or flare can hold until the day it is needed: match both, replace the union "
    "when unsure, and have brake and fuel pipes inspected by someone licensed for it.",
}
"""The caution that every finding of a subject carries; subjects without danger have none."""


def worst(verdicts: list[Verdict]) -> Verdict:
    """fails, then not determined, then caution, then holds; holds for an empty list."""
    order = (Verdict.fails, Verdict.not_determined, Verdict.caution)
    return next((v for v in order if v in verdicts), Verdict.holds)


def judge(ok: bool | None, limit: Limit, otherwise: Verdict = Verdict.fails) -> Verdict:
    """The verdict on one limit; `ok` None means not determined.

    A limit from memory is never the only reason for `fails`: it gives `caution` at most.
    """
    if ok is None:
        return Verdict.not_determined
    if ok:
        return Verdict.holds
    if otherwise is Verdict.fails and limit.provenance is Provenance.memory:
        return Verdict.caution
    return otherwise


SI_UNITS = frozenset({"m/s2", "rad/s2", "years"})
"""Units that findings are written in and that no characteristic is recorded in; values pass unchanged."""


@lru_cache
def _unit_scale(unit: str) -> tuple[float, float]:
    if not unit or unit in SI_UNITS:
        return 1.0, 0.0
    found = next(u for (_, name), u in UNITS.items() if name == unit)
    return found.factor, found.offset


def shown(si: float, unit: str) -> float:
    """An SI value in `unit` of the controlled list."""
    factor, offset = _unit_scale(unit)
    return (si - offset) / factor


def scaled(si: float, unit: str) -> float:
    """A difference of SI values in `unit`."""
    return si / _unit_scale(unit)[0]


def figure(name: str, before_si: float | None, after_si: float | None, unit: str) -> Figure:
    """A figure from two SI values, written in `unit`."""
    return Figure(
        name,
        None if before_si is None else shown(before_si, unit),
        None if after_si is None else shown(after_si, unit),
        unit,
    )


def written(value: float | None, digits: int) -> str:
    """A number for a sentence: `digits` decimals, or "not recorded"."""
    return "not recorded" if value is None else f"{value:.{digits}f}"


def opening(text: str) -> str:
    """Words as a sentence begins with them: a capital in front."""
    return text[:1].upper() + text[1:]


def before_after(before: float | None, after: float | None, digits: int, unit: str = "") -> str:
    """ "5.1 -> 7.9 m/s2"; one number when both read the same, or when there is none today."""
    first, last = written(before, digits), written(after, digits)
    text = last if before is None or first == last else f"{first} -> {last}"
    return f"{text} {unit}".rstrip()
