"""Whatever answers, orders, checks and verdicts say, held against the finished set by other code.

Random catalogues are loaded as a house loads its own and asked over HTTP; three times as
many with `--long`.
"""

from collections import Counter
from copy import deepcopy
from dataclasses import replace

import pytest

from graftbook.closure.question import FitComponent, Limits, Question
from tests.closure.oracle import Oracle
from tests.closure.worlds import VEHICLE
from tests.conftest import _Databases
from tests.retold.asking import CHASSIS, Branching, Served, body_of, proposal, questions_of, served
from tests.retold.told import Facts, Told, further_wrongs, order_wrongs
from tests.running import cases

WORLDS = cases(6)
FURTHER = 3
SEEDS = [block * 1_000 for block in range(cases(2))]

pytestmark = pytest.mark.anyio


@pytest.mark.parametrize("first", SEEDS)
async def test_what_a_closure_says_is_so(sqlite_databases: _Databases, first: int) -> None:
    wrong, seen = {}, Counter[str]()
    for seed in range(first, first + WORLDS):
        async with served(sqlite_databases.new(), seed) as here:
            for number, question in enumerate(questions_of(here)):
                answer = await here.asked("/v1/closures", body_of(question))
                seen[answer["outcome"]] += 1
                best = Oracle(here.book, question).best()
                assert (answer["outcome"] == "impossible") == (best is None), (seed, number)
                if best is None:
                    continue
                found = Told(here.book, question, answer["set"]).everything(answer["sentences"][0])
                if found:
                    wrong[seed, number] = found
                seen["changes"] += len(answer["set"]["changes"])
    assert not wrong
    assert min(seen["proved"] - 5, seen["impossible"] - 2, seen["changes"] - 5) > 0, seen


@pytest.mark.parametrize("first", SEEDS)
async def test_what_further_sets_say_is_so(sqlite_databases: _Databases, first: int) -> None:
    wrong, seen = {}, Counter[str]()
    for seed in range(first, first + WORLDS):
        world = Branching(seed) if seed % 3 else None
        async with served(sqlite_databases.new(), seed, world) as here:
            for number, question in enumerate(questions_of(here)):
                count = number % FURTHER + 1
                answer = await here.asked("/v1/closures", body_of(question) | {"alternatives": count})
                if answer["set"] is None:
                    assert not answer["other_sets"], (seed, number)
                    assert answer["fewer_other_sets"] is None, (seed, number)
                    continue
                if found := further_wrongs(here.book, question, answer, count):
                    wrong[seed, number] = found
                seen["sets"] += len(answer["other_sets"])
                seen["fewer" if answer["fewer_other_sets"] else "all"] += 1
    assert not wrong
    assert min(seen["sets"], seen["fewer"], seen["all"]) > 0, seen


async def test_whatever_is_wrong_with_a_further_set_is_seen(sqlite_databases: _Databases) -> None:
    seen = Counter[str]()
    async with served(sqlite_databases.new(), SPOILT, Branching(SPOILT)) as here:
        for question in questions_of(here):
            answer = await here.asked("/v1/closures", body_of(question) | {"alternatives": FURTHER})
            if not answer["set"] or not answer["other_sets"]:
                continue
            for what, spoilt in await spoils(here, question, answer):
                found = further_wrongs(here.book, question, spoilt, FURTHER)
                seen[what] += any(what in wrong for wrong in found)
            if all(seen[what] for what in WRONGS):
                break
    assert [what for what in WRONGS if not seen[what]] == [], seen


WRONGS = ("is not complete", "to spare", "points to", "are one", "is no better", "and why", "more other sets")
SPOILT = 2005
"""A world with several questions that have further sets."""


async def spoils(here: Served, question: Question, answer: Facts) -> list[tuple[str, Facts]]:
    """What should be seen, and the answer spoilt so."""

    def with_others(*sets: Facts, **more: object) -> Facts:
        return answer | {"other_sets": list(sets)} | more

    first = answer["other_sets"][0]
    short = first | {"changes": first["changes"][1:]}
    lost = deepcopy(first)
    free = next(p for p in here.world.places if p not in {c["position"] for c in first["changes"]})
    lost["changes"][-1]["because"] |= {"from_position": free, "how": "needs"}
    found = [
        ("is not complete", with_others(short)),
        ("points to", with_others(lost)),
        ("are one", with_others(answer["set"])),
        ("and why", with_others(first, fewer_other_sets=None)),
        ("more other sets", with_others(*[first] * (FURTHER + 1))),
    ]
    for number in here.world.numbers:
        more = replace(question, wishes=(*question.wishes, FitComponent(number)))
        if other := (await here.asked("/v1/closures", body_of(more)))["set"]:
            found.append(("to spare", with_others(other)))
        without = replace(question, limits=Limits(refuse=frozenset({number})))
        if other := (await here.asked("/v1/closures", body_of(without)))["set"]:
            found.append(("is no better", with_others(other)))
    return found


@pytest.mark.parametrize("first", SEEDS[:2])
async def test_what_an_order_says_is_so(sqlite_databases: _Databases, first: int) -> None:
    wrong, seen = {}, Counter[str]()
    for seed in range(first, first + WORLDS):
        async with served(sqlite_databases.new(), seed) as here:
            for number, question in enumerate(questions_of(here)):
                body = body_of(question)
                answer = await here.asked("/v1/closures", body)
                if answer["set"] is None:
                    continue
                terms = [{}, {"at_most_suppliers": 1}, {"by": "2031-01-01"}][number % 3]
                order = await here.asked("/v1/orders", body | terms)
                told = Told(here.book, question, answer["set"])
                if found := order_wrongs(order, told):
                    wrong[seed, number] = found
                seen["lines"] += len(order["lines"])
                seen["missing"] += len(order["not_supplied"])
    assert not wrong
    assert min(seen["lines"] - 4, seen["missing"]) > 0, seen


@pytest.mark.parametrize("first", SEEDS[:1])
async def test_what_a_check_says_of_a_proposed_set_is_so(sqlite_databases: _Databases, first: int) -> None:
    wrong, seen = {}, Counter[bool]()
    for seed in range(first, first + WORLDS):
        async with served(sqlite_databases.new(), seed) as here:
            for number in range(5):
                loose, sitting = proposal(here.world, seed * 10 + number)
                question = Question(VEHICLE, ())
                body = body_of(question) | {"components": loose, "positions": sitting}
                answer = await here.asked("/v1/checks", body)
                true = is_complete(Oracle(here.book, question), sitting, loose)
                seen[true] += 1
                if answer["complete"] != true:
                    wrong[seed, number] = (answer["missing"], answer["clashing"], true)
    assert not wrong
    assert min(seen[True], seen[False]) > 3, seen


def is_complete(oracle: Oracle, sitting: dict[str, str | None], loose: list[str]) -> bool:
    """Whether a proposed set satisfies every rule, as the oracle reads them."""
    after = {**oracle.today, **{p: followed(oracle, p, n) for p, n in sitting.items()}}
    if any(after[p] not in oracle.can[p] for p in sitting):
        return False
    if not all(oracle.obtainable(n) for n in loose) or not oracle.fixed_rules_hold(after):
        return False
    demands = oracle.loose_demands(after)
    return (
        demands is not None
        and all(any(n in loose for n, _ in choices) for _, choices, _ in demands)
        and not any(sure for _, sure in oracle.conflicts(after, loose))
    )


def followed(oracle: Oracle, place: str, number: str | None) -> str | None:
    """Today's number behind an old one, where there is only one that can sit there."""
    if number is None or number in oracle.can[place]:
        return number
    current = [n for n in oracle.serves(number) if n in oracle.can[place]]
    return current[0] if len(current) == 1 else number


async def test_what_compatibility_says_is_so(sqlite_databases: _Databases) -> None:
    wrong, seen = {}, Counter[str]()
    for seed in range(2 * WORLDS):
        async with served(sqlite_databases.new(), seed) as here:
            numbers = sorted(here.world.numbers)
            options = {"chassis": CHASSIS, "built": VEHICLE.built.isoformat(), "options": ["heater"]}
            questions = [{"component": number} | options for number in numbers]
            answers = (await here.asked("/v1/compatibility", {"questions": questions}))["answers"]
            for number, answer in zip(numbers, answers, strict=True):
                seen[answer["verdict"]] += 1
                # What is no longer supplied may still be had, and then it fits or not; the answer says both.
                bench = frozenset() if answer["can_be_bought"] else frozenset({number})
                said = "no longer supplied" in answer["sentence"] or "today" in answer["sentence"]
                oracle = Oracle(here.book, Question(VEHICLE, (FitComponent(number),), on_the_bench=bench))
                possible = next(oracle.sets(), None) is not None
                fits = answer["verdict"].startswith("fits")
                if answer["proved"] and fits != possible:
                    wrong[seed, number] = answer["sentence"]
                if fits and not answer["proved"] and "was looked at" not in answer["sentence"]:
                    wrong[seed, number] = answer["sentence"]
                if fits and not answer["can_be_bought"] and not said:
                    wrong[seed, number] = answer["sentence"]
    assert not wrong
    assert min(seen[word] for word in ("fits", "fits with companions", "does not fit")) > 0, seen
