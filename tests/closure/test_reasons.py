"""The reason of each change, judged anew from the records: it binds in the finished set, its asking part sits
where it is said to sit, and its chain ends at what was asked.

The meaning of the rules comes from `oracle`; nothing here looks at how reasons are found.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import pytest

from graftbook.closure.answer import Because, Cause, ChangedTogether, How, Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.explain.reasons import WEIGHT, Link
from graftbook.closure.question import ClearPosition, FitComponent, Question, RemedyFlaw, RemedyFlaws
from graftbook.closure.words.wording import because_sentence, change_sentence
from graftbook.rulebook.model import Flaw, RuleBook, Side
from tests.closure.oracle import Oracle
from tests.closure.read_off import chain
from tests.closure.shelf import Shelf, at, changes, clash, loose, needs
from tests.closure.test_random_catalogues import seeds
from tests.closure.worlds import World


class Judge:
    """Whether a reason given for a place is one, in the finished set of one answer."""

    def __init__(self, book: RuleBook, question: Question, solution: Solution) -> None:
        self.o = Oracle(book, question)
        self.book, self.question = book, question
        self.before = dict(self.o.today)
        self.after = {p: solution.after[p] for p in self.o.places}
        for part in solution.loose:
            self.before["~" + part.component], self.after["~" + part.component] = None, part.component
        self.new = [p for p in self.after if self.after[p] != self.before[p]]
        self.records = {
            Cause.companion: {r.name: r for r in book.companions if r.required},
            Cause.conflict: {r.name: r for r in book.conflicts},
            Cause.joint: {r.name: r for r in book.joints},
            Cause.budget: {r.name: r for r in book.budgets},
            Cause.flaw: {r.name: r for r in book.flaws},
        }

    def is_reason(self, place: str, because: Because) -> bool:
        """Whether this is a reason for what is new at a place."""
        if place not in self.new or (because.parent and because.parent not in self.new):
            return False
        if because.parent == place:
            return False
        if not because.parent:
            return self._is_asked(place, because)
        if because.cause is Cause.pair:
            return self._is_pair(place, because)
        record = self.records[because.cause].get(because.name)
        if record is None or not self.o.live(record):
            return False
        judged = {
            Cause.companion: self._is_companion,
            Cause.conflict: self._is_conflict,
            Cause.joint: self._is_joint,
            Cause.budget: self._is_budget,
            Cause.flaw: self._is_flaw_brought,
        }
        return judged[because.cause](place, because, record)

    # What was asked -------------------------------------------------------------------------

    def _is_asked(self, place: str, because: Because) -> bool:
        if because.how is not How.asked:
            return False
        if because.cause is Cause.flaw:
            flaw = self.records[Cause.flaw].get(because.name)
            return flaw is not None and self.o.wished(flaw) and self._remedies(place, flaw)
        wishes = [w for w in self.question.wishes if w.name == because.name]
        return because.cause is Cause.wish and any(self._fulfils(place, w) for w in wishes)

    def _fulfils(self, place: str, wish) -> bool:
        match wish:
            case FitComponent():
                return wish.position in ("", place) and self.after[place] in self.o.serves(wish.component)
            case ClearPosition():
                return place == wish.position and self.after[place] is None
            case RemedyFlaw():
                return self._remedies(place, self.records[Cause.flaw][wish.flaw])
            case RemedyFlaws():
                return False
        return False

    def _remedies(self, place: str, flaw: Flaw) -> bool:
        if not self.o.live(flaw):
            return False
        if any(self.after[place] in self.o.serves(a) for a in flaw.add_ons):
            return True
        was = self.o.carries(flaw, place, self.before[place])
        return was and not self.o.carries(flaw, place, self.after[place])

    # What the rules ask ---------------------------------------------------------------------

    def _meets(self, alternative, place: str, number: str | None) -> bool:
        if alternative.loose or place[0] == "~":
            same = alternative.loose or not (alternative.position or alternative.having or alternative.empty)
            return place[0] == "~" and same and number in self.o.serves(alternative.component)
        if alternative.position not in ("", place):
            return False
        if alternative.empty:
            return number is None
        if alternative.having:
            return self.o.has(number, alternative.having) is True
        return number is not None and number in self.o.serves(alternative.component)

    def _met_at(self, rule, place: str, number: str | None) -> bool:
        return any(self._meets(a, place, number) for a in rule.alternatives)

    def _speaks(self, rule, place: str, number: str | None) -> bool:
        return (
            place[0] != "~" and rule.position in ("", place) and rule.component in self.o.names(place, number)
        )

    def _is_companion(self, place: str, because: Because, rule) -> bool:
        answers = self._met_at(rule, place, self.after[place]) and not self._met_at(
            rule, place, self.before[place]
        )
        if because.how is How.needs:
            return answers and self._speaks(rule, because.parent, self.after[because.parent])
        lost = self._met_at(rule, because.parent, self.before[because.parent])
        if because.how is How.still_needs:
            stays = because.asking not in self.new and self._speaks(
                rule, because.asking, self.after[because.asking]
            )
            return answers and stays and lost
        if because.how is not How.left_without or because.asking != place:
            return False
        had_stayed = {**self.after, place: self.before[place]}
        met = any(self._met_at(rule, p, n) for p, n in had_stayed.items() if p not in self.new or p == place)
        return self._speaks(rule, place, self.before[place]) and lost and not met

    def _on(self, side: Side, place: str, number: str | None) -> bool | None:
        if place[0] == "~":
            return self.o.loose_side(side, number)
        return self.o.side(side, place, number)

    def _is_conflict(self, place: str, because: Because, rule) -> bool:
        sure = False
        for one, other in ((rule.one, rule.other), (rule.other, rule.one)):
            mine = self._on(one, place, self.before[place])
            theirs = self._on(other, because.parent, self.after[because.parent])
            if because.how is How.makes_way:
                sure = sure or bool(mine and theirs)
            else:
                sure = sure or (mine is not False and theirs is not False and None in (mine, theirs))
        return sure and because.how in (How.makes_way, How.makes_sure)

    def _is_joint(self, place: str, because: Because, joint) -> bool:
        sides = {place: self.before[place], because.parent: self.after[because.parent]}
        if set(sides) != {joint.position, joint.other_position} or None in sides.values():
            return False
        one = self.o.value(sides[joint.position], joint.kind)
        other = self.o.value(sides[joint.other_position], joint.other_kind)
        agrees = self.o.compare(one, joint.comparator, other, joint.margin)
        if because.how is How.makes_sure:
            return agrees is None
        wanted = How.makes_way if self.after[place] is None else How.needs
        return agrees is False and because.how is wanted

    def _is_pair(self, place: str, because: Because) -> bool:
        pairs = {self.book.positions[p].pair for p in (place, because.parent) if p[0] != "~"}
        after, was = self.after[because.parent], self.before[place]
        together = len(pairs) == 1 and "" not in pairs and because.name in pairs
        return together and because.how is How.together and was != after and not self.o.twins(was, after)

    def _is_budget(self, place: str, because: Because, budget) -> bool:
        def gives(p: str, number: str | None) -> float:
            supply, demand = (
                self.o.value(number, budget.supply_kind),
                self.o.value(number, budget.demand_kind),
            )
            net = (supply.low * budget.usable if supply else 0.0) - (demand.high if demand else 0.0)
            fitment = self.o.fitment(p, number)
            return net * (fitment.quantity if fitment else 1)

        inside = [p for p in self.o.places if budget.circuit in ("", self.book.positions[p].circuit)]
        if place not in inside or because.parent not in inside:
            return False
        change = {p: gives(p, self.after[p]) - gives(p, self.before[p]) for p in inside}
        total = sum(gives(p, self.after[p]) for p in inside)
        without = total - sum(more for more in change.values() if more > 0)
        return change[place] > 0 and change[because.parent] != 0 and without < 0

    def _is_flaw_brought(self, place: str, because: Because, flaw: Flaw) -> bool:
        parent = because.parent
        carries = parent[0] != "~" and self.o.carries(flaw, parent, self.after[parent])
        there = any(self.after[place] in self.o.serves(a) for a in flaw.add_ons)
        return carries and there and because.how is How.remedies

    # Everything -----------------------------------------------------------------------------

    def explained_by_what_binds(self) -> set[str]:
        """The places that can be told without the rule of a part that goes."""
        found: set[str] = set()
        while True:
            more = {p for p in self.new if p not in found and self._explained(p, found)}
            if not more:
                return found
            found |= more

    def _explained(self, place: str, known: set[str]) -> bool:
        return any(self.is_reason(place, b) for b in self._every_reason(known))

    def _every_reason(self, parents: set[str]) -> Iterator[Because]:
        for wish in self.question.wishes:
            yield Because(Cause.wish, wish.name, wish, how=How.asked)
        for flaw in self.book.flaws:
            yield Because(Cause.flaw, flaw.name, flaw, how=How.asked)
        for parent in sorted(parents):
            for pair in {p.pair for p in self.book.positions.values()}:
                yield Because(Cause.pair, pair, ChangedTogether(parent, ""), parent, how=How.together)
            for cause, records in self.records.items():
                for name, rule in records.items():
                    for how in How:
                        if how is How.still_needs:
                            for asking in self.o.places:
                                yield Because(cause, name, rule, parent, how=how, asking=asking)
                        elif how is not How.left_without:
                            yield Because(cause, name, rule, parent, how=how, asking=parent)


def reasons_in(solution: Solution) -> dict[str, tuple[Because, tuple[Because, ...]]]:
    found = {c.position: (c.because, c.also_needed_by) for c in solution.changes}
    return found | {"~" + p.component: (p.because, p.also_needed_by) for p in solution.loose}


@pytest.mark.parametrize("block", range(4))
def test_every_reason_binds_in_the_finished_set_and_its_chain_ends_at_what_was_asked(block: int) -> None:
    told: Counter[tuple[Cause, How | None]] = Counter()
    for seed in seeds(60_000_000 + block * 1_000_000, 400):
        world = World(seed, dense=(0.7, 1.0, 1.6, 2.2)[block])
        book, question = world.book(), replace(world.question(), alternatives=2 * (seed % 4 == 0))
        answer = answer_question(book, question, next_bests=False)
        for solution in (answer.solution, *answer.others) if answer.solution else ():
            judge, reasons = Judge(book, question, solution), reasons_in(solution)
            assert set(reasons) == set(judge.new), seed
            for place, (first, also) in reasons.items():
                assert judge.is_reason(place, first), (seed, place, first)
                for because in also:
                    assert because.how is not How.left_without, (seed, place, because)
                    assert judge.is_reason(place, because), (seed, place, because)
                told[first.cause, first.how] += 1
                ends_at_what_was_asked(reasons, place, seed)
            left = {p for p, (first, _) in reasons.items() if first.how is How.left_without}
            if left:
                assert not left & judge.explained_by_what_binds(), (seed, left)
    assert {how for _, how in told} >= {How.asked, How.needs}, told
    assert len(told) >= 5, told


def ends_at_what_was_asked(reasons: dict[str, tuple], place: str, seed: int) -> None:
    seen = {place}
    while parent := reasons[place][0].parent:
        assert parent not in seen, seed
        seen.add(parent)
        place = parent
    assert reasons[place][0].cause in (Cause.wish, Cause.flaw), seed


# As a fitter reads them ---------------------------------------------------------------------------


def discs() -> Shelf:
    """Shoes that run in a drum, and a disc that runs in a caliper: both rules speak of one position."""
    shelf = Shelf(brake="shoes caliper", rotor="drum disc", spring="coil ?").kit("fluid")
    return shelf.add(
        "companions",
        needs("a shoes rule", "shoes", at("drum", "rotor")),
        needs("caliper rule", "disc", at("caliper", "brake")),
        needs("fluid rule", "caliper", loose("fluid", 2)),
    )


def test_the_rule_of_a_part_that_goes_is_not_the_reason_of_what_comes() -> None:
    shelf = discs()
    answer = shelf.ask("disc")
    (caliper,) = (c for c in answer.solution.changes if c.position == "brake")
    assert (caliper.because.name, caliper.because.parent, caliper.also_needed_by) == (
        "caliper rule",
        "rotor",
        (),
    )
    told = change_sentence(shelf.book(), caliper)
    assert (
        told
        == "The brake: caliper (part caliper) in place of shoes. The rotor needs it: caliper rule says so."
    )
    assert [b.name for b in chain(answer.solution, "brake")] == ["caliper rule", "wish: fit disc"]


def test_where_nothing_else_asks_the_old_part_goes_because_what_it_needs_is_gone() -> None:
    shelf = Shelf(rotor="drum disc", spring="coil ?").add(
        "companions", needs("spring rule", "coil", at("drum", "rotor"))
    )
    answer = shelf.ask("disc")
    assert changes(answer) == {"rotor": "disc", "spring": None}
    (spring,) = (c for c in answer.solution.changes if c.position == "spring")
    assert (spring.because.how, spring.because.parent) == (How.left_without, "rotor")
    assert because_sentence(shelf.book(), spring.because) == (
        "The old part goes because what it needs at the rotor is gone: spring rule says so."
    )


def test_what_stays_asks_for_another_when_what_it_had_goes() -> None:
    shelf = Shelf(lamp="lamp", feed="dynamo pump", spare="- alternator ?")
    shelf.add("companions", needs("lamp rule", "lamp", at("dynamo", "feed"), at("alternator", "spare")))
    answer = shelf.ask("pump")
    (spare,) = (c for c in answer.solution.changes if c.position == "spare")
    assert (spare.because.how, spare.because.parent, spare.because.asking) == (
        How.still_needs,
        "feed",
        "lamp",
    )
    assert because_sentence(shelf.book(), spare.because) == (
        "The lamp stays and needs it, now that the feed has changed: lamp rule says so."
    )


def test_what_makes_way_for_a_loose_part_names_the_part() -> None:
    shelf = Shelf(seal="rubber ?").kit("oil").add("conflicts", clash("oil rule", "rubber", "oil"))
    answer = shelf.ask("oil")
    (seal,) = answer.solution.changes
    assert because_sentence(shelf.book(), seal.because) == (
        "The old part makes way for oil (part oil): oil rule says so."
    )
    assert [b.name for b in chain(answer.solution, "seal")] == ["oil rule", "wish: fit oil"]


def test_of_equally_short_reasons_that_which_says_most_is_told_first():
    """What nothing ranks comes last, whatever it is called."""
    flaw = RemedyFlaw("a")
    ranked = [
        Link("p", Because(Cause.companion, name, flaw, "x", how=how), 0)
        for name, how in zip("zyxwv", WEIGHT, strict=True)
    ]
    unranked = Link("p", Because(Cause.flaw, "a", flaw, "x", how=How.remedies), 0)
    assert sorted([unranked, *reversed(ranked)], key=lambda link: link.order) == [*ranked, unranked]
