"""Whether the failures of a claim lie on one side of a chassis number, and how strong that pattern is.

The vehicles are put in the order of their chassis numbers and split in two at every place between them. Of
each split, Fisher's exact test says how likely chance alone would put the failures so far to that side (R. A.
Fisher, *Statistical Methods for Research Workers*, 5th ed., 1934, section 21.02). Looking for the best of
many splits finds one more easily, so the strength told is corrected for the search, exactly: it is the share
of all orders of the same outcomes in which some split looks as good (Koziol, *On maximally selected
chi-square statistics*, Biometrics 47, 1991, 1557-1561). Whole numbers throughout; nothing is drawn by lot.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from math import comb

from graftbook.rulebook.evidence import Outcome, Report
from graftbook.rulebook.grading import each_vehicle

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
        return f"{self.prefix}-{self.before:0{self.digits}d}"

    @property
    def first_high(self) -> str:
        """The chassis number of `after`."""
        return f"{self.prefix}-{self.after:0{self.digits}d}"

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
    return [(serial, len(s), sum(r.outcome is Outcome.did_not_fit for r in s)) for serial, s in groups]


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
