"""The order of work obeys every record, is the same each time, and ends as early as hands allow."""

import itertools
import random
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graftbook.closure.answer import Because, Cause, Change, Loose, Solution
from graftbook.closure.criteria import Totals
from graftbook.closure.question import FitComponent
from graftbook.closure.words.sentences import CUTTING
from graftbook.orders.fitting.jobs import fitting_sequence
from graftbook.orders.fitting.schedule import Schedule, earliest_finish
from graftbook.orders.fitting.sequence import Before, Job, Sequence, Step, Work, sequence
from graftbook.rulebook.model import (
    Access,
    Alternative,
    Companion,
    Component,
    Effort,
    Fitment,
    Origin,
    Position,
    Precedence,
    RuleBook,
    Section,
    Tightening,
    Variant,
    Vehicle,
    When,
)
from graftbook.rulebook.units import read_measure
from tests.running import cases

REMOVING, FITTING = Work.removing, Work.fitting


def job(name: str, section: str = "brakes", **values: object) -> Job:
    return Job(name, name.title(), section, **({"removing": 5, "fitting": 10} | values))


def told(found: Sequence) -> list[str]:
    return [f"{'off' if step.work is REMOVING else 'on'} {step.job}" for step in found.steps]


@st.composite
def work(draw: st.DrawFn, most: int = 7) -> tuple[list[Job], list[Before]]:
    """Jobs of three sections, with precedences that may run in circles."""
    names = [f"j{n}" for n in range(draw(st.integers(1, most)))]
    minutes = st.one_of(st.none(), st.integers(0, 6))
    jobs = [
        Job(
            name, name, draw(st.sampled_from("abc")), draw(minutes), draw(minutes), draw(st.integers(0, 3))
        )
        for name in names
    ]  # fmt: skip
    some = st.sampled_from([*names, "not at hand"])
    befores = draw(
        st.lists(st.builds(Before, some, some, st.sampled_from(Work), record=st.just("r")), max_size=8)
    )
    return jobs, befores


# The order ----------------------------------------------------------------------------------------------


def test_the_outer_comes_off_first_and_goes_on_last():
    jobs = [job("hub", place=0), job("drum", place=1), job("wheel", place=2)]
    befores = [Before("wheel", "drum", REMOVING), Before("drum", "hub", REMOVING)]
    assert told(sequence(jobs, befores)) == [
        "off wheel",
        "off drum",
        "off hub",
        "on hub",
        "on drum",
        "on wheel",
    ]


def test_what_is_recorded_for_fitting_holds_the_other_way_round_for_taking_off():
    found = sequence([job("wheel"), job("hub")], [Before("hub", "wheel", FITTING)])
    assert told(found) == ["off wheel", "off hub", "on hub", "on wheel"]


def test_a_record_beats_the_reverse_of_another():
    befores = [Before("a", "b", FITTING), Before("a", "b", REMOVING)]
    assert told(sequence([job("a"), job("b")], befores)) == ["off a", "off b", "on a", "on b"]


def test_a_section_is_finished_before_the_next_where_that_is_permitted():
    jobs = [job("pad", "brakes", place=0), job("lamp", "electrical", place=1), job("hose", "brakes", place=2)]
    assert told(sequence(jobs)) == ["off pad", "off hose", "on pad", "on hose", "off lamp", "on lamp"]
    waiting = sequence(jobs, [Before("lamp", "hose", FITTING)])
    assert told(waiting)[-1] == "on hose"
    first = sequence(jobs, [Before("lamp", "pad", REMOVING)])
    assert told(first) == ["off hose", "on hose", "off lamp", "off pad", "on pad", "on lamp"]


def test_minutes_are_summed_a_section_and_tools_are_listed_once():
    jobs = [
        job("pad", tools=("piston press",), cautions=("Brakes hold lives.",)),
        job("hose", removing=None, tools=("flare tool", "piston press"), cautions=("Brakes hold lives.",)),
        job("lamp", "electrical", fitting=None, section_title="Electrical"),
    ]
    found = sequence(jobs)
    assert [(s.section, s.removing, s.fitting, s.minutes) for s in found.sections] == [
        ("brakes", 5, 20, 25), ("electrical", 5, 0, 5),
    ]  # fmt: skip
    assert found.minutes == 30
    assert sorted(found.tools) == ["flare tool", "piston press"]
    assert found.cautions == ("Brakes hold lives.",)


def test_a_circle_is_told_by_its_names_and_the_work_still_has_an_order():
    jobs = [job("a"), job("b"), job("c"), job("d")]
    befores = [
        Before("a", "b", FITTING, record="r1"), Before("b", "c", FITTING, record="r2"),
        Before("c", "a", FITTING, record="r3"), Before("c", "d", FITTING, record="r4"),
    ]  # fmt: skip
    found = sequence(jobs, befores)
    (circle,) = found.circles
    assert (circle.jobs, circle.work, circle.records) == (("a", "b", "c"), FITTING, ("r1", "r2", "r3"))
    assert [before.record for before in found.given_up] == ["r3"]
    assert len(found.steps) == 8


def test_nothing_goes_on_under_what_is_still_there():
    jobs = [job("seal", removing=None, place=0), job("hub", place=1)]
    assert told(sequence(jobs, [Before("seal", "hub", FITTING)])) == ["off hub", "on seal", "on hub"]
    assert told(sequence(jobs, [Before("hub", "seal", REMOVING)])) == ["off hub", "on seal", "on hub"]
    gone = [job("valve", fitting=None, place=0), job("pipe", place=1)]
    assert told(sequence(gone, [Before("valve", "pipe", FITTING)])) == ["off pipe", "off valve", "on pipe"]


def test_a_record_of_one_step_speaks_of_no_other():
    jobs = [job("battery"), job("lamp")]
    befores = [
        Before("battery", "lamp", REMOVING, record="r", then_work=FITTING),
        Before("lamp", "battery", FITTING, record="r", then_work=FITTING),
    ]
    found = sequence(jobs, befores)
    assert found.waits[Step("lamp", REMOVING)] == frozenset()
    assert found.records == 1
    assert found.unordered == {Step("lamp", REMOVING)}


def test_two_jobs_with_one_name_are_refused():
    with pytest.raises(ValueError, match="one name"):
        sequence([job("a"), job("a")])


@given(work())
def test_every_step_once_and_every_record_obeyed_that_is_not_given_up(given_work):
    jobs, befores = given_work
    found = sequence(jobs, befores)
    expected = [Step(j.name, w) for j in jobs for w in Work if getattr(j, w.value) is not None]
    assert sorted(found.steps) == sorted(expected)
    place = {step: n for n, step in enumerate(found.steps)}
    for j in jobs:
        if j.removing is not None and j.fitting is not None:
            assert place[Step(j.name, REMOVING)] < place[Step(j.name, FITTING)]
    for before in befores:
        first, then = Step(before.first, before.work), Step(before.then, before.work)
        if first in place and then in place and first != then and before not in found.given_up:
            assert place[first] < place[then]
    assert bool(found.given_up) == bool(found.circles)
    assert found.minutes == sum((j.removing or 0) + (j.fitting or 0) for j in jobs)
    for circle in found.circles:
        around = zip(circle.jobs, [*circle.jobs[1:], circle.jobs[0]], strict=True)
        assert {(b.first, b.then) for b in befores if b.work is circle.work} >= set(around)


@given(work(), st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(given_work, chance):
    jobs, befores = given_work
    found = sequence(jobs, befores)
    chance.shuffle(jobs)
    chance.shuffle(befores)
    again = sequence(jobs, befores)
    assert (again.steps, again.circles, again.given_up) == (found.steps, found.circles, found.given_up)


def test_many_jobs_in_one_great_circle_end():
    names = [f"j{n:04d}" for n in range(1_500)]
    befores = [Before(one, two, FITTING, record=one) for one, two in itertools.pairwise([*names, names[0]])]
    found = sequence([job(name, f"s{n % 9}") for n, name in enumerate(names)], befores)
    assert len(found.steps) == 3_000
    assert len(found.given_up) == 1


# The earliest finish ------------------------------------------------------------------------------------


def judged(found: Sequence, plan: Schedule, hands: int, room_in: tuple[str, ...] = ()) -> None:
    """Every step once, after what it waits for, on free hands, and alone in its section."""
    assert sorted(slot.step for slot in plan.slots) == sorted(found.steps)
    ends = {slot.step: slot.end for slot in plan.slots}
    for slot in plan.slots:
        assert slot.end - slot.start == found.minutes_of(slot.step)
        assert all(ends[earlier] <= slot.start for earlier in found.waits[slot.step])
    long = [slot for slot in plan.slots if slot.end > slot.start]
    for one, two in itertools.combinations(long, 2):
        if one.start < two.end and two.start < one.end:
            assert one.hands != two.hands
            section = found.jobs[one.step.job].section
            assert section != found.jobs[two.step.job].section or section in room_in
    assert all(1 <= slot.hands <= hands for slot in long)
    assert plan.finish == max((slot.end for slot in plan.slots), default=0)
    assert plan.critical <= plan.finish <= plan.work
    assert plan.finish * hands >= plan.work
    assert plan.at_least <= plan.finish
    assert plan.proved == (plan.at_least == plan.finish) == (plan.gap == 0)


def brute_finish(found: Sequence, hands: int) -> int:
    """The best of all orders of steps, each placed as early as possible minute by minute."""
    best = None
    for order in itertools.permutations(found.steps):
        ends: dict[Step, int] = {}
        used: dict[int, int] = {}
        taken: set[tuple[str, int]] = set()
        for step in order:
            if not found.waits[step] <= ends.keys():
                break
            minutes, section = found.minutes_of(step), found.jobs[step.job].section
            start = max((ends[e] for e in found.waits[step]), default=0)
            while any(
                used.get(t, 0) >= hands or (section, t) in taken for t in range(start, start + minutes)
            ):
                start += 1
            for t in range(start, start + minutes):
                used[t] = used.get(t, 0) + 1
                taken.add((section, t))
            ends[step] = start + minutes
        else:
            finish = max(ends.values(), default=0)
            best = finish if best is None else min(best, finish)
    assert best is not None
    return best


@settings(max_examples=cases(20), deadline=None)
@given(work(most=3), st.integers(1, 3))
def test_the_earliest_finish_is_the_one_that_brute_force_finds(given_work, hands):
    found = sequence(*given_work)
    plan = earliest_finish(found, hands, seconds=60)
    judged(found, plan, hands)
    assert plan.proved
    assert plan.finish == brute_finish(found, hands)


def large(seed: int, jobs: int = 40) -> Sequence:
    chance = random.Random(seed)
    made = [
        Job(f"j{n:03d}", "", f"s{chance.randrange(8)}", chance.randrange(0, 40), chance.randrange(5, 120))
        for n in range(jobs)
    ]
    befores = [
        Before(made[a].name, made[b].name, FITTING)
        for a, b in (sorted(chance.sample(range(jobs), 2)) for _ in range(jobs))
    ]
    return sequence(made, befores)


@pytest.mark.parametrize(("seed", "hands"), [(1, 1), (2, 2), (3, 3), (4, 8)])
def test_a_larger_plan_obeys_everything_and_lies_within_its_bounds(seed, hands):
    found = large(seed)
    plan = earliest_finish(found, hands, seconds=1)
    judged(found, plan, hands)
    assert plan.gap < 0.1


def test_a_proved_plan_is_the_same_each_time():
    found = large(7, 12)
    plan = earliest_finish(found, 2, seconds=60)
    assert plan.proved
    assert plan == earliest_finish(found, 2, seconds=60)


def test_one_pair_of_hands_takes_all_minutes():
    found = large(5)
    plan = earliest_finish(found, 1)
    assert (plan.finish, plan.proved) == (found.minutes, True)


def test_a_section_with_room_lets_two_work_in_it():
    found = sequence([job("a", removing=None), job("b", removing=None)])
    assert earliest_finish(found, 2).finish == 20
    roomy = earliest_finish(found, 2, room_in=["brakes"])
    judged(found, roomy, 2, ("brakes",))
    assert roomy.finish == 10


def test_without_time_the_plan_is_valid_and_claims_no_more_than_it_knows():
    found = large(6, 150)
    plan = earliest_finish(found, 5, seconds=0)
    judged(found, plan, 5)


def test_nobody_and_a_crowd_are_refused():
    for hands in (0, 101):
        with pytest.raises(ValueError, match="pairs of hands"):
            earliest_finish(sequence([]), hands)
    assert earliest_finish(sequence([]), 1).finish == 0


# From a rule book ---------------------------------------------------------------------------------------

VEHICLE = Vehicle("V", "24L", 500, date(1968, 3, 1))


def component(number: str, section: str, **values: object) -> Component:
    return Component(number=number, name=f"part {number}", section=section, origin=Origin.modern, **values)


def made_book() -> RuleBook:
    variant = Variant("V", "R", "Vee", "g", "b", "e", "d", "left", "home")
    return RuleBook(
        variant, 7,
        sections={"brakes": Section("brakes", "Brakes", 2), "axles": Section("axles", "Axles", 1)},
        positions={
            "brake": Position("brake", "brakes", "front brake", True),
            "hub": Position("hub", "axles", "front hub", True),
            "servo": Position("servo", "brakes", "servo", False),
        },
        components={
            "CAL": component("CAL", "brakes"), "HUB": component("HUB", "axles"),
            "FLUID": component("FLUID", "brakes", loose=True, hazard="takes paint off"),
        },
        fitments=(
            Fitment(
                name="f1", component="CAL", position="brake", effort=Effort.cutting, tools=("hub puller",)
            ),
        ),
        companions=(
            Companion(
                name="c-hub", component="CAL", reason="the caliper sits on the hub",
                alternatives=(Alternative("HUB", "hub", goes_on="before"),),
            ),
            Companion(
                name="c-fluid", component="CAL", reason="the circuit is bled last",
                alternatives=(Alternative("FLUID", loose=True, goes_on="after"),),
            ),
        ),
        precedences=(
            Precedence(
                name="p1", first="servo", then="brake", work="removing", reason="the pipe is in the way"
            ),
            Precedence(
                name="p2", first="brake", then="servo", work="removing", reason="not on this one",
                when=When(chassis_prefix="99X"),
            ),
        ),
        tightenings=(
            Tightening(
                name="t1", position="brake", fastener="Caliper bolts", component="CAL",
                torque=read_measure("80 Nm", "torque"), angle=read_measure("60 deg", "angle"),
            ),
            Tightening(
                name="t2", position="brake", fastener="Drum nut", component="DRUM",
                torque=read_measure("10 Nm", "torque"),
            ),
            Tightening(
                name="t3", position="brake", fastener="Caliper bolts", component="CAL",
                torque=read_measure("45 Nm", "torque"), again_after=read_measure("50 mile", "length"),
                when=When(chassis_prefix="99X"),
            ),
        ),
    )  # fmt: skip


WISH = Because(Cause.wish, "wish: fit CAL", FitComponent("CAL"))


def asked_by(book: RuleBook, name: str, parent: str = "brake") -> Because:
    rule = next(rule for rule in book.companions if rule.name == name)
    return Because(Cause.companion, name, rule, parent)


def change(position: str, section: str, number: str | None, because: Because, **values: object) -> Change:
    given: dict = {
        "replaces": "OLD", "quantity": 1, "effort": Effort.direct, "minutes": 30, "price": None,
        "visible": False, "depth": 0,
    }  # fmt: skip
    return Change(position, section, number, because=because, **(given | values))


def test_the_jobs_of_a_set_carry_what_the_book_records():
    solution = Solution(
        changes=(
            change("brake", "brakes", "CAL", WISH, claim="f1", effort=Effort.cutting),
            change("hub", "axles", "HUB", asked_by(made_book(), "c-hub"), minutes=20),
            change("servo", "brakes", None, WISH, minutes=0),
        ),
        loose=(Loose("FLUID", 1, None, asked_by(made_book(), "c-fluid")),),
        totals=Totals(0, 0, 3, 0, 0, 50, 0), today={}, after={},
    )  # fmt: skip
    found = fitting_sequence(made_book(), VEHICLE, solution)
    assert told(found) == ["off servo", "off brake", "off hub", "on hub", "on brake"]
    brake = found.jobs["brake"]
    assert [(use.component, use.quantity, use.goes_on) for use in brake.loose] == [("FLUID", 1, "after")]
    assert found.untimed == (Step("servo", REMOVING),)
    assert brake.title == "front brake: part CAL (CAL)"
    assert brake.tools == found.tools == ("hub puller",)
    assert brake.tightenings == ("Caliper bolts: 80 Nm, then 60 deg",)
    assert CUTTING in brake.cautions
    assert "FLUID: takes paint off" in found.cautions
    assert found.minutes == 50
    assert [(s.title, s.minutes) for s in found.sections] == [("Brakes", 30), ("Axles", 20)]


def test_a_tightening_of_other_vehicles_is_not_told():
    """Not with the step, and not as one that is tightened again on the road."""
    solution = Solution(
        changes=(change("brake", "brakes", "CAL", WISH),), loose=(), totals=Totals(0, 0, 1, 0, 0, 30, 0),
        today={}, after={"brake": "CAL"},
    )  # fmt: skip
    here = fitting_sequence(made_book(), VEHICLE, solution)
    assert here.jobs["brake"].tightenings == ("Caliper bolts: 80 Nm, then 60 deg",)
    assert [name for name in here.jobs if name.startswith("again")] == []
    there = fitting_sequence(made_book(), Vehicle("V", "99X", 500, date(1968, 3, 1)), solution)
    assert "Caliper bolts: 45 Nm; again after 50 miles" in there.jobs["brake"].tightenings
    assert there.jobs["again after 50 mile"].tightenings == ("Caliper bolts: 45 Nm",)


def opened(book: RuleBook, *accesses: Access) -> RuleBook:
    return replace(book, accesses=accesses)


def hub_only(**values: object) -> Solution:
    given = {
        "changes": (change("hub", "axles", "HUB", WISH, minutes=20),), "loose": (),
        "totals": Totals(0, 0, 1, 0, 0, 20, 0),
        "today": {"hub": "OLD", "brake": "CAL"}, "after": {"hub": "HUB", "brake": "CAL"},
    }  # fmt: skip
    return Solution(**(given | values))


def test_what_is_in_the_way_comes_off_and_goes_back():
    in_the_way = Access(name="a", position="hub", other_position="brake", reason="it covers the hub")
    found = fitting_sequence(opened(made_book(), in_the_way), VEHICLE, hub_only())
    assert told(found) == ["off brake", "off hub", "on hub", "on brake"]
    brake = found.jobs["brake"]
    assert (brake.state, brake.reasons) == ("off", ("it covers the hub",))
    assert brake.tightenings == ("Caliper bolts: 80 Nm, then 60 deg",)
    assert found.minutes == 20
    assert len(found.untimed) == 2


def test_an_access_counts_only_for_what_it_names():
    named = Access(
        name="a", position="hub", other_position="brake", reason="r", component="OTHER HUB"
    )  # fmt: skip
    while_it_sits = replace(named, component="", other_component="DRUM")
    for access in (named, while_it_sits):
        found = fitting_sequence(opened(made_book(), access), VEHICLE, hub_only())
        assert told(found) == ["off hub", "on hub"]


def test_what_is_made_safe_is_first_and_undone_last():
    battery = Access(
        name="a", position="hub", other_position="brake", reason="r", state="disconnected",
        opening="earth first", closing="earth last",
    )  # fmt: skip
    pressure = replace(battery, name="b", state="depressurised", opening="", closing="")
    found = fitting_sequence(opened(made_book(), battery, pressure), VEHICLE, hub_only())
    assert told(found) == [
        "off depressurised brake", "off disconnected brake", "off hub", "on hub",
        "on disconnected brake", "on depressurised brake",
    ]  # fmt: skip
    assert found.jobs["disconnected brake"].opening == "earth first"


def test_a_fluid_stands_where_the_system_is_filled_and_a_seal_where_it_is_named():
    fluid, seal = made_book().components["FLUID"], component("SEAL", "axles", loose=True)
    fluid = replace(fluid, characteristics={"contents_volume": read_measure("1 l", "volume")})
    book = made_book()
    book = replace(
        opened(book, Access(name="a", position="brake", other_position="servo", reason="r", state="bled")),
        components={**book.components, "FLUID": fluid, "SEAL": seal},
        companions=(*book.companions, Companion(
            name="c-seal", component="CAL", reason="r",
            alternatives=(Alternative("SEAL", loose=True, goes_in="hub"),),
        )),
    )  # fmt: skip
    solution = hub_only(
        changes=(
            change("brake", "brakes", "CAL", WISH, claim="f1"),
            change("hub", "axles", "HUB", WISH, minutes=20),
        ),
        loose=(
            Loose("FLUID", 1, None, asked_by(book, "c-fluid")),
            Loose("SEAL", 2, None, asked_by(book, "c-seal")),
        ),
        after={"hub": "HUB", "brake": "CAL", "servo": "S"},
    )  # fmt: skip
    found = fitting_sequence(book, VEHICLE, solution)
    assert told(found)[-1] == "on bled servo"
    assert [use.component for use in found.jobs["bled servo"].loose] == ["FLUID"]
    assert sum(use.quantity for use in found.jobs["hub"].loose) == 1
    assert {use.component for job in found.jobs.values() for use in job.loose} == {"FLUID", "SEAL"}


def test_what_is_tightened_again_is_last():
    again = replace(made_book().tightenings[0], again_after=read_measure("50 mile", "length"))
    book = replace(
        opened(made_book(), Access(name="a", position="hub", other_position="brake", reason="r")),
        tightenings=(again,),
    )
    found = fitting_sequence(book, VEHICLE, hub_only())
    assert told(found)[-1] == "on again after 50 mile"
    assert found.jobs["again after 50 mile"].tightenings == ("Caliper bolts: 80 Nm, then 60 deg",)
    assert "again after 50 miles" in found.jobs["brake"].tightenings[0]
    assert "again after 50 mile" in {step.job for step in found.untimed}, "nobody recorded how long it takes"


def test_what_is_tightened_again_sooner_stands_first_in_whatever_unit_and_section():
    book = made_book()
    bolts, hub = book.tightenings[0], replace(book.tightenings[0], position="hub", component="HUB")
    again = [(bolts, "1000 km"), (hub, "500 km"), (bolts, "50 mile"), (hub, "50 mile")]
    book = replace(
        book,
        tightenings=tuple(
            replace(record, name=f"t{n}", again_after=read_measure(written, "length"))
            for n, (record, written) in enumerate(again)
        ),
    )
    changes = (change("brake", "brakes", "CAL", WISH), change("hub", "axles", "HUB", WISH))
    found = fitting_sequence(book, VEHICLE, hub_only(changes=changes))
    assert told(found)[-3:] == ["on again after 50 mile", "on again after 500 km", "on again after 1000 km"]
    assert len(found.jobs["again after 50 mile"].tightenings) == 2


def test_loose_parts_that_are_steps_of_their_own_keep_the_order_of_the_set_behind_all_else():
    book = made_book()
    loose = {number: component(number, "brakes", loose=True) for number in ("WAX", "OIL", "GREASE")}
    book = replace(book, components={**book.components, "SERVO": component("SERVO", "brakes"), **loose})
    solution = hub_only(
        changes=(change("servo", "brakes", "SERVO", WISH), change("brake", "brakes", "CAL", WISH)),
        loose=tuple(Loose(number, 1, None, WISH) for number in loose),
        after={"servo": "SERVO", "brake": "CAL"},
    )
    steps = told(fitting_sequence(book, VEHICLE, solution))
    assert steps[-3:] == ["on loose WAX", "on loose OIL", "on loose GREASE"], steps


def test_a_pipe_that_made_room_is_back_before_its_circuit_is_bled():
    """What was open is whole again before fluid goes in."""
    book = opened(
        made_book(),
        Access(name="a", position="hub", other_position="servo", reason="it covers the hub"),
        Access(name="b", position="hub", other_position="brake", reason="air came in", state="bled"),
        Access(name="c", position="servo", other_position="brake", reason="air came in", state="bled"),
    )
    there = {"servo": "S", "brake": "CAL"}
    solution = hub_only(today=there | {"hub": "OLD"}, after=there | {"hub": "HUB"})
    found = told(fitting_sequence(book, VEHICLE, solution))
    assert found == ["off servo", "off hub", "on hub", "on servo", "on bled brake"]


def test_what_is_filled_takes_the_fluids_of_its_own_section_only():
    """Wax for a hub is none of what a brake circuit is filled with."""
    wax = component("WAX", "axles", loose=True)
    wax = replace(wax, characteristics={"contents_volume": read_measure("1 l", "volume")})
    book = opened(
        made_book(), Access(name="a", position="hub", other_position="servo", reason="r", state="bled")
    )
    rule = Companion(
        name="c-wax", component="HUB", reason="r",
        alternatives=(Alternative("WAX", loose=True, goes_on="after"),),
    )  # fmt: skip
    book = replace(book, components={**book.components, "WAX": wax}, companions=(rule,))
    because = asked_by(book, "c-wax", "hub")
    solution = hub_only(
        loose=(Loose("WAX", 1, None, because),), after={"hub": "HUB", "brake": "CAL", "servo": "S"}
    )
    found = fitting_sequence(book, VEHICLE, solution)
    assert [use.component for use in found.jobs["hub"].loose] == ["WAX"]
    assert found.jobs["bled servo"].loose == ()
