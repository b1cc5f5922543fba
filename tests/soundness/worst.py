"""Catalogues and questions made to be as hard as they can be, and what each costs.

`python -m tests.soundness.worst` asks each in a process of its own, with a deadline of two seconds,
and prints a table: seconds from the bare rule book to the bytes of the answer, the most memory that
the process held, and the outcome. `python -m tests.soundness.worst NAME [SECONDS]` asks one.

All data is invented; the shapes are known ones of hard problems: a random 3-SAT formula at the ratio of
clauses to variables where it is hardest (4.26, from memory), pigeons and holes, subset sums.
"""

import json
import multiprocessing
import random
import resource
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import replace
from multiprocessing.connection import Connection
from typing import Any

from graftbook.checks.set import check_set
from graftbook.closure.answering import answer_question
from graftbook.closure.criteria import Criterion
from graftbook.closure.question import ClearPosition, FitComponent, Limits, Question, RemedyFlaws
from graftbook.http.responses import json_bytes
from graftbook.questions.checks.documents import findings_document
from graftbook.questions.closures.documents import answer_document
from graftbook.rulebook.model import Budget, Comparator, Flaw, Joint, RuleBook, Severity, Supersession, Supply
from tests.closure.shelf import VEHICLE, Shelf, amount, at, clash, loose, needs, word
from tests.soundness.forked import LOADED

SECONDS = 2.0
"""The deadline that the hard questions get."""

MOST_SECONDS_OVER = 1.5
"""The whole answer takes at most the deadline times this…"""

MOST_SECONDS_MORE = 4.0
"""…and so many seconds more: indexing the book, laying out the answer; on a busy machine."""

MOST_MEGABYTES = 1_000
"""What a process that answers one of these may hold in all."""

Hostile = tuple[RuleBook, Question]
EVERYTHING = RemedyFlaws(Severity.minor)


def _asked(shelf: Shelf, *wishes: Any, **more: Any) -> Hostile:
    found = tuple(FitComponent(w) if isinstance(w, str) else w for w in wishes)
    return shelf.book(), Question(VEHICLE, found, **more)


def _flawed(number: str, count: int = 1) -> list[Flaw]:
    return [
        Flaw(name=f"flaw {i} of {number}", component=number, severity=Severity.severe, symptom="It cracks")
        for i in range(count)
    ]


def _positions(count: int, candidates: int, *, flawed: bool = True) -> Shelf:
    """Positions p0 …, each with a flawed original and so many candidates c0.0 …"""
    numbers = {
        f"p{i}": " ".join([f"today{i}", *(f"c{i}.{j}" for j in range(candidates))]) for i in range(count)
    }
    shelf = Shelf(**numbers)
    if flawed:
        shelf.add("flaws", *(flaw for i in range(count) for flaw in _flawed(f"today{i}")))
    return shelf


def dense_conflicts() -> Hostile:
    """Three hundred candidates of sixty positions, and every two of different positions clash."""
    shelf = _positions(60, 5)
    numbers = [(i, f"c{i}.{j}") for i in range(60) for j in range(5)]
    shelf.add(
        "conflicts",
        *(clash(f"{a} {b}", a, b) for n, (i, a) in enumerate(numbers) for j, b in numbers[n:] if i != j),
    )
    return _asked(shelf, EVERYTHING)


def random_conflicts() -> Hostile:
    """Forty positions of eight candidates; a fifth of all pairs clash, at random."""
    chance = random.Random(4)
    shelf = _positions(40, 8)
    numbers = [(i, f"c{i}.{j}") for i in range(40) for j in range(8)]
    pairs = [(a, b) for n, (i, a) in enumerate(numbers) for j, b in numbers[n:] if i != j]
    shelf.add("conflicts", *(clash(f"{a} {b}", a, b) for a, b in pairs if chance.random() < 0.2))
    return _asked(shelf, EVERYTHING)


def pigeons() -> Hostile:
    """Thirteen positions want a bracket of their own, and there are twelve kinds of bracket."""
    shelf = _positions(13, 12)
    shelf.add(
        "conflicts",
        *(
            clash(f"hole {k} {i} {j}", f"c{i}.{k}", f"c{j}.{k}")
            for k in range(12) for i in range(13) for j in range(i)
        ),
    )  # fmt: skip
    return _asked(shelf, EVERYTHING)


def three_sat(variables: int = 300, ratio: float = 4.26) -> Hostile:
    """A random formula of three literals a clause, at the ratio where such formulas are hardest."""
    chance = random.Random(7)
    shelf = _positions(variables, 2)
    for clause in range(int(variables * ratio)):
        chosen = [(p, chance.randrange(2)) for p in chance.sample(range(variables), 3)]
        (first, sign), *others = chosen
        ways = [at(f"c{p}.{s}", f"p{p}") for p, s in others]
        shelf.add("companions", needs(f"clause {clause}", f"c{first}.{1 - sign}", *ways))
    return _asked(shelf, EVERYTHING)


def huge_one_of() -> Hostile:
    """Ten rules of two thousand alternatives each, at positions of a hundred candidates."""
    shelf = _positions(20, 100, flawed=False)
    ways = [at(f"c{i}.{j}", f"p{i}") for i in range(20) for j in range(100)]
    shelf.positions |= Shelf(**{"start": "s0 s1"}).positions
    shelf.part("s0").fits("s0", "start", from_new=True).part("s1").fits("s1", "start")
    shelf.add("companions", *(needs(f"rule {i}", "s1", *ways[i:], *ways[:i]) for i in range(10)))
    return _asked(shelf, "s1")


def long_cycle() -> Hostile:
    """A thousand rules in a ring: each part asks for the next."""
    shelf = _positions(1000, 2, flawed=False)
    shelf.add(
        "companions",
        *(
            needs(f"rule {i}", f"c{i}.0", at(f"c{(i + 1) % 1000}.0", f"p{(i + 1) % 1000}"))
            for i in range(1000)
        ),
    )
    return _asked(shelf, "c0.0")


def long_cycle_of_choices() -> Hostile:
    """The same ring, with a choice of two at each step."""
    shelf = _positions(1000, 2, flawed=False)
    for i in range(1000):
        there = (i + 1) % 1000
        ways = [at(f"c{there}.{k}", f"p{there}") for k in range(2)]
        shelf.add("companions", *(needs(f"rule {i} {k}", f"c{i}.{k}", *ways) for k in range(2)))
    return _asked(shelf, "c0.0", alternatives=10)


def long_contradiction() -> Hostile:
    """Two thousand rules in a row, the last of which asks for what is to stay as today."""
    shelf = _positions(2001, 1, flawed=False)
    shelf.add(
        "companions", *(needs(f"rule {i}", f"c{i}.0", at(f"c{i + 1}.0", f"p{i + 1}")) for i in range(2000))
    )
    return _asked(shelf, "c0.0", limits=Limits(keep=frozenset({"p2000"})))


def deep_supersession() -> Hostile:
    """Five thousand numbers in a row, each now the next; all fit, all have a flaw and a rule."""
    shelf = Shelf(p=" ".join(f"n{i}" for i in range(5000)), q="q0 q1")
    for i in range(4999):
        shelf.part(f"n{i}", supply=Supply.superseded)
        shelf.add("supersessions", Supersession(name=f"s{i}", old=f"n{i}", new=f"n{i + 1}"))
        shelf.add("flaws", *_flawed(f"n{i}"))
        shelf.add("companions", needs(f"rule {i}", f"n{i}", at(f"n{i + 1}", "p"), at("q1", "q")))
    return _asked(shelf, "n0", EVERYTHING)


def deep_supersession_of_one() -> Hostile:
    """Five thousand numbers in a row, of which only the first has a fitment."""
    shelf = Shelf(p="o0 n0", q="q0 q1")
    for i in range(1, 5000):
        shelf.part(f"n{i}")
    for i in range(4999):
        shelf.part(f"n{i}", supply=Supply.superseded)
        shelf.add("supersessions", Supersession(name=f"s{i}", old=f"n{i}", new=f"n{i + 1}"))
        shelf.add("companions", needs(f"rule {i}", f"n{i}", at("q1", "q")))
    return _asked(shelf, "n0")


def supersession_ring() -> Hostile:
    """Three thousand numbers, each the same as the next, in a ring; one has a fitment."""
    shelf = Shelf(p="o0 n0", q="q0 q1")
    for i in range(3000):
        shelf.part(f"n{i}")
        shelf.add(
            "supersessions",
            Supersession(name=f"s{i}", old=f"n{i}", new=f"n{(i + 1) % 3000}", both_ways=True),
        )
        shelf.add("companions", needs(f"rule {i}", f"n{i}", at("q1", "q")))
    return _asked(shelf, "n0")


def wide_supersession() -> Hostile:
    """One number that is now any of five thousand."""
    shelf = Shelf(p="o0 old").retire("old")
    for i in range(5000):
        shelf.part(f"n{i}").add("supersessions", Supersession(name=f"s{i}", old="old", new=f"n{i}"))
    return _asked(shelf, "old", alternatives=3)


def many_candidates() -> Hostile:
    """Ten thousand candidates of one position, joined to two hundred of another."""
    shelf = Shelf(
        p=" ".join(["a0", *(f"a{i}" for i in range(1, 10_001))]), q=" ".join(f"b{i}" for i in range(201))
    )
    chance = random.Random(1)
    for number in list(shelf.components):
        shelf.part(
            number, price=chance.randrange(1, 99_999),
            characteristics={"splines": amount(chance.randrange(10, 40))} if chance.random() < 0.9 else {},
        )  # fmt: skip
    shelf.add("joints", _joint("j", "p", "q")).add("flaws", *_flawed("a0"), *_flawed("b0"))
    return _asked(shelf, EVERYTHING)


def _joint(name: str, one: str, other: str) -> Joint:
    return Joint(
        name=name, position=one, kind="splines", comparator=Comparator.equal, other_position=other,
        other_kind="splines", reason="Both sides have the same splines",
    )  # fmt: skip


def mesh_of_joints() -> Hostile:
    """Sixty positions of twenty candidates, and a joint between every two of them."""
    chance = random.Random(2)
    shelf = _positions(60, 20)
    for number in list(shelf.components):
        shelf.part(number, characteristics={"splines": amount(chance.randrange(10, 14))})
    shelf.add("joints", *(_joint(f"j{i} {k}", f"p{i}", f"p{k}") for i in range(60) for k in range(i)))
    return _asked(shelf, EVERYTHING)


def mesh_not_recorded() -> Hostile:
    """The same mesh where nothing is recorded: nothing can be determined."""
    shelf = _positions(60, 20)
    shelf.add("joints", *(_joint(f"j{i} {k}", f"p{i}", f"p{k}") for i in range(60) for k in range(i)))
    return _asked(shelf, EVERYTHING)


def subset_sum() -> Hostile:
    """Two budgets that only one exact sum of sixty almost equal figures can satisfy, if any."""
    chance = random.Random(3)
    shelf = _positions(60, 2)
    figures = [chance.randrange(1_000_000, 1_000_999) for _ in range(60)]
    for i, figure in enumerate(figures):
        both = {"up": amount(figure), "down": amount(figure)}
        shelf.part(f"c{i}.0", characteristics=both).part(f"c{i}.1", characteristics={"up": amount(0)})
        shelf.part(f"today{i}", characteristics={"up": amount(0)})
    aim = sum(figures[:30]) + 1
    shelf.positions |= Shelf(bottom="b0", top="t0").positions
    shelf.part("b0", characteristics={"bottom": amount(aim)}).fits("b0", "bottom", from_new=True)
    shelf.part("t0", characteristics={"top": amount(aim)}).fits("t0", "top", from_new=True)
    shelf.add(
        "budgets",
        Budget(name="at least", supply_kind="up", demand_kind="bottom", reason="enough"),
        Budget(name="at most", supply_kind="top", demand_kind="down", reason="not too much"),
    )
    return _asked(shelf, EVERYTHING)


def near_ceiling() -> Hostile:
    """A price ceiling that almost every one of many almost equal sets just misses."""
    chance = random.Random(5)
    shelf = _positions(80, 3)
    for number in list(shelf.components):
        shelf.part(number, price=chance.randrange(1_000_000, 1_000_400))
    least = sum(min(shelf.components[f"c{i}.{j}"].price or 0 for j in range(3)) for i in range(80))
    return _asked(shelf, EVERYTHING, limits=Limits(price_at_most=least - 1))


def many_loose_parts() -> Hostile:
    """Four thousand rules that each ask for one of three of four thousand loose parts."""
    shelf = Shelf(p="a b")
    for i in range(4000):
        shelf.kit(f"k{i}", price=100 + i % 7)
    for i in range(4000):
        ways = [loose(f"k{(i * step) % 4000}", 1 + i % 3) for step in (1, 7, 13)]
        shelf.add("companions", needs(f"rule {i}", "b", *ways, one_serves_all=i % 2 == 0))
    return _asked(shelf, "b")


def many_flaws() -> Hostile:
    """Four thousand flaws of one component, each with add-ons of its own."""
    shelf = Shelf(p="a b c")
    for i, flaw in enumerate(_flawed("a", 4_000)):
        shelf.kit(f"k{i}").add("flaws", replace(flaw, add_ons=(f"k{i}", f"k{(i + 1) % 4_000}")))
    return _asked(shelf, EVERYTHING)


def great_pair() -> Hostile:
    """Four hundred positions that are changed together, of fifty candidates each."""
    numbers = " ".join(f"c{j}" for j in range(50))
    shelf = Shelf(**{f"p{i}": f"today {numbers}" for i in range(400)})
    for i in range(400):
        shelf.place(f"p{i}", pair="all")
    return _asked(shelf, FitComponent("c1", "p0"))


def many_wishes_and_limits() -> Hostile:
    """Two hundred wishes, each against a limit of its own: very many ways out."""
    shelf = _positions(200, 3)
    wishes = [FitComponent(f"c{i}.0", f"p{i}") for i in range(200)]
    return _asked(shelf, *wishes, limits=Limits(keep=frozenset(f"p{i}" for i in range(200))))


def tangled_impossible() -> Hostile:
    """Forty wishes of which any three together break a rule of a common position."""
    shelf = _positions(40, 3, flawed=False)
    for i in range(40):
        for k in range(i):
            shelf.add("conflicts", *(clash(f"c{i}.{a} c{k}.{a}", f"c{i}.{a}", f"c{k}.{a}") for a in range(3)))
    return _asked(shelf, EVERYTHING, *(FitComponent(f"c{i}.{i % 3}") for i in range(40)))


def broken_today() -> Hostile:
    """Three hundred positions and a joint between every two of them, each broken as it stands."""
    shelf = _positions(300, 1, flawed=False)
    for i in range(300):
        shelf.part(f"today{i}", characteristics={"splines": amount(i)})
    shelf.add("joints", *(_joint(f"j{i} {k}", f"p{i}", f"p{k}") for i in range(300) for k in range(i)))
    return _asked(shelf, "c0.0")


def everything_cleared() -> Hostile:
    """Five hundred positions to be emptied, each asked for by what stays."""
    shelf = Shelf(**{f"p{i}": f"t{i}? c{i}" for i in range(500)})
    shelf.add(
        "companions",
        *(needs(f"r{i}", f"t{i}", at(f"t{(i + 1) % 500}", f"p{(i + 1) % 500}")) for i in range(500)),
    )
    return _asked(shelf, *(ClearPosition(f"p{i}") for i in range(0, 500, 3)))


def word_mesh() -> Hostile:
    """Colours: a thousand positions in a ring where neighbours must not be of the same of three words."""
    shelf = _positions(301, 3)
    for i in range(301):
        for k in range(3):
            shelf.part(f"c{i}.{k}", characteristics={"colour": word("rgb"[k])})
    shelf.add(
        "conflicts",
        *(
            clash(f"{i} {step} {k}", f"c{i}.{k}", f"c{(i + step) % 301}.{k}")
            for i in range(301) for step in (1, 2, 3) for k in range(3)
        ),
    )  # fmt: skip
    return _asked(shelf, EVERYTHING)


def long_row() -> Hostile:
    """Five thousand rules in a row, all of which follow from one wish."""
    shelf = _positions(5001, 1, flawed=False)
    shelf.add(
        "companions", *(needs(f"rule {i}", f"c{i}.0", at(f"c{i + 1}.0", f"p{i + 1}")) for i in range(5000))
    )
    return _asked(shelf, "c0.0")


def budgets_over_all() -> Hostile:
    """A hundred budgets over eight hundred positions, most of which must change to cover one demand."""
    shelf = _positions(800, 1, flawed=False)
    for i in range(800):
        shelf.part(f"c{i}.0", characteristics={f"gives{k}": amount(1) for k in range(100)})
    shelf.positions |= Shelf(last="l0 l1").positions
    shelf.part("l0").fits("l0", "last", from_new=True).fits("l1", "last")
    shelf.part("l1", characteristics={f"takes{k}": amount(700) for k in range(100)}).fits("l1", "last")
    shelf.add(
        "budgets",
        *(
            Budget(name=f"b{k}", supply_kind=f"gives{k}", demand_kind=f"takes{k}", reason="enough")
            for k in range(100)
        ),
    )
    return _asked(shelf, "l1")


def flaws_outrank_all() -> Hostile:
    """A thousand flawed parts that one wish brings, each with an add-on worth more than any change."""
    shelf = _positions(2000, 2, flawed=False)
    shelf.add("companions", *(needs(f"r{i}", "c0.0", at(f"c{i}.0", f"p{i}")) for i in range(1, 1000)))
    for i in range(1000):
        shelf.add("flaws", *(replace(f, add_ons=(f"c{i + 1000}.0",)) for f in _flawed(f"c{i}.0", 5)))
    return _asked(shelf, "c0.0", preference=(Criterion.flaws, Criterion.changes))


HOSTILE: dict[str, Callable[[], Hostile]] = {
    made.__name__: made
    for made in (
        dense_conflicts, random_conflicts, pigeons, three_sat, huge_one_of, long_cycle,
        long_cycle_of_choices, long_contradiction, deep_supersession, deep_supersession_of_one,
        supersession_ring, wide_supersession, many_candidates, mesh_of_joints, mesh_not_recorded,
        subset_sum, near_ceiling, many_loose_parts, many_flaws, great_pair, many_wishes_and_limits,
        tangled_impossible, broken_today, everything_cleared, word_mesh, long_row, budgets_over_all,
        flaws_outrank_all,
    )
}  # fmt: skip


def ask(name: str, seconds: float = SECONDS) -> dict[str, Any]:
    """Ask one in this process: what it took and what came of it."""
    book, question = HOSTILE[name]()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start, began = time.perf_counter(), time.process_time()
    answer = answer_question(book, replace(question, seconds=seconds))
    reasoned = time.perf_counter() - start
    document = answer_document(book, answer)
    if (found := answer.solution) is not None:
        document["checks"] = findings_document(check_set(book, VEHICLE, found.today, found.after, ""))
    body = json_bytes(document)
    return {
        "name": name,
        "outcome": str(answer.outcome),
        "reached": answer.reached,
        "set": answer.solution is not None,
        "cut_short": answer.cut_short,
        "gap": answer.gap,
        "contradictions": [len(c.parts) for c in answer.contradictions],
        "smallest": [c.smallest for c in answer.contradictions],
        "ways_out": len(answer.ways_out),
        "more_ways_out": answer.more_ways_out,
        "reasoning": round(reasoned, 2),
        "seconds": round(time.perf_counter() - start, 2),
        "processor": round(time.process_time() - began, 2),
        "megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        "book_megabytes": before // 1024,
        "bytes": len(body),
    }


def ask_apart(name: str, seconds: float = SECONDS, kill_after: float = 120.0) -> dict[str, Any]:
    """Ask one in a process of its own, forked from one that has loaded the program already.

    Raises TimeoutError, and AssertionError when it fails."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(LOADED)
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_ask_and_tell, args=(name, seconds, there))
    process.start()
    there.close()
    try:
        if not here.poll(kill_after):
            raise TimeoutError(f"{name}: no answer after {kill_after:g} seconds")
        found: dict[str, Any] = here.recv()
    except EOFError:
        process.join()
        raise AssertionError(f"{name}: ended with {process.exitcode} before it had an answer") from None
    finally:
        process.kill()
        process.join()
        here.close()
    if "failed" in found:
        raise AssertionError(f"{name}: {found['failed'][-3000:]}")
    return found


def _ask_and_tell(name: str, seconds: float, there: Connection) -> None:
    try:
        there.send(ask(name, seconds))
    except Exception:
        there.send({"failed": traceback.format_exc()})


def table(seconds: float = SECONDS) -> None:
    """Print what each costs, as a table of Markdown."""
    print("| what | seconds | MB | outcome |\n| --- | --- | --- | --- |")
    for name in HOSTILE:
        try:
            found = ask_apart(name, seconds)
            row = f"{found['seconds']:.1f} | {found['megabytes']} | {found['outcome']}"
            if found["contradictions"]:
                row += f", contradictions of {found['contradictions']}, {found['ways_out']} ways out"
        except (TimeoutError, AssertionError) as error:
            row = f"- | - | {str(error)[-300:]!r}"
        print(f"| {name.replace('_', ' ')} | {row} |", flush=True)


if __name__ == "__main__":
    if len(sys.argv) > 1 and sys.argv[1] in HOSTILE:
        print(json.dumps(ask(sys.argv[1], float(sys.argv[2]) if len(sys.argv) > 2 else SECONDS)))
    else:
        table()
