"""The grade of a claim, from its sources and from what workshops reported.

How often a claim holds is taken as a share between 0 and 1 of which a beta distribution says what is known
(the beta-binomial model: Gelman et al., *Bayesian Data Analysis*, 3rd ed., 2013, section 2.4). A kind of
source is worth so many vehicles on which the claim held (`WORTH`), and every claim begins with one on which
it did not; reports add to either side. The grade is read off the share that the claim reaches with nine
chances in ten: the highest kind of source that promises no more by itself.

Reports of one workshop are no independent trials: the same hands, the same way of measuring. `n` vehicles of
one workshop count as `n / (1 + (n - 1) × LIKENESS)`, the design effect of a sample taken in clusters (Kish,
*Survey Sampling*, 1965, section 8.2): however many it reports, they never count as three of others.
"""

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from graftbook.rulebook.evidence import Evidence, Grade, Outcome, Report

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
AGAINST = {Outcome.fitted: 0.0, Outcome.after_work: 0.5, Outcome.did_not_fit: 1.0}
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


def of_sources(evidence: Iterable[Evidence]) -> Grade:
    """The best undisputed piece of evidence; hearsay when every piece is disputed."""
    pieces = list(evidence)
    undisputed = [piece.grade for piece in pieces if not piece.disputed]
    return max(undisputed, default=Grade.hearsay if pieces else Grade.none)


@lru_cache(maxsize=4096)
def standing(evidence: tuple[Evidence, ...], reports: tuple[Report, ...], worked: bool) -> Standing:
    """How a claim stands. `worked`: it says itself that there is work to do, so work is no contradiction."""
    sources = of_sources(evidence)
    held, failed = tally(reports, worked)
    share = lower_bound(WORTH[sources] + held, 1.0 + failed)
    if not held + failed:
        return Standing(sources, sources, held, failed, share)
    reached = max((grade for grade in Grade if _promised(grade) <= share + 1e-9), default=Grade.none)
    # Fitting is not driving; and what somebody fitted or wrote is talk at least, however many failed.
    least = Grade.hearsay if held or sources else Grade.none
    return Standing(max(least, min(reached, max(sources, Grade.trial_fitted))), sources, held, failed, share)


def tally(reports: Iterable[Report], worked: bool = False) -> tuple[float, float]:
    """(held, failed): the vehicles on either side, those of one workshop discounted for their likeness."""
    shops: dict[str, list[float]] = defaultdict(list)
    for report in each_vehicle(reports):
        agrees = worked and report.outcome is Outcome.after_work
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
    for report in sorted(reports, key=_said):
        last[report.workshop.casefold(), report.chassis_prefix, report.chassis_serial] = report
    return [last[key] for key in sorted(last)]


def _said(report: Report) -> tuple[object, ...]:
    return report.on, AGAINST[report.outcome], report.name


@lru_cache(maxsize=len(Grade))
def _promised(grade: Grade) -> float:
    return lower_bound(WORTH[grade], 1.0)


def lower_bound(a: float, b: float, chance: float = CHANCE) -> float:
    """The share that a beta distribution (both parameters above 0) stays below with this chance."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if below(middle, a, b) < chance else (low, middle)
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
