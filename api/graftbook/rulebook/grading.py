"""The grade of a claim, from its sources and from what workshops reported.

How often a claim holds is taken as a share between 0 and 1 of which a beta distribution says what is known
(the beta-binomial model: Gelman et al., *Bayesian Data Analysis*, 3rd ed., 2013, section 2.4). A kind of
source is worth so many vehicles on which the claim held (`WORTH`), and every claim begins with one on which
it did not; reports add to either side. The grade is read off the share that the claim reaches with nine
chances in ten: the highest kind of source that promises no more by itself.

Reports of one workshop are no independent trials: the same hands, the same way of measuring. `n` vehicles of
one workshop count as `n / (1 + (n - 1) × LIKENESS)`, the design effect of a sample taken in clusters (Kish,
*Survey Sampling*, 1965, section 8.2): however many it reports, they never count as three of others.

*Breaks*: whether the failures of a claim lie on one side of a chassis number, and how strong that pattern is.
The vehicles are put in the order of their chassis numbers and split in two at every place between them. Of
each split, Fisher's exact test says how likely chance alone would put the failures so far to that side (R. A.
Fisher, *Statistical Methods for Research Workers*, 5th ed., 1934, section 21.02). Looking for the best of
many splits finds one more easily, so the strength told is corrected for the search, exactly: it is the share
of all orders of the same outcomes in which some split looks as good (Koziol, *On maximally selected chi-
square statistics*, Biometrics 47, 1991, 1557-1561). Whole numbers throughout; nothing is drawn by lot.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import IntEnum, StrEnum
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise
from math import comb

from graftbook.rulebook.units import chassis_number


class Grade(IntEnum):
    """What a piece of evidence is worth, weakest first."""

    none = 0
    hearsay = 1
    parts_book = 2
    workshop_manual = 3
    measured = 4
    trial_fitted = 5
    built_and_driven = 6


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence; `fitted` and `not_fitted` count the vehicles it was tried on."""

    name: str
    grade: Grade
    reference: str
    on: date | None = None
    who: str = ""
    fitted: int = 0
    not_fitted: int = 0

    @property
    def disputed(self) -> bool:
        """It failed to fit at least as often as it fitted."""
        return self.not_fitted > 0 and self.not_fitted >= self.fitted


class TrialOutcome(StrEnum):
    """What came of trying a claim on a vehicle, best first."""

    fitted = "fitted"
    after_work = "fitted after work"
    did_not_fit = "did not fit"


@dataclass(frozen=True, slots=True)
class Report:
    """What one workshop found when it tried a claim on one vehicle."""

    name: str
    outcome: TrialOutcome
    workshop: str
    on: date
    chassis_prefix: str
    chassis_serial: int
    digits: int = 6
    """So many digits the house writes in the chassis number."""


WORTH = {
    Grade.none: 1.0,
    Grade.hearsay: 1.5,
    Grade.parts_book: 3.0,
    Grade.workshop_manual: 3.5,
    Grade.measured: 4.0,
    Grade.trial_fitted: 5.0,
    Grade.built_and_driven: 7.0,
}
"""As how many vehicles on which the claim held a kind of source counts."""
LIKENESS = 0.5
"""How alike two reports of one workshop are: 0 independent, 1 the same report twice."""
CHANCE = 0.1
"""The chance that the true share is below the one that the grade is read off."""
AGAINST = {TrialOutcome.fitted: 0.0, TrialOutcome.after_work: 0.5, TrialOutcome.did_not_fit: 1.0}
"""How far an outcome speaks against a claim that says that no work is needed."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a claim stands: `sources` alone give one grade, with the reports it is `grade`.

    `held` and `failed` are the vehicles of the reports as far as they count; `share`: what it holds for at
    least, with nine chances in ten.
    """

    grade: Grade
    sources: Grade
    held: float
    failed: float
    share: float

    @property
    def contradicted(self) -> bool:
        """A workshop found otherwise, whatever the grade still is."""
        return self.failed > 0

    @property
    def lowered(self) -> bool:
        """It is worth less than its sources promise."""
        return self.grade < self.sources


def of_sources(evidence: Sequence[Evidence]) -> Grade:
    """The best undisputed piece of evidence; hearsay when every piece is disputed."""
    undisputed = [piece.grade for piece in evidence if not (piece.not_fitted and piece.disputed)]
    return max(undisputed, default=Grade.hearsay if evidence else Grade.none)


@lru_cache(maxsize=4096)
def standing(evidence: tuple[Evidence, ...], reports: tuple[Report, ...], worked: bool) -> Standing:
    """How a claim stands. `worked`: it says itself that there is work to do, so work is no contradiction."""
    sources = of_sources(evidence)
    held, failed = tally(reports, worked)
    share = lower_bound(WORTH[sources] + held, 1.0 + failed)
    if not held + failed:
        return Standing(sources, sources, held, failed, share)
    reached = max((grade for grade in Grade if _promise(grade) <= share + 1e-9), default=Grade.none)
    # Fitting is not driving; and what somebody fitted or wrote is talk at least, however many failed.
    least = Grade.hearsay if held or sources else Grade.none
    return Standing(max(least, min(reached, max(sources, Grade.trial_fitted))), sources, held, failed, share)


def tally(reports: Iterable[Report], worked: bool = False) -> tuple[float, float]:
    """(held, failed): the vehicles on either side, those of one workshop discounted for their likeness."""
    shops: dict[str, list[float]] = defaultdict(list)
    for report in each_vehicle(reports):
        agrees = worked and report.outcome is TrialOutcome.after_work
        shops[report.workshop.casefold()].append(0.0 if agrees else AGAINST[report.outcome])
    held = failed = 0.0
    for shop in sorted(shops):
        against, effect = math.fsum(shops[shop]), 1 + (len(shops[shop]) - 1) * LIKENESS
        held += (len(shops[shop]) - against) / effect
        failed += against / effect
    return held, failed


def each_vehicle(reports: Iterable[Report]) -> list[Report]:
    """One report for each vehicle of a workshop: its last word, the worst of those of one day."""
    last: dict[tuple[str, str, int], Report] = {}
    for report in sorted(reports, key=_report_key):
        last[report.workshop.casefold(), report.chassis_prefix, report.chassis_serial] = report
    return [last[key] for key in sorted(last)]


def _report_key(report: Report) -> tuple[object, ...]:
    return report.on, AGAINST[report.outcome], report.name


@lru_cache(maxsize=len(Grade))
def _promise(grade: Grade) -> float:
    return lower_bound(WORTH[grade], 1.0)


def lower_bound(a: float, b: float) -> float:
    """The share that a beta distribution (both parameters above 0) stays below with the chance `CHANCE`."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if below(middle, a, b) < CHANCE else (low, middle)
    return low


def below(share: float, a: float, b: float) -> float:
    """The chance that a beta distribution is below a share: the regularized incomplete beta function.

    By its continued fraction (NIST Digital Library of Mathematical Functions, 8.17.22). A library that has
    it would be the largest thing that a service loads, for this one function; tests hold both side by side.
    """
    if share <= 0 or share >= 1:
        return float(share >= 1)
    if share > (a + 1) / (a + b + 2):
        return 1 - below(1 - share, b, a)
    logarithm = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front = math.exp(logarithm + a * math.log(share) + b * math.log1p(-share)) / a
    return front * _fraction(share, a, b)


def _fraction(share: float, a: float, b: float) -> float:
    """The continued fraction, from its far end; terms enough for fifteen digits left of the mean."""
    value = 1.0
    for n in range(30 + int(6 * math.sqrt(max(a, b))), 0, -1):
        m = n // 2
        if n % 2:
            factor = -(a + m) * (a + b + m) / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            factor = m * (b - m) / ((a + 2 * m - 1) * (a + 2 * m))
        value = 1 + factor * share / value
    return 1 / value


LIKELY = 0.05
"""A pattern that chance makes more often than this is not proposed."""
MOST = 150
"""Vehicles of which every order is counted; of more, the strength is corrected by the number of splits
(Bonferroni), which never tells too much."""


@dataclass(frozen=True, slots=True)
class Break:
    """All or most failures are up to `before` (`early`), or from `after` on (else).

    `failed_low` of `low` vehicles up to `before` failed, `failed_high` of `high` from `after` on. `p` is the
    chance of so clear a split anywhere if the chassis number did not matter.
    """

    prefix: str
    before: int
    after: int
    low: int
    failed_low: int
    high: int
    failed_high: int
    p: float
    digits: int

    @property
    def last_low(self) -> str:
        """The chassis number of `before`."""
        return chassis_number(self.prefix, self.before, self.digits)

    @property
    def first_high(self) -> str:
        """The chassis number of `after`."""
        return chassis_number(self.prefix, self.after, self.digits)

    @property
    def early(self) -> bool:
        """The failures are among the earlier vehicles."""
        return self.failed_low * self.high > self.failed_high * self.low


def break_in(reports: Iterable[Report]) -> Break | None:
    """The clearest break in the failures of a claim, over all prefixes; None when chance explains it."""
    by_prefix: dict[str, list[Report]] = {}
    for report in each_vehicle(reports):
        by_prefix.setdefault(report.chassis_prefix, []).append(report)
    found = [one for prefix in sorted(by_prefix) if (one := _best(prefix, by_prefix[prefix]))]
    # Looking at several prefixes is a search too (Bonferroni).
    likely = [one for one in found if one.p * len(by_prefix) <= LIKELY]
    return min(likely, key=lambda one: (one.p, one.prefix), default=None)


def _best(prefix: str, reports: Sequence[Report]) -> Break | None:
    steps = _by_number(reports)
    vehicles, failures = sum(n for _, n, _ in steps), sum(f for _, _, f in steps)
    if not 0 < failures < vehicles:
        return None
    best: tuple[Fraction, int] | None = None
    passed = failed = 0
    at = (0, 0, 0, 0)
    for (before, n, f), (after, _, _) in pairwise(steps):
        passed, failed = passed + n, failed + f
        p = one_split(vehicles, failures, passed, failed)
        if best is None or p < best[0]:
            best, at = (p, passed), (before, after, passed, failed)
    if best is None:
        return None
    before, after, passed, failed = at
    places = _places(steps)
    counted = vehicles <= MOST
    widest = min(Fraction(1), best[0] * len(places))
    chance = anywhere(vehicles, failures, best[0], places) if counted else widest
    rest = vehicles - passed
    digits = max(report.digits for report in reports)
    return Break(prefix, before, after, passed, failed, rest, failures - failed, float(chance), digits)


def _by_number(reports: Sequence[Report]) -> list[tuple[int, int, int]]:
    """(serial, vehicles, failures) in the order of serials; two workshops may have seen the same one."""
    ordered = sorted(reports, key=lambda report: report.chassis_serial)
    groups = ((serial, list(some)) for serial, some in groupby(ordered, lambda r: r.chassis_serial))
    return [(serial, len(s), sum(r.outcome is TrialOutcome.did_not_fit for r in s)) for serial, s in groups]


def _places(steps: Sequence[tuple[int, int, int]]) -> set[int]:
    """After how many vehicles the order may be split: not between two reports of one number."""
    passed, places = 0, set()
    for _, n, _ in steps[:-1]:
        passed += n
        places.add(passed)
    return places


def one_split(vehicles: int, failures: int, passed: int, failed: int) -> Fraction:
    """The chance of a split at least so uneven, to whichever side: twice the smaller tail, at most 1."""
    least, most = max(0, failures - (vehicles - passed)), min(passed, failures)
    ways = [comb(passed, k) * comb(vehicles - passed, failures - k) for k in range(least, most + 1)]
    low, high = sum(ways[: failed - least + 1]), sum(ways[failed - least :])
    return min(Fraction(1), Fraction(2 * min(low, high), comb(vehicles, failures)))


def anywhere(vehicles: int, failures: int, p: Fraction, places: set[int]) -> Fraction:
    """The share of all orders in which some split has a chance of `p` or less: paths counted step by step."""
    paths = {0: 1}
    for passed in range(1, vehicles + 1):
        following: dict[int, int] = {}
        for failed, ways in paths.items():
            following[failed] = following.get(failed, 0) + ways
            if failed < failures:
                following[failed + 1] = following.get(failed + 1, 0) + ways
        if passed in places:
            following = {f: w for f, w in following.items() if one_split(vehicles, failures, passed, f) > p}
        paths = {f: w for f, w in following.items() if failures - f <= vehicles - passed}
    return 1 - Fraction(paths.get(failures, 0), comb(vehicles, failures))
