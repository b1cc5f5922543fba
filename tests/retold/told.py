"""What answers say, worked out again from the finished set alone.

Nothing here is imported from what says it: the meaning of the rules is the oracle's, the sums are done
here. A finished set is read off an answer's lines; every figure, word and reason is then held against it.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import chain, combinations
from typing import Any

from graftbook.closure.criteria import DEFAULT_PREFERENCE
from graftbook.closure.question import Question
from graftbook.rulebook.model import Claim, Companion, Effort, Fitment, Grade, RuleBook
from tests.closure.oracle import Best, Oracle

Facts = dict[str, Any]

GRADES = {
    "no evidence": 0, "hearsay": 1, "parts book": 2, "workshop manual": 3, "measured": 4, "trial fitted": 5,
    "built and driven": 6,
}  # fmt: skip


def minor(money: str | None) -> int | None:
    """ "12,345.67" as 1234567."""
    return None if money is None else round(float(money.replace(",", "")) * 100)


@dataclass
class Told:
    """One set of one answer, and everything in it that is not so."""

    book: RuleBook
    question: Question
    said: Facts
    wrong: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.oracle = Oracle(self.book, self.question)
        self.today = self.oracle.today
        changes = {c["position"]: c["component"] for c in self.said["changes"]}
        self.after = {**self.today, **changes}
        self.loose = {part["component"]: part["quantity"] for part in self.said["loose_parts"]}
        self.new = [p for p in self.oracle.places if self.after[p] != self.today[p]]

    def expect(self, what: str, said: Any, true: Any) -> None:
        if said != true:
            self.wrong.append(f"{what}: said {said!r}, is {true!r}")

    def fitment(self, position: str) -> Fitment | None:
        return self.oracle.fitment(position, self.after[position])

    # The lines ------------------------------------------------------------------------------

    def lines(self) -> None:
        """Each line against the records, and that there is one for each change and no other."""
        self.expect("lines", sorted(c["position"] for c in self.said["changes"]), sorted(self.new))
        for change in self.said["changes"]:
            place, fitment = change["position"], self.fitment(change["position"])
            self.expect(f"{place} replaces", change["replaces"], self.today[place])
            shows = self.oracle.visible(self.after[place]) or self.oracle.visible(self.today[place])
            self.expect(f"{place} shows", change["visible"], shows)
            self.expect(f"{place} minutes", change["minutes"], fitment.minutes if fitment else 0)
            put_back = fitment is None or fitment.effort < Effort.cutting
            self.expect(f"{place} can be put back", change["can_be_put_back"], put_back)
            self.expect(f"{place} price", minor(change["price"]), self.price_at(place))
        for part in self.said["loose_parts"]:
            each = self.oracle.price(part["component"])
            price = None if each is None else each * part["quantity"]
            self.expect(f"{part['component']} price", minor(part["price"]), price)
        stays = {p for p in self.oracle.places if self.after[p] and self.after[p] == self.today[p]}
        self.expect("stays", {s["position"] for s in self.said["stays"]}, stays)

    def price_at(self, place: str) -> int | None:
        each, fitment = self.oracle.price(self.after[place]), self.fitment(place)
        return None if each is None else each * (fitment.quantity if fitment else 1)

    # The sums -------------------------------------------------------------------------------

    def totals(self) -> None:
        """The totals, criterion by criterion."""
        said = self.said["totals"]
        fitments = [f for p in self.new if (f := self.fitment(p))]
        shows = [self.oracle.visible(self.after[p]) or self.oracle.visible(self.today[p]) for p in self.new]
        self.expect("changes", said["changes"], len(self.new))
        self.expect("visible", said["visible"], sum(shows))
        self.expect("labour", said["labour_minutes"], sum(f.minutes for f in fitments) + self.loose_minutes())
        self.expect("irreversible", said["irreversible"], len(self.cut_or_welded()))
        self.expect("cut or welded", sorted(said["cut_or_welded"]), self.cut_or_welded())
        self.expect("machined", sorted(said["machined"]), self.worked(Effort.machining))
        self.expect("price", minor(said["price"]), self.oracle.sum_price(self.after, self.loose))
        self.expect("unknown prices", sorted(said["unknown_prices"]), self.without_price())

    def loose_minutes(self) -> int:
        return sum(self.book.components[n].minutes * count for n, count in self.loose.items())

    def cut_or_welded(self) -> list[str]:
        """Every number in the set whose work cannot be put back, each time that it is."""
        return self.worked(Effort.cutting)

    def worked(self, effort: Effort) -> list[str]:
        fitted = [self.after[p] for p in self.new if (f := self.fitment(p)) and f.effort is effort]
        return sorted([*fitted, *(n for n in self.loose if self.book.components[n].effort is effort)])

    def without_price(self) -> list[str]:
        new = {self.after[p] for p in self.new if self.after[p]}
        return sorted(n for n in (new | set(self.loose)) if self.oracle.price(n) is None)

    def headline(self, sentence: str) -> None:
        """The sentence that sums the set up never says more or less than the set."""
        if not self.new and not self.loose:
            return
        count = re.search(r"(\d+) changes?,", sentence)
        self.expect("headline's changes", count and int(count[1]), len(self.new))
        self.expect("headline's cutting", "nothing cut or welded" in sentence, not self.cut_or_welded())
        self.expect("headline's machining", "machined" in sentence, bool(self.worked(Effort.machining)))
        unknown = self.without_price()
        missing = [number for number in unknown if number not in sentence]
        self.expect("headline's unknown prices", missing, [])

    # Flaws ----------------------------------------------------------------------------------

    def flaws(self) -> None:
        """Gone, left and brought, each flaw at each place."""
        gone, left, brought = set(), set(), set()
        for flaw in self.book.flaws:
            if not self.oracle.live(flaw):
                continue
            remedied = self.oracle.add_on(flaw, self.after, self.loose)
            for place in self.oracle.places:
                held = self.oracle.add_on(flaw, self.today, {})
                was = self.oracle.carries(flaw, place, self.today[place]) and not held
                now = self.oracle.carries(flaw, place, self.after[place]) and not remedied
                if now and not was:
                    brought.add((flaw.name, place))
                elif was:
                    (left if now else gone).add((flaw.name, place))
        for name, true in (("gone", gone), ("left", left), ("brought", brought)):
            said = {(note["flaw"], note["position"]) for note in self.said[f"flaws_{name}"]}
            self.expect(f"flaws {name}", said, true)

    # Reasons --------------------------------------------------------------------------------

    def reasons(self) -> None:
        """Every reason is a rule that the set makes bind, and leads back to a wish."""
        parent = {c["position"]: c["because"]["from_position"] for c in self.said["changes"]}
        for change in self.said["changes"]:
            for because in (change["because"], *change["also_needed_by"]):
                self.reason(change["position"], because)
            trail, at = [change["position"]], parent[change["position"]]
            while at and at not in trail:
                trail.append(at)
                at = parent.get(at)
            self.expect(f"{change['position']} leads back", at, None)
        for part in self.said["loose_parts"]:
            for because in (part["because"], *part["also_needed_by"]):
                self.reason(part["component"], because)

    def reason(self, what: str, because: Facts) -> None:
        source = because["from_position"]
        if because["cause"] == "companion":
            rules = [r for r in self.book.companions if r.name == because["name"]]
            asks = any(
                r.position in ("", source) and r.component in self.oracle.names(source, self.after[source])
                for r in rules
            )
            self.expect(f"{what}: {because['name']} is asked for by what is at {source}", asks, True)
        elif because["cause"] in ("wish", "flaw") and not source:
            return
        elif because["cause"] not in ("conflict", "joint", "budget", "pair", "flaw"):
            self.wrong.append(f"{what}: a reason of the kind {because['cause']}")

    def somewhere(self, because: Facts) -> str:
        """Where a reason points, if nothing is there that could ask; empty where something is.

        What brings a rule is new in this set. What asks sits there: today's where that stays, or was there
        before it made way.
        """
        here, kit, asks = because["from_position"], because["from_loose_part"], because["asking_position"]
        if here and here not in self.new:
            return f"{here}, where nothing is new"
        if kit and kit not in self.loose:
            return f"{kit}, which is not in the set"
        if (
            because["how"] in ("needs", "remedies", "makes way", "makes sure")
            and here
            and not self.after[here]
        ):
            return "" if because["cause"] == "budget" else f"{here}, which is empty"
        if because["how"] == "still needs" and (asks in self.new or not self.after.get(asks)):
            return f"{asks}, where nothing stays"
        if because["how"] == "left without" and not self.today.get(asks):
            return f"{asks}, where nothing was"
        return ""

    # Whole, and nothing to spare ------------------------------------------------------------

    def unsound(self) -> list[str]:
        """What is wrong with the set as a set: it breaks a rule or a limit, or holds a part to spare, or a
        reason that points nowhere."""
        lines = [(c["position"], c) for c in self.said["changes"]]
        lines += [(p["component"], p) for p in self.said["loose_parts"]]
        wrong = [
            f"{what}: {because['name']} points to {where}"
            for what, line in lines
            for because in (line["because"], *line["also_needed_by"])
            if (where := self.somewhere(because))
        ]
        own = self.of_its_own_parts()
        mine = (self.after, self.loose)
        if not any((dict(best.after), dict(best.loose)) == mine for _, best in own):
            return [*wrong, "it is not complete"]
        least = (
            dict(min(own, key=lambda pair: pair[0])[1].after),
            dict(min(own, key=lambda pair: pair[0])[1].loose),
        )
        return wrong if least == mine else [*wrong, f"it holds parts to spare: {least} would do"]

    def of_its_own_parts(self) -> list[tuple[tuple, Best]]:
        """Every set that can be made of this one's parts and of what is there today."""
        oracle = Oracle(self.book, self.question)
        oracle.can = {p: sorted({self.today[p], self.after[p]}, key=lambda n: n or "") for p in oracle.places}
        return [(key, best) for key, best in oracle.sets() if {n for n, _ in best.loose} <= set(self.loose)]

    def axes(self) -> tuple[tuple[int, int], int, int]:
        """What sets are compared by: the price (unknown ones first), what shows, and labour."""
        usual = replace(self.question, preference=DEFAULT_PREFERENCE)
        _, visible, _, _, unknown, price, labour, _ = Oracle(self.book, usual).score(self.after, self.loose)
        return (unknown, price), visible, labour

    # Claims ---------------------------------------------------------------------------------

    def claims(self) -> None:
        """The weakest claim, and every claim that nobody has confirmed."""
        claims = [f for p in self.new if (f := self.fitment(p))]
        claims += [
            r
            for p in self.new
            for r in self.book.companions
            if r.required and self.oracle.live(r) and r.position in ("", p)
            and r.component in self.oracle.names(p, self.after[p])
        ]  # fmt: skip
        claims += [*self.successions(), *self.rules_that_would_be_broken(), *self.remedies()]
        weakest = min((claim.grade for claim in claims), default=None)
        if weakest is None:
            self.expect("confidence", self.said["confidence"], None)
        else:
            self.expect("confidence", GRADES.get(self.said["confidence"]), int(weakest))
        unsure = {c.name for c in claims if c.grade < Grade.measured or not c.confirmed}
        self.expect("unconfirmed", {u["claim"] for u in self.said["unconfirmed"]}, unsure)

    def successions(self) -> Iterator[Claim]:
        """That a number without a fitment of its own stands in the stead of an older one."""
        for place in self.new:
            number, fitment = self.after[place], self.fitment(place)
            for one in self.book.supersessions if fitment and fitment.component != number else ():
                ends = (one.old, one.new)
                older = self.oracle.serves(fitment.component)
                if all(end in older and number in self.oracle.serves(end) for end in ends):
                    yield one

    def rules_that_would_be_broken(self) -> Iterator[Claim]:
        """The rules that the set would break if what is new in some places were not."""
        oracle = self.oracle
        for place in self.new:
            back = {**self.after, place: self.today[place]}
            apart = {name for name, agrees in oracle.joints(back) if agrees is False}
            apart |= {name for name, sure in oracle.conflicts(back, self.loose) if sure}
            yield from (r for r in (*self.book.joints, *self.book.conflicts) if r.name in apart)
            yield from (rule for rule in self.book.companions if self.lacks_what_it_had(rule, back))
        for some in chain.from_iterable(combinations(self.new, n) for n in range(len(self.new))):
            back = {**self.after, **{place: self.today[place] for place in some}}
            yield from (b for b in self.book.budgets if oracle.live(b) and not oracle._budget_holds(b, back))

    def lacks_what_it_had(self, rule: Companion, sitting: dict[str, str | None]) -> bool:
        """Whether something that stays has today what the rule asks for, and no longer here."""
        oracle = self.oracle
        if not rule.required or not oracle.live(rule) or any(a.loose for a in rule.alternatives):
            return False
        stays = any(
            self.after[p] == self.today[p] and rule.component in oracle.names(p, self.today[p])
            for p in ([rule.position] if rule.position else oracle.places)
        )
        held, holds = (any(oracle.met(s, a) for a in rule.alternatives) for s in (self.today, sitting))
        return stays and held and not holds

    def remedies(self) -> Iterator[Claim]:
        """What says that a flaw is gone: of an add-on the flaw itself, of another part the substitute."""
        oracle = self.oracle
        new = {self.after[p] for p in self.new} | set(self.loose)
        for flaw in filter(oracle.live, self.book.flaws):
            add_on = any(new & oracle.serves(number) for number in flaw.add_ons)
            for place in oracle.places:
                wished = oracle.wished(flaw) and oracle.section_wished(flaw, place)
                asked = wished and oracle.carries(flaw, place, self.today[place])
                has_it = oracle.carries(flaw, place, self.after[place])
                if has_it and add_on and (asked or place in self.new):
                    yield flaw
                for one in self.book.substitutes if asked and not has_it else ():
                    names = oracle.names(place, self.after[place])
                    if one.name in flaw.substitutes and one.component in names and oracle.live(one):
                        yield one

    def everything(self, sentence: str = "") -> list[str]:
        """All that is not so."""
        self.lines()
        self.totals()
        self.flaws()
        self.reasons()
        self.claims()
        if sentence:
            self.headline(sentence)
        return self.wrong


# Further sets -------------------------------------------------------------------------------------


def further_wrongs(book: RuleBook, question: Question, answer: Facts, asked: int) -> list[str]:
    """What is not so of an answer's further sets, and of how many of them there are."""
    told = [Told(book, question, said) for said in (answer["set"], *answer["other_sets"])]
    wrong = [
        f"set {i}: {w}" for i, one in enumerate(told[1:], 2) for w in (*one.everything(), *one.unsound())
    ]
    for (i, one), (j, other) in combinations(enumerate(told, 1), 2):
        if (one.after, one.loose) == (other.after, other.loose):
            wrong.append(f"sets {i} and {j} are one")
        mine, its = one.axes(), other.axes()
        pairs = list(zip(mine, its, strict=True))
        if not (any(a < b for a, b in pairs) and any(a > b for a, b in pairs)):
            wrong.append(f"sets {i} and {j}: one is no better than the other in anything, {mine} and {its}")
    fewer = len(told) - 1 < asked
    if fewer != bool(answer["fewer_other_sets"]):
        wrong.append(f"{len(told) - 1} of {asked} other sets, and why: {answer['fewer_other_sets']!r}")
    if len(told) - 1 > asked:
        wrong.append(f"more other sets than the {asked} asked for")
    return wrong


# Orders -----------------------------------------------------------------------------------------


def order_wrongs(order: Facts, told: Told) -> list[str]:
    """What an order says of its lines that its lines do not say."""
    wrong: list[str] = []

    def expect(what: str, said: Any, true: Any) -> None:
        if said != true:
            wrong.append(f"{what}: said {said!r}, is {true!r}")

    needed = dict(told.loose)
    for place in told.new:
        if (number := told.after[place]) and number not in told.question.on_the_bench:
            fitment = told.fitment(place)
            needed[number] = needed.get(number, 0) + (fitment.quantity if fitment else 1)
    for number in told.question.on_the_bench:
        needed.pop(number, None)
    bought = {line["number"]: line["quantity"] for line in order["lines"]}
    missing = {line["number"]: line["quantity"] for line in order["not_supplied"]}
    expect("bought and missing", {**bought, **missing}, needed)
    expect("both bought and missing", set(bought) & set(missing), set())
    expect("complete", order["complete"], not missing)
    expect("not bought", (order["not_bought"], order["lines_needed"]), (len(missing), len(needed)))
    expect("headline", "NOT bought" in order["headline"], bool(missing))
    parts = sum(minor(line["total"]) or 0 for line in order["lines"])
    way = order["reconciliation"]
    expect("parts of the answer", minor(way["answer_parts"]), told.oracle.sum_price(told.after, told.loose))
    steps = sum(minor(step["amount"]) or 0 for step in way["differences"])
    expect("from the answer's parts to the order's", (minor(way["answer_parts"]) or 0) + steps, parts)
    expect("parts", minor(order["totals"]["parts"]), parts)
    sums = sum(minor(order["totals"][name]) or 0 for name in ("parts", "carriage", "tax", "deposits"))
    expect("total", minor(order["totals"]["total"]), sums)
    for line in order["lines"]:
        expect(f"{line['number']} pieces", line["pieces"], line["packs"] * line["pack"])
        expect(f"{line['number']} enough", line["pieces"] >= line["quantity"], True)
        if line["lead_days"] is not None:
            there = date.fromisoformat(order["date"]) + timedelta(days=line["lead_days"])
            expect(f"{line['number']} arrives", line["arrives"], there.isoformat())
    for supplier in order["suppliers"]:
        mine = [line for line in order["lines"] if line["supplier"] == supplier["name"]]
        expect(f"{supplier['name']} lines", supplier["lines"], len(mine))
        expect(
            f"{supplier['name']} parts", minor(supplier["parts"]), sum(minor(x["total"]) or 0 for x in mine)
        )
    return wrong
