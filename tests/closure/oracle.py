"""The meaning of the rules written a second time, as plainly as possible, over every possible set.

It shares nothing with the closure but the records. Slow on purpose: it tries everything.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, combinations, product

from graftbook.closure.criteria import DEFAULT_PREFERENCE, Criterion
from graftbook.closure.question import ClearPosition, FitComponent, Question, RemedyFlaw, RemedyFlaws
from graftbook.rulebook.model import Comparator, Effort, RuleBook, Supply

Sitting = dict[str, str | None]


@dataclass(frozen=True)
class Best:
    """The best set: its figures in the order of preference, what sits where, loose quantities."""

    score: tuple[int, ...]
    after: tuple[tuple[str, str | None], ...]
    loose: tuple[tuple[str, int], ...]


class Oracle:
    def __init__(self, book: RuleBook, question: Question) -> None:
        self.book, self.q = book, question
        self.places = sorted(book.positions)
        self.live = lambda claim: claim.when.holds(question.vehicle)
        self.fit = self._fitments()
        self.today = self._today()
        self.can = {p: self._options(p) for p in self.places}

    # The vehicle ----------------------------------------------------------------------------

    def current(self, n: str) -> bool:
        return n in self.book.components and self.book.components[n].supply is Supply.current

    def obtainable(self, n: str) -> bool:
        return self.current(n) or n in self.q.on_the_bench

    def serves(self, n: str) -> set[str]:
        found, changed = {n}, True
        while changed:
            changed = False
            for s in self.book.supersessions:
                steps = [(s.old, s.new), (s.new, s.old)] if s.both_ways else [(s.old, s.new)]
                for old, new in steps:
                    if old in found and new not in found and (s.both_ways or not self.current(old)):
                        found.add(new)
                        changed = True
        return found

    def _fitments(self) -> dict:
        found: dict = {p: {} for p in self.places}
        for f in sorted(self.book.fitments, key=lambda f: (f.effort, f.minutes, f.name)):
            if self.live(f):
                found[f.position].setdefault(f.component, f)
        return found

    def _today(self) -> Sitting:
        today: Sitting = {}
        for p in self.places:
            new = [f for f in self.book.fitments if f.position == p and f.from_new and self.live(f)]
            new.sort(key=lambda f: (f.effort, f.minutes, f.name))
            today[p] = new[0].component if new else None
        return {**today, **self.q.fitted}

    def fitment(self, p: str, n: str | None):
        """The fitment that speaks for n at p: its own, else its predecessor's."""
        if n is None:
            return None
        if n in self.fit[p]:
            return self.fit[p][n]
        older = [f for o, f in self.fit[p].items() if n in self.serves(o)]
        return min(older, key=lambda f: (f.effort, f.minutes, f.name)) if older else None

    def names(self, p: str, n: str | None) -> set[str]:
        if n is None:
            return set()
        if n in self.fit[p]:
            return {n}
        older = [o for o in self.fit[p] if n in self.serves(o)]
        between = {
            m
            for m in self.book.components
            if m not in self.fit[p] and n in self.serves(m) and any(m in self.serves(o) for o in older)
        }
        return {n, *older, *between}

    def _options(self, p: str) -> list[str | None]:
        found: set[str | None] = {self.today[p]}
        for o in self.fit[p]:
            found |= {n for n in self.serves(o) if self.obtainable(n)}
        if not self.book.positions[p].essential:
            found.add(None)
        return sorted(found, key=lambda c: c or "")

    # Values ---------------------------------------------------------------------------------

    def value(self, n: str | None, kind: str):
        return self.book.components[n].characteristics.get(kind) if n in self.book.components else None

    def compare(self, a, comparator, b, margin: float = 0.0) -> bool | None:
        if a is None or b is None:
            return None
        if (a.text is None) != (b.text is None):
            return None
        if a.text is not None:
            if comparator is not Comparator.equal:
                return None
            return a.text == b.text or "either" in (a.text, b.text)
        near = 1e-9 * max(abs(a.low), abs(b.low))
        if comparator is Comparator.equal:
            return max(abs(a.low - b.low), abs(a.high - b.high)) <= margin + near
        if comparator is Comparator.at_least:
            return a.low >= b.high + margin - near
        if comparator is Comparator.at_most:
            return a.high <= b.low - margin + near
        return b.low - near <= a.low and a.high <= b.high + near

    def has(self, n: str | None, having) -> bool | None:
        if n is None:
            return False
        verdicts = [self.compare(self.value(n, w.kind), w.comparator, w.value) for w in having]
        return False if False in verdicts else None if None in verdicts else True

    # One set --------------------------------------------------------------------------------

    def met(self, after: Sitting, alternative) -> bool:
        if alternative.loose:
            return False
        if alternative.empty:
            return after.get(alternative.position) is None
        if alternative.having:
            return self.has(after[alternative.position], alternative.having) is True
        where = [alternative.position] if alternative.position else self.places
        return any(after[p] in self.serves(alternative.component) for p in where)

    def side(self, side, p: str, n: str | None) -> bool | None:
        if n is None or side.position not in ("", p):
            return False
        return side.component in self.names(p, n) if side.component else self.has(n, side.having)

    def loose_side(self, side, n: str) -> bool:
        return bool(side.component) and not side.position and n in self.serves(side.component)

    def is_new(self, after: Sitting, p: str) -> bool:
        return after[p] != self.today[p]

    def fixed_rules_hold(self, after: Sitting) -> bool:
        """Everything that loose parts cannot change."""
        return (
            self._staying_hold(after)
            and self._pairs_hold(after)
            and all(self._budget_holds(b, after) for b in self.book.budgets if self.live(b))
            and False not in (v for _, v in self.joints(after))
            and all(sure is None for _, sure in self.conflicts(after, ()))
        )

    def _staying_hold(self, after: Sitting) -> bool:
        for r in self.book.companions:
            if not r.required or not self.live(r) or any(a.loose for a in r.alternatives):
                continue
            for p in self.places if not r.position else [r.position]:
                if self.is_new(after, p) or r.component not in self.names(p, after[p]):
                    continue
                held = any(self.met(self.today, a) for a in r.alternatives)
                if held and not any(self.met(after, a) for a in r.alternatives):
                    return False
        return True

    def _pairs_hold(self, after: Sitting) -> bool:
        for p, q in product(self.places, self.places):
            pair = self.book.positions[p].pair
            if p == q or not pair or self.book.positions[q].pair != pair or not self.is_new(after, p):
                continue
            if after[p] != after[q] and not self.twins(after[p], after[q]):
                return False
        return True

    def twins(self, one: str | None, other: str | None) -> bool:
        parts = self.book.components
        return bool(one and other) and (parts[one].twin == other or parts[other].twin == one)

    def _budget_holds(self, b, after: Sitting) -> bool:
        inside = [p for p in self.places if b.circuit in ("", self.book.positions[p].circuit)]

        def gives(sitting: Sitting, p: str) -> float:
            n = sitting[p]
            supply, demand = self.value(n, b.supply_kind), self.value(n, b.demand_kind)
            lasts = self._lasting(n) if b.demand_kind == "current_drawn" else 1.0
            net = (supply.low * b.usable if supply else 0.0) - (demand.high * lasts if demand else 0.0)
            fitment = self.fitment(p, n)
            return net * (fitment.quantity if fitment else 1)

        before = [gives(self.today, p) for p in inside]
        now = [gives(after, p) for p in inside]
        return sum(now) >= 0 or (before == now and sum(before) < 0)

    def _lasting(self, number: str | None) -> float:
        """A brief load counts for nothing, any load that records its share with that."""
        share, time = self.value(number, "load_share"), self.value(number, "load_time")
        if share is not None:
            return share.high
        return 0.0 if time is not None and time.text == "brief" else 1.0

    def joints(self, after: Sitting) -> Iterator[tuple[str, bool | None]]:
        for j in self.book.joints:
            p, o = j.position, j.other_position
            if self.live(j) and after[p] and after[o] and (self.is_new(after, p) or self.is_new(after, o)):
                a, b = self.value(after[p], j.kind), self.value(after[o], j.other_kind)
                yield j.name, self.compare(a, j.comparator, b, j.margin)

    def conflicts(self, after: Sitting, loose) -> Iterator[tuple[str, bool | None]]:
        """Conflicts met: True surely; None when a value is missing."""
        things = [(p, n, self.is_new(after, p)) for p, n in after.items() if n] + [
            ("~" + n, n, True) for n in loose
        ]
        for c in self.book.conflicts:
            if not self.live(c):
                continue
            for (p, n, new), (q, m, other_new) in product(things, things):
                if p == q or not (new or other_new):
                    continue
                one = self.loose_side(c.one, n) if p[0] == "~" else self.side(c.one, p, n)
                two = self.loose_side(c.other, m) if q[0] == "~" else self.side(c.other, q, m)
                if one is not False and two is not False:
                    yield c.name, True if one and two else None

    def loose_demands(self, after: Sitting) -> list[tuple[tuple, list[tuple[str, int]], str]] | None:
        """Demands that nothing fitted meets: key, loose choices, and of whose quantities the greatest counts
        once (empty: it adds up); None: not satisfiable."""
        found = []
        for r in self.book.companions:
            if not r.required or not self.live(r):
                continue
            for p in self.places if not r.position else [r.position]:
                if not self.is_new(after, p) or r.component not in self.names(p, after[p]):
                    continue
                if not any(self.met(after, a) for a in r.alternatives):
                    choices = [
                        (n, a.quantity)
                        for a in r.alternatives
                        if a.loose
                        for n in self.serves(a.component)
                        if self.obtainable(n)
                    ]
                    found.append((("companion", r.name, p), choices, "rules" * r.one_serves_all))
        for w in self.q.wishes:
            if isinstance(w, FitComponent) and not self.fit_met(after, w):
                loose = not w.position and self.book.components[w.component].loose
                choices = [(n, w.quantity) for n in self.serves(w.component) if loose and self.obtainable(n)]
                found.append((("wish", w.name, ""), choices, "wishes"))
            if isinstance(w, ClearPosition) and after[w.position] is not None:
                return None
        return None if any(not choices for _, choices, _ in found) else sorted(found)

    def fit_met(self, after: Sitting, w: FitComponent) -> bool:
        where = [w.position] if w.position else self.places
        return any(after[p] in self.serves(w.component) for p in where)

    def flaws_unremedied(self, after: Sitting, loose: set[str]) -> bool:
        for f in self.book.flaws:
            if not self.live(f) or not self.wished(f):
                continue
            for p in self.places:
                here = self.carries(f, p, self.today[p]) and self.section_wished(f, p)
                if here and self.carries(f, p, after[p]) and not self.add_on(f, after, loose):
                    return True
        return False

    def carries(self, f, p: str, number: str | None) -> bool:
        names = self.names(p, number)
        return any(flawed in names for flawed in [f.component, *f.also_of])

    def wished(self, f) -> bool:
        return any(
            (isinstance(w, RemedyFlaw) and w.flaw == f.name)
            or (isinstance(w, RemedyFlaws) and f.severity >= w.at_least)
            for w in self.q.wishes
        )

    def section_wished(self, f, p: str) -> bool:
        return any(
            (isinstance(w, RemedyFlaw) and w.flaw == f.name)
            or (
                isinstance(w, RemedyFlaws)
                and f.severity >= w.at_least
                and w.section in ("", self.book.positions[p].section)
            )
            for w in self.q.wishes
        )

    def add_on(self, f, after: Sitting, loose) -> bool:
        numbers = set(chain.from_iterable(self.serves(a) for a in f.add_ons))
        return any(c in numbers for c in after.values()) or any(n in numbers for n in loose)

    # Limits and figures ---------------------------------------------------------------------

    def price(self, n: str | None) -> int | None:
        return 0 if n is None or n in self.q.on_the_bench else self.book.components[n].price

    def work(self, n: str) -> Effort:
        """The work that a loose part asks for."""
        return self.book.components[n].effort

    def visible(self, n: str | None) -> bool:
        return n is not None and self.book.components[n].visible

    def within_limits(self, after: Sitting, loose: dict[str, int]) -> bool:
        limits = self.q.limits
        new = [p for p in self.places if self.is_new(after, p)]
        for p in new:
            n, f = after[p], self.fitment(p, after[p])
            if p in limits.keep or self.book.positions[p].section in limits.keep_sections:
                return False
            if n in limits.refuse or (f and f.effort > limits.effort_at_most):
                return False
            if limits.nothing_visible and (self.visible(n) or self.visible(self.today[p])):
                return False
        if set(loose) & limits.refuse or any(self.work(n) > limits.effort_at_most for n in loose):
            return False
        if limits.price_at_most is None:
            return True
        unknown = [n for n in (*(after[p] for p in new), *loose) if self.price(n) is None]
        return not unknown and self.sum_price(after, loose) <= limits.price_at_most

    def sum_price(self, after: Sitting, loose: dict[str, int]) -> int:
        parts = sum(
            (self.price(after[p]) or 0) * self.fitment(p, after[p]).quantity
            for p in self.places
            if self.is_new(after, p) and after[p]
        )
        return parts + sum((self.price(n) or 0) * q for n, q in loose.items())

    def score(self, after: Sitting, loose: dict[str, int]) -> tuple[int, ...]:
        new = [p for p in self.places if self.is_new(after, p)]
        fitments = [f for p in new if (f := self.fitment(p, after[p])) is not None]
        rules = [
            r
            for r in self.book.companions
            if r.required and self.live(r) and not r.confirmed
            for p in new
            if r.position in ("", p) and r.component in self.names(p, after[p])
        ]
        undetermined = {n for n, v in self.joints(after) if v is None}
        undetermined |= {n for n, v in self.conflicts(after, loose) if v is None}
        flaws = sum(
            f.severity
            for p in new
            for f in self.book.flaws
            if self.live(f) and self.carries(f, p, after[p]) and not self.add_on(f, after, loose)
        )
        unknown = [n for n in (*(after[p] for p in new), *loose) if n and self.price(n) is None]
        figures = {
            Criterion.irreversible: (
                sum(f.effort is Effort.cutting for f in fitments)
                + sum(self.work(n) is Effort.cutting for n in loose),
            ),
            Criterion.visible: (sum(self.visible(after[p]) or self.visible(self.today[p]) for p in new),),
            Criterion.changes: (len(new),),
            Criterion.flaws: (flaws,),
            Criterion.price: (len(unknown), self.sum_price(after, loose)),
            Criterion.labour: (
                sum(f.minutes for f in fitments)
                + sum(self.book.components[n].minutes * q for n, q in loose.items()),
            ),
            Criterion.unconfirmed: (sum(not f.confirmed for f in fitments) + len(rules) + len(undetermined),),
        }
        order = dict.fromkeys((*self.q.preference, *DEFAULT_PREFERENCE))
        return tuple(x for criterion in order for x in figures[criterion])

    # Everything -----------------------------------------------------------------------------

    def sets(self) -> Iterator[tuple[tuple, Best]]:
        """Every valid set with its sort key."""
        kits = sorted(n for n, c in self.book.components.items() if c.loose)
        add_ons = {n for f in self.book.flaws if self.live(f) for a in f.add_ons for n in self.serves(a)}
        extras = [n for n in kits if n in add_ons and self.obtainable(n)]
        for values in product(*(self.can[p] for p in self.places)):
            after = dict(zip(self.places, values, strict=True))
            if not self.fixed_rules_hold(after) or (demands := self.loose_demands(after)) is None:
                continue
            for picks in product(*(choices for _, choices, _ in demands)):
                for some in chain.from_iterable(combinations(extras, k) for k in range(len(extras) + 1)):
                    loose = self.quantities(demands, picks, some)
                    if loose is None or self.flaws_unremedied(after, set(loose)):
                        continue
                    if any(v for _, v in self.conflicts(after, loose)) or not self.within_limits(
                        after, loose
                    ):
                        continue
                    score = self.score(after, loose)
                    tie = (
                        sum(loose.values()),
                        tuple(c or "" for c in values),
                        tuple(n if n in loose else "" for n in kits),
                        tuple(n for n, _ in picks),
                    )
                    yield (score, tie), Best(score, tuple(after.items()), tuple(sorted(loose.items())))

    def quantities(self, demands, picks, some) -> dict[str, int] | None:
        added: dict[str, int] = {}
        shared: dict[tuple[str, str], int] = {}
        for (_, _, once), (n, q) in zip(demands, picks, strict=True):
            if once:
                shared[once, n] = max(shared.get((once, n), 0), q)
            else:
                added[n] = added.get(n, 0) + q
        for (_, n), q in shared.items():
            added[n] = added.get(n, 0) + q
        loose = added
        if any(n in loose for n in some):
            return None  # ordered already
        return {**loose, **dict.fromkeys(some, 1)}

    def best(self) -> Best | None:
        """The best set, or None when no set exists."""
        return min(self.sets(), key=lambda pair: pair[0], default=(None, None))[1]
