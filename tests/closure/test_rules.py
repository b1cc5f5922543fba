"""What each kind of rule means, clause by clause of the guide, on books small enough to read."""

import pytest

from graftbook.closure.answer import Cause, Missing, NeverEmpty, Outcome
from graftbook.closure.complete import check_completeness
from graftbook.closure.criteria import Criterion
from graftbook.closure.question import ClearPosition, FitComponent, Limits, Question, RemedyFlaw, RemedyFlaws
from graftbook.closure.search.brought import units_of
from graftbook.closure.words import sentences
from graftbook.rulebook.model import (
    Alternative,
    Budget,
    Comparator,
    Effort,
    Flaw,
    Joint,
    Severity,
    Side,
    Supersession,
    Supply,
    When,
)
from graftbook.rulebook.scope import Fit, Scope
from tests.closure.shelf import (
    VEHICLE,
    Shelf,
    amount,
    at,
    blamed,
    changes,
    clash,
    kits,
    loose,
    needs,
    wanted,
    word,
)


def test_a_wish_for_what_is_there_changes_nothing() -> None:
    answer = Shelf(brake="drum disc").ask("drum")
    assert answer.outcome is Outcome.proved
    assert changes(answer) == {}


# Companions -------------------------------------------------------------------------------------


def test_a_companion_follows_and_its_companion_too() -> None:
    shelf = Shelf(brake="drum disc", hub="hub hub2", wheel="wheel wheel2")
    shelf.add(
        "companions", needs("r1", "disc", at("hub2", "hub")), needs("r2", "hub2", at("wheel2", "wheel"))
    )
    answer = shelf.ask("disc")
    assert changes(answer) == {"brake": "disc", "hub": "hub2", "wheel": "wheel2"}
    reasons = {
        c.position: (c.because.cause, c.because.name, c.because.parent) for c in answer.solution.changes
    }
    assert reasons["hub"] == (Cause.companion, "r1", "brake")
    assert reasons["wheel"] == (Cause.companion, "r2", "hub")
    assert answer.engine == "propagation"


def test_a_cycle_of_companions_is_normal() -> None:
    shelf = Shelf(brake="drum disc", hub="hub hub2")
    shelf.add("companions", needs("r1", "disc", at("hub2", "hub")), needs("r2", "hub2", at("disc", "brake")))
    answer = shelf.ask("hub2")
    assert changes(answer) == {"brake": "disc", "hub": "hub2"}
    assert [c.depth for c in answer.solution.changes] == [1, 0]


def test_a_companion_of_what_stays_binds_when_it_holds_today() -> None:
    shelf = Shelf(tank="tank", pump="pump pump2 pump3", hose="hose hose2")
    shelf.add("companions", needs("r", "tank", at("pump", "pump"), at("pump2", "pump")))
    assert changes(shelf.ask("pump2")) == {"pump": "pump2"}
    assert shelf.ask("pump3").outcome is Outcome.impossible


def test_a_companion_broken_today_is_already_so() -> None:
    shelf = Shelf(tank="tank", pump="pump pump2", hose="hose hose2")
    shelf.add("companions", needs("r", "tank", at("pump2", "pump")))
    answer = shelf.ask("hose2")
    assert changes(answer) == {"hose": "hose2"}
    assert [note.name for note in answer.solution.already_so] == ["r"]


def test_a_loose_alternative_demands_nothing_of_what_stays() -> None:
    shelf = Shelf(tank="tank", pump="pump pump2").kit("seal")
    shelf.add("companions", needs("r", "tank", at("pump", "pump"), loose("seal")))
    answer = shelf.ask("pump2")
    assert changes(answer) == {"pump": "pump2"}
    assert kits(answer) == {}


def test_an_alternative_may_be_a_value_and_a_missing_value_does_not_satisfy() -> None:
    shelf = Shelf(brake="drum disc", cylinder="small mid big")
    shelf.part("mid").part("big", characteristics={"bore": amount(22)})
    bore = wanted("bore", Comparator.at_least, amount(22))
    shelf.add("companions", needs("r", "disc", Alternative(position="cylinder", having=(bore,))))
    assert changes(shelf.ask("disc")) == {"brake": "disc", "cylinder": "big"}


def test_an_alternative_may_be_an_empty_position() -> None:
    shelf = Shelf(brake="drum disc", valve="valve ?", lock="lock")
    shelf.add("companions", needs("r", "disc", Alternative(position="valve", empty=True)))
    assert changes(shelf.ask("disc")) == {"brake": "disc", "valve": None}
    shelf.add("companions", needs("s", "disc", Alternative(position="lock", empty=True)))
    answer = shelf.ask("disc")
    assert blamed(answer) == [{"wish: fit disc", "s"}]
    assert answer.contradictions[0].facts[0].ground == NeverEmpty("lock")


def test_an_alternative_without_position_is_met_anywhere() -> None:
    shelf = Shelf(brake="drum disc", left="l0 lamp", right="r0")
    shelf.fits("lamp", "right", minutes=5)
    shelf.add("companions", needs("r", "disc", Alternative("lamp")))
    assert changes(shelf.ask("disc")) == {"brake": "disc", "right": "lamp"}


def test_a_rule_at_one_position_leaves_the_other_alone() -> None:
    shelf = Shelf(left="l0 disc", right="r0", hub="hub hub2").fits("disc", "right")
    shelf.add("companions", needs("r", "disc", at("hub2", "hub"), position="left"))
    assert changes(shelf.ask(FitComponent("disc", "left"))) == {"left": "disc", "hub": "hub2"}
    assert changes(shelf.ask(FitComponent("disc", "right"))) == {"right": "disc"}


def test_advice_never_binds_and_is_listed() -> None:
    shelf = Shelf(brake="drum disc", hub="hub hub2")
    shelf.add("companions", needs("r", "disc", at("hub2", "hub"), required=False))
    answer = shelf.ask("disc")
    assert changes(answer) == {"brake": "disc"}
    assert [note.name for note in answer.solution.advised] == ["r"]


def test_quantities_add_up_unless_one_serves_all() -> None:
    shelf = Shelf(left="l0 disc", right="r0 disc2").kit("bolt").kit("fluid")
    shelf.add(
        "companions",
        needs("b1", "disc", loose("bolt", 4)),
        needs("b2", "disc2", loose("bolt", 3)),
        needs("f1", "disc", loose("fluid", 2), one_serves_all=True),
        needs("f2", "disc2", loose("fluid", 1), one_serves_all=True),
    )
    answer = shelf.ask("disc", "disc2", FitComponent("fluid", quantity=5))
    assert kits(answer) == {"bolt": 7, "fluid": 7}
    assert answer.solution.totals.price == 200 + 1400


@pytest.mark.parametrize(("pieces", "cylinder"), [(1, "a"), (2, "b")])
def test_what_serves_all_costs_the_most_pieces_that_one_rule_asks_for(pieces: int, cylinder: str) -> None:
    """The part a costs 1.00 and its fluid 1.00 a piece; b costs 2.50 with what it needs."""
    shelf = Shelf(brake="drum disc", cylinder="old a b").kit("fluid").part("b", price=250)
    shelf.add(
        "companions",
        needs("cylinder rule", "disc", at("a", "cylinder"), at("b", "cylinder")),
        needs("fluid rule", "a", loose("fluid", pieces), one_serves_all=True),
        needs("drop rule", "a", loose("fluid"), one_serves_all=True),
    )
    assert changes(shelf.ask("disc"))["cylinder"] == cylinder


# Conflicts, joints, budgets ---------------------------------------------------------------------


def test_a_conflict_opens_the_place_of_what_is_in_the_way() -> None:
    shelf = Shelf(brake="drum disc", wheel="narrow wide").add("conflicts", clash("k", "disc", "narrow"))
    answer = shelf.ask("disc")
    assert changes(answer) == {"brake": "disc", "wheel": "wide"}
    assert answer.solution.changes[1].because.cause is Cause.conflict


def test_a_conflict_as_it_is_today_is_already_so_until_a_side_changes() -> None:
    shelf = Shelf(brake="drum disc", wheel="narrow wide", lamp="lamp lamp2")
    shelf.add("conflicts", clash("k", "drum", "narrow"), clash("k2", "disc", "narrow"))
    answer = shelf.ask("lamp2")
    assert [note.name for note in answer.solution.already_so] == ["k"]
    assert changes(shelf.ask("disc")) == {"brake": "disc", "wheel": "wide"}


def test_a_conflict_may_name_a_loose_part() -> None:
    shelf = Shelf(brake="drum disc", seal="rubber viton").kit("oil").kit("oil2", price=900)
    shelf.add("companions", needs("r", "disc", loose("oil"), loose("oil2")))
    shelf.add("conflicts", clash("k", "oil", "rubber"))
    answer = shelf.ask("disc", limits=Limits(keep=frozenset({"seal"})))
    assert kits(answer) == {"oil2": 1}


def joint(comparator: Comparator, margin: float = 0.0) -> Joint:
    return Joint(
        name="j",
        position="hub",
        kind="splines",
        comparator=comparator,
        other_position="shaft",
        other_kind="splines",
        margin=margin,
        reason="splines must agree",
    )


def spline_shelf(hub2: float, shaft: float, shaft2: float) -> Shelf:
    shelf = Shelf(hub="hub hub2", shaft="shaft shaft2")
    shelf.part("hub", characteristics={"splines": amount(shaft)})
    for number, value in (("hub2", hub2), ("shaft", shaft), ("shaft2", shaft2)):
        shelf.part(number, characteristics={"splines": amount(value)})
    return shelf


@pytest.mark.parametrize(
    ("comparator", "margin", "values", "follows"),
    [
        (Comparator.equal, 0, (24, 10, 24), True),
        (Comparator.equal, 0, (10, 10, 24), False),
        (Comparator.equal, 1, (11, 10, 24), False),
        (Comparator.at_least, 0, (9, 10, 8), True),
        (Comparator.at_least, 0, (10, 10, 8), False),
        (Comparator.at_least, 2, (11, 10, 8), True),
        (Comparator.at_most, 0, (11, 10, 12), True),
        (Comparator.at_most, 2, (9, 10, 12), True),
        (Comparator.at_most, 2, (8, 10, 12), False),
    ],
)
def test_a_joint_brings_what_agrees(comparator, margin, values, follows) -> None:
    shelf = spline_shelf(*values).add("joints", joint(comparator, margin))
    expected = {"hub": "hub2", "shaft": "shaft2"} if follows else {"hub": "hub2"}
    assert changes(shelf.ask("hub2")) == expected


def test_a_joint_with_an_empty_position_does_not_apply() -> None:
    shelf = spline_shelf(24, 10, 11).add("joints", joint(Comparator.equal)).place("shaft", essential=False)
    assert changes(shelf.ask("hub2")) == {"hub": "hub2", "shaft": None}


def test_a_value_that_is_not_recorded_is_neither_pass_nor_failure() -> None:
    shelf = spline_shelf(24, 24, 24).part("hub2", characteristics={}).add("joints", joint(Comparator.equal))
    answer = shelf.ask("hub2")
    assert changes(answer) == {"hub": "hub2"}
    (note,) = answer.solution.not_determined
    assert note.name == "j"
    assert note.missing == (Missing(("splines",), Fit("hub", "hub2")),)
    assert answer.solution.totals.unconfirmed == 1


def test_either_polarity_equals_both() -> None:
    shelf = spline_shelf(1, 1, 1).add("joints", joint(Comparator.equal))
    for number, text in (("hub2", "either"), ("shaft", "positive"), ("shaft2", "negative")):
        shelf.part(number, characteristics={"splines": word(text)})
    assert changes(shelf.ask("hub2")) == {"hub": "hub2"}
    shelf.part("hub2", characteristics={"splines": word("negative")})
    assert changes(shelf.ask("hub2")) == {"hub": "hub2", "shaft": "shaft2"}


def current_shelf(usable: float = 1.0) -> Shelf:
    shelf = Shelf(charge="dynamo alternator", lamps="lamps halogen", fan="none fan")
    shelf.part("dynamo", characteristics={"gives": amount(20)})
    shelf.part("alternator", characteristics={"gives": amount(45)})
    shelf.part("lamps", characteristics={"takes": amount(10)})
    shelf.part("halogen", characteristics={"takes": amount(20)})
    shelf.part("fan", characteristics={"takes": amount(5)})
    budget = Budget(name="b", supply_kind="gives", demand_kind="takes", usable=usable, reason="current")
    return shelf.add("budgets", budget)


def test_a_budget_that_no_longer_holds_brings_a_supply() -> None:
    assert changes(current_shelf().ask("halogen")) == {"lamps": "halogen"}
    answer = current_shelf().ask("halogen", "fan")
    assert changes(answer) == {"lamps": "halogen", "fan": "fan", "charge": "alternator"}
    alternator = next(c for c in answer.solution.changes if c.position == "charge")
    assert alternator.because.cause is Cause.budget
    assert alternator.because.parent == "lamps"


def test_a_budget_is_reckoned_in_seven_digits_of_the_greatest_value_of_the_book() -> None:
    """Whole units for every engine: of more digits the solver once called a possible question impossible."""
    book = current_shelf().book()
    (budget,) = book.budgets
    scope = Scope(book, VEHICLE)
    assert units_of(scope, budget, Fit("charge", "alternator")) == 4_500_000
    assert units_of(scope, budget, Fit("fan", "fan")) == -500_000


def test_a_budget_broken_today_binds_once_a_contribution_changes() -> None:
    shelf = current_shelf(usable=0.25).place("lamps", section="trim")
    shelf.positions["mirror"] = shelf.positions["fan"].__class__("mirror", "trim", "the mirror", True)
    shelf.part("m1").fits("m1", "mirror", from_new=True).part("m2").fits("m2", "mirror")
    answer = shelf.ask("m2")
    assert changes(answer) == {"mirror": "m2"}
    assert [note.name for note in answer.solution.already_so] == ["b"]
    assert shelf.ask("halogen").outcome is Outcome.impossible


def test_what_equals_the_supply_exactly_is_covered() -> None:
    shelf = current_shelf(usable=0.75).part("halogen", characteristics={"takes": amount(15)})
    assert changes(shelf.ask("halogen")) == {"lamps": "halogen"}


# Pairs, flaws, supersession ---------------------------------------------------------------------


def test_a_pair_changes_together_to_the_handed_twin() -> None:
    shelf = Shelf(left="l0 discL", right="r0 discR").part("discL", twin="discR")
    shelf.place("left", pair="front").place("right", pair="front")
    answer = shelf.ask("discL")
    assert changes(answer) == {"left": "discL", "right": "discR"}
    assert answer.solution.changes[1].because.cause is Cause.pair


def test_a_pair_without_twin_takes_the_same_component_or_nothing_goes() -> None:
    shelf = Shelf(left="l0 disc", right="r0").place("left", pair="front").place("right", pair="front")
    assert shelf.ask("disc").outcome is Outcome.impossible
    assert changes(shelf.fits("disc", "right").ask("disc")) == {"left": "disc", "right": "disc"}


def flawed(**more) -> Flaw:
    values = {"name": "f", "component": "drum", "severity": Severity.severe, "symptom": "it fades", **more}
    return Flaw(**values)


def test_a_flaw_is_remedied_by_taking_its_component_away() -> None:
    answer = Shelf(brake="drum disc").add("flaws", flawed()).ask(RemedyFlaw("f"))
    assert changes(answer) == {"brake": "disc"}
    assert [note.flaw for note in answer.solution.flaws_gone] == ["f"]


def test_a_flaw_of_several_components_is_remedied_by_none_of_them() -> None:
    shelf = Shelf(brake="drum drum2 disc").part("disc", price=90_000).add("flaws", flawed(also_of=("drum2",)))
    assert changes(shelf.ask(RemedyFlaw("f"))) == {"brake": "disc"}
    limits = Limits(refuse=frozenset({"disc"}))
    assert shelf.ask(RemedyFlaw("f"), limits=limits).outcome is Outcome.impossible
    changed = shelf.ask("drum2").solution
    assert [(note.flaw, note.component) for note in changed.flaws_left] == [("f", "drum2")]
    assert (changed.flaws_gone, changed.flaws_brought) == ((), ())


def test_a_flaw_is_remedied_by_an_add_on() -> None:
    shelf = Shelf(brake="drum disc", servo="- servo ?").add("flaws", flawed(add_ons=("servo",)))
    shelf.fits("disc", "brake", effort=Effort.cutting)
    assert changes(shelf.ask(RemedyFlaw("f"))) == {"servo": "servo"}
    shelf = Shelf(brake="drum disc").kit("kit").add("flaws", flawed(add_ons=("kit",)))
    answer = shelf.ask(RemedyFlaw("f"))
    assert changes(answer) == {}
    assert kits(answer) == {"kit": 1}


def test_a_flaw_that_a_wish_brings_is_remedied_by_a_loose_part() -> None:
    shelf = Shelf(brake="drum disc").kit("kit").add("flaws", flawed(component="disc", add_ons=("kit",)))
    answer = shelf.ask("disc")
    assert (changes(answer), kits(answer)) == ({"brake": "disc"}, {"kit": 1})
    assert (answer.solution.flaws_left, answer.solution.flaws_brought) == ((), ())


def test_a_flaw_that_an_add_on_of_today_holds_off_is_neither_gone_nor_left() -> None:
    shelf = Shelf(brake="drum disc", servo="servo - ?", lamp="lamp lamp2").add(
        "flaws", flawed(add_ons=("servo",))
    )
    answer = shelf.ask("lamp2")
    assert (answer.solution.flaws_gone, answer.solution.flaws_left) == ((), ())
    assert not shelf.ask("disc").solution.flaws_gone
    bared = shelf.ask(ClearPosition("servo"))
    assert [note.flaw for note in bared.solution.flaws_brought] == ["f"]


def test_a_severity_wish_means_each_flaw_of_that_severity() -> None:
    shelf = Shelf(brake="drum disc", lamp="lamp lamp2", horn="horn horn2")
    shelf.add(
        "flaws",
        flawed(),
        flawed(name="g", component="lamp", severity=Severity.dangerous),
        flawed(name="h", component="horn", severity=Severity.minor),
    )
    answer = shelf.ask(RemedyFlaws(Severity.severe))
    assert changes(answer) == {"brake": "disc", "lamp": "lamp2"}
    assert [note.flaw for note in answer.solution.flaws_left] == ["h"]
    answer = shelf.ask(RemedyFlaws(Severity.severe), limits=Limits(keep=frozenset({"lamp"})))
    assert blamed(answer) == [{"g", "limit: keep lamp"}]


def test_a_flaw_that_a_new_component_brings_is_avoided_and_else_listed() -> None:
    shelf = Shelf(brake="drum disc disc2", hub="hub").add("flaws", flawed(component="disc"))
    shelf.part("disc2", price=900)
    shelf.add("companions", needs("r", "hub", at("drum", "brake"), at("disc", "brake"), at("disc2", "brake")))
    answer = shelf.ask(RemedyFlaw("none"), ClearPosition("gone"), "disc")
    assert [note.flaw for note in answer.solution.flaws_brought] == ["f"]
    assert answer.solution.totals.flaws == Severity.severe


def test_an_old_number_stands_for_its_successors() -> None:
    shelf = Shelf(brake="drum old").retire("old").part("new")
    shelf.add("supersessions", Supersession(name="s", old="old", new="new"))
    answer = shelf.ask("old")
    assert changes(answer) == {"brake": "new"}
    assert answer.solution.changes[0].asked_number == "old"


def test_a_successor_without_fitment_stands_in_the_stead_of_the_old() -> None:
    shelf = Shelf(brake="drum old", hub="hub hub2").retire("old").part("new")
    shelf.add("supersessions", Supersession(name="s", old="old", new="new"))
    shelf.add("companions", needs("r", "old", at("hub2", "hub")))
    assert changes(shelf.ask("new")) == {"brake": "new", "hub": "hub2"}
    shelf.fits("new", "brake")
    assert changes(shelf.ask("new")) == {"brake": "new"}


def test_a_branch_gives_several_candidates() -> None:
    shelf = Shelf(brake="drum old").retire("old").part("a", price=300).part("b", price=200)
    shelf.add(
        "supersessions",
        Supersession(name="s", old="old", new="a"),
        Supersession(name="t", old="old", new="b"),
    )
    answer = shelf.ask("old")
    assert changes(answer) == {"brake": "b"}
    (change,) = answer.solution.changes
    assert (change.forced, change.choices) == (False, 2)
    assert change.others[0].component == "a"
    assert change.others[0].difference.figures == {Criterion.price: 100}


def test_two_ways_each_stands_for_the_other() -> None:
    shelf = Shelf(brake="drum a").part("b").part("a", supply=Supply.no_longer_supplied)
    shelf.add("supersessions", Supersession(name="s", old="b", new="a", both_ways=True))
    assert changes(shelf.ask("a")) == {"brake": "b"}


def test_a_number_no_longer_supplied_comes_only_from_the_bench() -> None:
    shelf = Shelf(brake="drum disc").part("disc", supply=Supply.no_longer_supplied)
    answer = shelf.ask("disc")
    assert [fact.name for fact in answer.contradictions[0].facts] == ["no longer supplied"]
    assert changes(shelf.ask("disc", on_the_bench=frozenset({"disc"}))) == {"brake": "disc"}


# Vehicle and limits -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "holds"),
    [
        (When(chassis_prefix="24L", chassis_from=500), True),
        (When(chassis_prefix="24L", chassis_from=501), False),
        (When(chassis_prefix="24R", chassis_from=1), False),
        (When(built_to=VEHICLE.built), True),
        (When(options=frozenset({"heater"})), True),
        (When(without=frozenset({"heater"})), False),
    ],
)
def test_conditions_are_settled_when_the_question_is_asked(when: When, holds: bool) -> None:
    shelf = Shelf(brake="drum disc", hub="hub hub2")
    shelf.add("companions", needs("r", "disc", at("hub2", "hub"), when=when))
    assert changes(shelf.ask("disc")) == ({"brake": "disc", "hub": "hub2"} if holds else {"brake": "disc"})
    shelf = Shelf(brake="drum disc").fits("disc", "brake", when=when)
    assert (shelf.ask("disc").outcome is Outcome.proved) is holds


def test_what_the_build_has_fitted_is_where_it_starts() -> None:
    shelf = Shelf(brake="drum disc", hub="hub hub2")
    shelf.add("companions", needs("r", "disc", at("hub2", "hub")))
    answer = shelf.ask("drum", fitted={"brake": "disc"})
    assert changes(answer) == {"brake": "drum"}
    answer = shelf.ask("disc", fitted={"brake": "disc"})
    assert changes(answer) == {}
    assert [note.name for note in answer.solution.already_so] == ["r"]


@pytest.mark.parametrize(
    ("limits", "name"),
    [
        (Limits(keep=frozenset({"brake"})), "limit: keep brake"),
        (Limits(keep_sections=frozenset({"brakes"})), "limit: keep section brakes"),
        (Limits(refuse=frozenset({"disc"})), "limit: refuse disc"),
        (Limits(effort_at_most=Effort.machining), "limit: nothing cut or welded"),
        (Limits(nothing_visible=True), "limit: nothing visible"),
        (Limits(price_at_most=99), "limit: price ceiling"),
    ],
)
def test_each_limit_is_kept_and_blamed_by_its_name(limits: Limits, name: str) -> None:
    shelf = Shelf(brake="drum disc").part("disc", visible=True)
    shelf.fits("disc", "brake", effort=Effort.cutting)
    assert changes(shelf.ask("disc")) == {"brake": "disc"}
    answer = shelf.ask("disc", limits=limits)
    assert blamed(answer) == [{"wish: fit disc", name}]
    assert [len(way.gives_up) for way in answer.ways_out] == [1, 1]
    assert answer.ways_out[0].gives_up[0].name == name
    assert answer.ways_out[0].totals.changes == 1


@pytest.mark.parametrize(
    ("limits", "instead"),
    [
        (Limits(keep=frozenset({"axle", "brake", "lamp"})), "let the brake be changed"),
        (Limits(refuse=frozenset({"beam", "disc", "lamp2"})), "accept disc (part disc)"),
        (Limits(effort_at_most=Effort.machining), "accept cutting or welding"),
        (Limits(nothing_visible=True), "accept visible changes"),
    ],
)
def test_the_way_out_names_the_limit_that_is_in_the_way(limits: Limits, instead: str) -> None:
    shelf = Shelf(axle="beam0 beam", brake="drum disc", lamp="lamp lamp2").part("disc", visible=True)
    shelf.fits("disc", "brake", effort=Effort.cutting)
    assert sentences.instead(shelf.book(), shelf.ask("disc", limits=limits).ways_out[0]) == instead


@pytest.mark.parametrize(("ceiling", "possible"), [(349, False), (350, True), (351, True)])
def test_a_ceiling_is_kept_to_the_penny(ceiling: int, possible: bool) -> None:
    """Two pieces of 1.50 and a loose part of 0.50 are 3.50: by the closure, and by the check of a list."""
    shelf = Shelf(brake="drum disc").part("disc", price=150).fits("disc", "brake", quantity=2)
    shelf.kit("grease", price=50).add("companions", needs("g", "disc", loose("grease")))
    limits = Limits(price_at_most=ceiling)
    answer = shelf.ask("disc", limits=limits)
    assert answer.outcome is (Outcome.proved if possible else Outcome.impossible)
    question = Question(VEHICLE, (FitComponent("disc"),), limits=limits)
    checked = check_completeness(shelf.book(), question, {"brake": "disc"}, {"grease": 1})
    assert checked.complete is possible
    assert [note.name for note in checked.limits_broken] == ([] if possible else ["limit: price ceiling"])


def test_with_a_ceiling_an_unknown_price_cannot_be_chosen() -> None:
    shelf = Shelf(brake="drum disc").part("disc", price=None)
    assert shelf.ask("disc").solution.totals.unknown_prices == ("disc",)
    assert shelf.ask("disc", limits=Limits(price_at_most=10_000)).outcome is Outcome.impossible


# Preference -------------------------------------------------------------------------------------


def choice_shelf() -> Shelf:
    shelf = Shelf(brake="drum disc", hub="hub a b c").add("companions", needs("r", "disc", Alternative("a")))
    shelf.rules["companions"] = [needs("r", "disc", at("a", "hub"), at("b", "hub"), at("c", "hub"))]
    return shelf


@pytest.mark.parametrize(
    ("worse", "criterion"),
    [
        ({"effort": Effort.cutting}, Criterion.irreversible),
        ({"minutes": 99}, Criterion.labour),
        ({"evidence": ()}, Criterion.unconfirmed),
    ],
)
def test_fitments_are_compared_by_the_preference(worse: dict, criterion: Criterion) -> None:
    shelf = choice_shelf().fits("a", "hub", **worse).fits("b", "hub", **worse)
    assert changes(shelf.ask("disc"))["hub"] == "c"
    shelf.part("c", price=500)
    assert changes(shelf.ask("disc", preference=(criterion,)))["hub"] == "c"
    assert changes(shelf.ask("disc", preference=(Criterion.price,)))["hub"] == "a"


def test_an_unknown_price_sorts_after_every_known_one() -> None:
    shelf = choice_shelf().part("a", price=None).part("b", price=99_999).part("c", price=99_998)
    assert changes(shelf.ask("disc"))["hub"] == "c"


def test_ties_break_by_component_number() -> None:
    assert changes(choice_shelf().ask("disc"))["hub"] == "a"


def test_a_conflict_side_may_be_a_value() -> None:
    shelf = Shelf(brake="drum disc", wheel="narrow wide")
    shelf.part("narrow", characteristics={"width": amount(5)}).part(
        "wide", characteristics={"width": amount(6)}
    )
    side = Side(position="wheel", having=(wanted("width", Comparator.at_most, amount(5)),))
    shelf.add("conflicts", clash("k", "disc", side))
    assert changes(shelf.ask("disc")) == {"brake": "disc", "wheel": "wide"}
