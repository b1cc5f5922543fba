"""Lint: each kind of contradiction is found where it is made, and not where it is not."""

import random
from dataclasses import replace

import networkx as nx
import pytest
from sqlalchemy import Engine, select

from graftbook.catalogue.compiling.queries import compile_book
from graftbook.catalogue.lint import lint as linting
from graftbook.catalogue.lint.closure import Survey
from graftbook.catalogue.lint.equipment import figure_findings
from graftbook.catalogue.lint.finding import LintFinding, LintSeverity, Wrong
from graftbook.catalogue.lint.lint import circles_in
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.tables import table
from graftbook.database import reading
from graftbook.editing.linting.side_by_side import lint
from tests.benchmarks import world
from tests.catalogue.sheet import sheet, small

SOUND = (
    ("finish,plated,\nTD", "finish,plain,\nTD"),  # its plated alternative is then met by nobody
)


OF_THE_SMALL_CATALOGUE = {
    Wrong.nobody_offers,
    Wrong.idle_option,
    Wrong.no_evidence,
    Wrong.broken_from_new,
}
"""What is found in it as it stands: few of its parts are offered, nothing asks for its bell, two rules
rest on nothing, the dynamo gives less than the lamp takes."""


def all_findings(engine: Engine, *changes: tuple[str, str], more: str = "") -> list[LintFinding]:
    report = load(engine, [small(*changes), *([sheet(more)] if more else [])])
    assert report.ok, [str(mistake) for mistake in report.mistakes]
    return list(lint(engine))


def findings(engine: Engine, *changes: tuple[str, str], more: str = "") -> list[LintFinding]:
    return [f for f in all_findings(engine, *changes, more=more) if f.wrong not in OF_THE_SMALL_CATALOGUE]


def of(kind: Wrong, found: list[LintFinding]) -> list[LintFinding]:
    return [finding for finding in found if finding.wrong is kind]


def test_the_small_catalogue_is_sound(engine: Engine) -> None:
    assert findings(engine) == []


@pytest.mark.one_engine
def test_two_from_new_at_once(engine: Engine) -> None:
    found = findings(
        engine,
        (
            "early brake,TB-1,brake,direct,2,10,yes,,two,,2L-0500",
            "early brake,TB-1,brake,direct,2,10,yes,,two,,2L-0501",
        ),
    )
    (one,) = found
    assert one.wrong is Wrong.two_at_once
    assert one.records == ("brake", "TB-2@brake", "early brake")
    assert one.variants == ("T2-L",)
    assert "2L-501" in one.sentence


@pytest.mark.one_engine
def test_nothing_from_new_at_an_essential_position(engine: Engine) -> None:
    found = findings(
        engine,
        (
            "early brake,TB-1,brake,direct,2,10,yes,,two,,2L-0500",
            "early brake,TB-1,brake,direct,2,10,yes,,two,,2L-0499",
        ),
    )
    (one,) = found
    assert one.wrong is Wrong.nothing_from_new
    assert one.records == ("brake",)
    assert "2L-500" in one.sentence


@pytest.mark.one_engine
def test_options_are_tried_with_and_without(engine: Engine) -> None:
    more = (
        "[fitment]\nname,component,position,from_new,generations,options\nextra lamp,TC-1,lamp,yes,two,bell\n"
    )
    (one,) = of(Wrong.two_at_once, findings(engine, more=more))
    assert one.records == ("lamp", "TL-1@lamp", "extra lamp")
    assert "with bell, lamp" in one.sentence


@pytest.mark.one_engine
def test_numbers_that_supersede_each_other_in_a_circle(engine: Engine) -> None:
    more = "[supersession]\nold,new\nTB-2,TD-1\nTD-1,TB-1\n"
    (one,) = of(Wrong.circle, findings(engine, more=more))
    assert set(one.records) == {"TB-1>>TB-2", "TB-2>>TD-1", "TD-1>>TB-1"}


@pytest.mark.one_engine
def test_numbers_that_stand_for_each_other_are_no_circle(engine: Engine) -> None:
    more = "[supersession]\nold,new,both_ways\nTW-10,TW-9,yes\n"
    assert of(Wrong.circle, findings(engine, more=more)) == []


@pytest.mark.one_engine
def test_a_pair_that_nothing_can_fill_says_what_a_pair_takes(engine: Engine) -> None:
    more = "[fitment]\ncomponent,position\nTC-1,wheel.left\n"
    (clip,) = (one for one in of(Wrong.dead, findings(engine, more=more)) if one.records == ("TC-1",))
    pair = "breaks the pair wheel, which takes one component on both sides or its twin"
    assert pair in clip.sentence
    one_left = ("TW-10,wheel.left,direct,1,5,yes", "TW-10,wheel.left,direct,1,5,no")
    unlike = "[fitment]\ncomponent,position,from_new\nTC-1,wheel.left,yes\n"
    (one,) = (one for one in all_findings(engine, one_left, more=unlike) if one.records == ("wheel",))
    assert pair in one.sentence


@pytest.mark.one_engine
def test_a_component_that_can_never_be_fitted_and_those_that_need_it(engine: Engine) -> None:
    more = (
        "[fitment]\ncomponent,position,generations\nTC-1,dynamo,two\nTG-1,lamp,two\n"
        "[companion]\nname,component,reason,fit,at\n"
        "impossible,TC-1,Nothing can.,TL-1,wheel.left\n"
        "needs-the-dead,TG-1,It leans on it.,TC-1,dynamo\n"
    )
    clip, grease, wheel = of(Wrong.dead, findings(engine, more=more))
    assert clip.sentence == "TC-1 can never be fitted: it breaks impossible"
    assert grease.sentence == "TG-1 can never be fitted: it breaks impossible and needs-the-dead"
    assert wheel.records == ("TW-9",), "its grease has a place now, and can sit there never"
    assert clip.severity is LintSeverity.serious


@pytest.mark.one_engine
def test_what_sits_there_today_serves_a_rule_and_no_rule_is_never_met(engine: Engine) -> None:
    """On the late vehicles the block is there from new, whatever it could be had for."""
    more = "[companion]\nname,component,reason,fit,at\nleans,TW-9,It leans on it.,TB-2,brake\n"
    gone = ("TB-2,rubber block,brakes,later-model,current", "TB-2,rubber block,brakes,later-model,{}")
    assert of(Wrong.dead, findings(engine, (gone[0], gone[1].format("no longer supplied")), more=more)) == []


@pytest.mark.one_engine
def test_a_rule_whose_every_alternative_has_a_place_and_can_no_longer_be_had(engine: Engine) -> None:
    more = (
        "[component]\nnumber,name,section,origin,supply\nTX-1,clamp,brakes,original,no longer supplied\n"
        "TX-2,rim,wheels,modern,current\n"
        "[fitment]\ncomponent,position,generations\nTX-1,dynamo,two\nTX-2,wheel.left,two\n"
        "TX-2,wheel.right,two\n"
        "[companion]\nname,component,reason,fit,at\nrim-clamp,TX-2,The rim wants a clamp.,TX-1,dynamo\n"
    )
    found = findings(engine, more=more)
    assert [f.records for f in of(Wrong.dead, found)] == [("TX-2",)]
    (alternative,) = of(Wrong.impossible_alternative, found)
    assert alternative.records == ("rim-clamp", "TX-1 at dynamo")
    successor = "[component]\nnumber,name,section,origin\nTX-3,clamp,brakes,modern\n"
    had = "[supersession]\nold,new\nTX-1,TX-3\n"
    assert load(engine, sheet(successor + had)).ok
    assert not of(Wrong.dead, list(lint(engine)))


@pytest.mark.one_engine
def test_an_alternative_that_never_fits_where_its_demander_does(engine: Engine) -> None:
    found = findings(
        engine,
        (
            "disc-wheel-block,TW-9,wheel.left,The block must grip.,TB-2,brake",
            "disc-wheel-block,TW-9,wheel.left,The block must grip.,TL-1,brake",
        ),
    )
    (one,) = of(Wrong.impossible_alternative, found)
    assert one.records == ("disc-wheel-block", "TL-1 at brake")


@pytest.mark.one_engine
def test_a_wanted_value_that_nobody_has(engine: Engine) -> None:
    (one,) = of(Wrong.impossible_alternative, findings(engine, *SOUND))
    assert one.records == ("disc-wheel-block", "finish equal plated at brake")


@pytest.mark.one_engine
def test_a_joint_whose_kind_nobody_records(engine: Engine) -> None:
    found = findings(engine, ("wheels-alike,wheel.left,bore", "wheels-alike,wheel.left,wheelbase"))
    assert {finding.records for finding in of(Wrong.unrecorded_joint, found)} == {
        ("wheels-alike", "wheel.left", "wheelbase"),
        ("wheels-alike", "wheel.right", "wheelbase"),
    }


@pytest.mark.one_engine
@pytest.mark.parametrize(("bore", "idle"), [("10 mm", [("wide-hub",)]), ("20 mm", [])])
def test_a_companion_that_whatever_sits_there_is(
    engine: Engine, bore: str, idle: list[tuple[str, ...]]
) -> None:
    """The disc wheel's bore is 19 to 20.3 mm, the spoked one's 20 mm, and no wheel is left off."""
    more = (
        "[companion]\nname,component,reason,at,having\n"
        f"wide-hub,TL-1,The lamp's bracket needs a wide hub.,wheel.left,bore at least {bore}\n"
    )
    found = of(Wrong.idle_rule, findings(engine, more=more))
    assert [one.records for one in found] == idle
    assert all(one.severity is LintSeverity.untidy and one.variants == ("T2-L",) for one in found)


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("other", "idle"),
    [
        ("TL-1,brake", True),  # which sits nowhere but at the lamp's place
        ("TL-1,lamp", False),
        ("TW-10,wheel.left", True),  # one wheel in one place
        ("TW-10,wheel.right", False),
        ("TG-1,", False),  # grease is ordered loose
    ],
)
def test_a_conflict_of_what_can_never_meet(engine: Engine, other: str, idle: bool) -> None:
    more = (
        "[conflict]\nname,component,position,other_component,other_position,reason\n"
        f"apart,TW-9,wheel.left,{other},They foul each other.\n"
    )
    found = of(Wrong.idle_rule, findings(engine, more=more))
    assert [one.records for one in found] == ([("apart",)] if idle else [])


def test_evidence_that_nothing_refers_to(engine: Engine) -> None:
    more = "[evidence]\nname,grade,reference\nlost,hearsay,somebody said\n"
    (one,) = findings(engine, more=more)
    assert (one.wrong, one.records) == (Wrong.unused_evidence, ("lost",))


FLAW = "[flaw]\nname,component,severity,symptom,add_ons\n"


@pytest.mark.one_engine
def test_a_flaw_whose_component_can_go_is_remedied_without_any_record_of_it(engine: Engine) -> None:
    assert of(Wrong.no_remedy, findings(engine, ("TW-10>TW-9,TC-1,tried", ",,tried"))) == []


@pytest.mark.one_engine
def test_a_flaw_that_nothing_remedies(engine: Engine) -> None:
    """Nothing but the block and what stands in its stead goes on the brake, and it is never left empty."""
    more = FLAW + "block-wears,TB-2,severe,It wears.,\nlamp-dims,TL-1,minor,It dims.,\n"
    (one,) = of(Wrong.no_remedy, findings(engine, more=more))
    assert (one.records, one.variants) == (("block-wears",), ("T2-L",))
    assert one.sentence == (
        "block-wears of TB-2 cannot be remedied on any vehicle that has it: "
        "nothing else can be had for its place"
    )


@pytest.mark.one_engine
def test_a_remedy_that_breaks_a_rule_is_none(engine: Engine) -> None:
    """The caliper would go on, but it clashes with the wheel, of which there is no other."""
    more = (
        FLAW + "block-wears,TB-2,severe,It wears.,\n"
        "[fitment]\ncomponent,position,generations\nTB-7L,brake,two\n"
        "[conflict]\nname,component,other_component,reason\ntight,TB-7L,TW-10,It fouls the spokes.\n"
        "foul,TB-7L,TW-9,It fouls the disc.\n"
    )
    (one,) = of(Wrong.no_remedy, findings(engine, more=more))
    assert one.sentence.endswith("whatever would remedy it breaks foul and tight")


ORDER = "[precedence]\nname,first,then,work,reason,chassis_from,chassis_to\n"


@pytest.mark.one_engine
def test_work_that_waits_for_itself_is_told_with_its_circle(engine: Engine) -> None:
    more = (
        ORDER + "a,wheel.left,brake,fitting,So.,,\nb,brake,wheel.right,fitting,So.,,\n"
        "c,wheel.right,wheel.left,fitting,So.,,\nd,brake,wheel.left,removing,Other work.,2L-0001,2L-0100\n"
    )
    one, other = of(Wrong.work_in_a_circle, findings(engine, more=more))
    assert one.records == ("a", "b", "c")
    assert one.sentence == (
        "when fitting, brake comes before wheel.right (b), wheel.right comes before wheel.left (c), "
        "wheel.left comes before brake (a): the work can begin nowhere"
    )
    assert (other.records, other.variants) == (("d", "wheel-before-brake"), ("T2-L",))


@pytest.mark.one_engine
def test_orders_of_work_that_never_hold_together_are_no_circle(engine: Engine) -> None:
    more = (
        ORDER + "a,wheel.left,brake,fitting,So.,2L-0001,2L-0500\n"
        "b,brake,wheel.left,fitting,So.,2L-0501,2L-0900\n"
    )
    assert of(Wrong.work_in_a_circle, findings(engine, more=more)) == []


@pytest.mark.one_engine
def test_a_companion_that_goes_on_before_can_close_a_circle(engine: Engine) -> None:
    rule = "[companion]\nname,component,position,reason,fit,at,goes_on\n"
    rule += "block,TW-9,wheel.left,So.,TB-2,brake,{}\n"
    order = ORDER + "a,wheel.left,brake,fitting,So.,,\n"
    assert of(Wrong.work_in_a_circle, findings(engine, more=order + rule.format("after"))) == []
    (one,) = of(Wrong.work_in_a_circle, findings(engine, more=order + rule.format("before")))
    assert one.records == ("a", "block")


def test_offers_in_a_currency_without_a_rate_and_of_numbers_nobody_orders(engine: Engine) -> None:
    more = (
        "[offer]\nsupplier,component,price,currency\n"
        "overseas,TD-1,5,FRF\noverseas,TW-9,5,GBP\nbarrow,TB-1,1,\n"
    )
    found = findings(engine, more=more)
    assert [f.records for f in of(Wrong.no_rate, found)] == [
        ("FRF", "overseas:TD-1"),
        ("GBP", "overseas:TW-9"),
    ]
    (one,) = of(Wrong.offer_of_nothing, found)
    assert one.sentence == "the offer barrow:TB-1 is for TB-1, which is superseded: nobody orders it"
    assert [f.records[0] for f in lint(engine, "GBP") if f.wrong is Wrong.no_rate] == ["FRF"]


def test_a_superseded_number_without_a_successor(engine: Engine) -> None:
    (one,) = of(Wrong.no_successor, findings(engine, ("TB-1,TB-2,1965-01-01,book\n", "TD-1,TB-2,,\n")))
    assert one.records == ("TB-1",)
    assert one.fix == "record its successor, or say that it is no longer supplied"


@pytest.mark.one_engine
def test_one_that_leads_on_both_ways_has_a_successor(engine: Engine) -> None:
    both = "[supersession]\nold,new,both_ways\nTB-2,TB-1,yes\n"
    found = findings(engine, ("TB-1,TB-2,1965-01-01,book\n", "TD-1,TL-1,,\n"), more=both)
    assert of(Wrong.no_successor, found) == []


def test_what_is_current_and_offered_by_nobody_once_there_is_an_offer(engine: Engine) -> None:
    brakes, wheels = of(Wrong.nobody_offers, all_findings(engine))
    assert brakes.records == ("TB-2", "TB-7L", "TB-7R", "TD-1", "TG-1", "TL-1")
    assert wheels.sentence == "no supplier offers TW-9 (section wheels), and an order could not buy it"


def test_without_any_offer_the_prices_of_the_catalogue_stand(sqlite_engine: Engine) -> None:
    text = small().getvalue()
    before, _, after = text.partition("[offer]")
    assert load(sqlite_engine, sheet(before + "[tax]" + after.partition("[tax]")[2])).ok
    assert of(Wrong.nobody_offers, list(lint(sqlite_engine))) == []


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("change", "records"),
    [
        (("TD-1,,supply_a,0.5 A,\n", ""), ("lamps", "supply_a")),
        (("TL-1,,demand_a,500 mA,\n", ""), ("lamps", "demand_a")),
        (("TL-1,,demand_a,500 mA,\n", "TL-1,,demand_a,0 A,\n"), ("lamps", "demand_a")),
    ],
)
def test_a_budget_that_nothing_feeds_or_draws_on(
    engine: Engine, change: tuple[str, str], records: tuple[str, str]
) -> None:
    (one,) = of(Wrong.idle_budget, findings(engine, change))
    assert (one.records, one.variants) == (records, ("T2-L",))


def test_a_circuit_without_a_budget_and_an_option_that_nothing_asks_for(engine: Engine) -> None:
    lamp = ("lamp,brakes,lamp,no,,,lamps,3,two", "lamp,brakes,lamp,no,,,wipers,3,two")
    found = all_findings(engine, lamp)
    (one,) = of(Wrong.no_budget, found)
    assert one.sentence == "the circuit wipers of lamp has no budget: nothing is summed over it"
    (bell,) = of(Wrong.idle_option, found)
    assert (bell.records, bell.severity) == (("bell", "T2-L"), LintSeverity.untidy)


def test_on_the_demo_range_nothing_is_found_that_is_not_so(sqlite_demo: Engine) -> None:
    """Its makers left parts without an offer; a freewheel that seizes is remedied by taking it off."""
    found = list(lint(sqlite_demo, "GBP"))
    assert {finding.wrong for finding in found} == {Wrong.nobody_offers, Wrong.no_evidence}
    with sqlite_demo.connect() as connection:
        component, offer = table("component"), table("offer")
        current = connection.execute(select(component.c.number).where(component.c.supply == "current"))
        offered = set(connection.execute(select(offer.c.component)).scalars())
        unoffered = set(current.scalars()) - offered
    assert {number for one in of(Wrong.nobody_offers, found) for number in one.records} == unoffered
    assert {one.records[0] for one in of(Wrong.no_evidence, found)} == {"fitment", "substitute"}


def test_a_finding_is_data(engine: Engine) -> None:
    more = "[evidence]\nname,grade,reference\nlost,hearsay,somebody said\n"
    (one,) = findings(engine, more=more)
    assert (one.wrong.value, one.severity.value) == ("evidence that nothing refers to", "untidy")
    assert (one.records, one.variants) == (("lost",), ())
    assert one.sentence == "nothing refers to the evidence lost"
    assert one.fix == "name it in the records that it is for, or take it out"


def test_every_kind_of_finding_says_how_much_it_matters_and_what_mends_it() -> None:
    for wrong in Wrong:
        assert LintFinding(wrong, (), "").fix
        assert LintFinding(wrong, (), "").severity in LintSeverity


@pytest.mark.parametrize("seed", range(30))
def test_circles_agree_with_a_graph_library(seed: int) -> None:
    """networkx's strongly connected components, on random graphs."""
    chance = random.Random(seed)
    count = chance.randint(2, 40)
    edges = sorted({(str(chance.randrange(count)), str(chance.randrange(count))) for _ in range(count)})
    edges = [(old, new) for old, new in edges if old != new]
    graph = nx.DiGraph(edges)
    expected = sorted(sorted(group) for group in nx.strongly_connected_components(graph) if len(group) > 1)
    assert [sorted(group) for group in circles_in(edges)] == expected


def test_a_chain_of_any_length_is_walked(engine: Engine) -> None:
    chain = [(str(n), str(n + 1)) for n in range(20_000)]
    assert circles_in(chain) == []
    assert len(circles_in([*chain, ("20000", "0")])[0]) == 20_001


def test_variants_that_are_alike_are_looked_at_once_and_told_each(
    sqlite_engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    bare = "[position]\nname,range,section,title,essential\nbare,f00000,s1,Bare place,yes\n"
    assert load(sqlite_engine, [sheet("".join(world.sheet(1))), sheet(bare)]).ok
    looked_at: list[str] = []
    monkeypatch.setattr(linting, "compile_book", lambda s, v: looked_at.append(v) or compile_book(s, v))
    at_once = list(lint(sqlite_engine))
    assert looked_at[:2] == ["f00000-v0", "f00000-v4"]
    monkeypatch.setattr(linting, "alike_variants", lambda _connection, variants: [[v] for v in variants])
    assert list(lint(sqlite_engine)) == at_once
    (nothing_there,) = of(Wrong.nothing_from_new, at_once)
    assert nothing_there.variants == tuple(f"f00000-v{n}" for n in range(world.VARIANTS))


def test_a_rule_that_the_factory_broke_and_that_other_equipment_obeys(sqlite_engine: Engine) -> None:
    """The late vehicles left with the spoked wheel beside the rubber block; with the disc wheel they obey."""
    apart = (
        "[conflict]\nname,component,position,other_component,other_position,reason\n"
        "no-rubber,TW-10,wheel.left,TB-2,brake,The spokes foul it.\n"
    )
    lamps, one = of(Wrong.broken_from_new, all_findings(sqlite_engine, more=apart))
    assert (one.records, one.variants, one.severity) == (("no-rubber",), ("T2-L",), LintSeverity.doubtful)
    assert one.sentence == "2L-501 breaks no-rubber as it left the factory"
    assert lamps.records == ("lamps",), "0.9 of the dynamo's 0.5 A is less than the lamp's 500 mA"


@pytest.mark.parametrize(
    ("fits", "told"),
    [
        ("dynamo,direct,two", {Wrong.no_equipment: ("T1-R",), Wrong.broken_from_new: ("T2-L",)}),
        ("brake,direct,one", {Wrong.broken_from_new: ("T1-R", "T2-L")}),
    ],
)
def test_a_rule_that_no_equipment_obeys(
    sqlite_engine: Engine, fits: str, told: dict[Wrong, tuple[str, ...]]
) -> None:
    """The first variant has one wheel alone, so that only a horn in the block's place can mend its rule."""
    more = (
        "[component]\nnumber,name,section,origin\nTH-1,horn,brakes,modern\n"
        f"[fitment]\ncomponent,position,effort,generations\nTH-1,{fits}\n"
        "[companion]\nname,component,position,reason,fit,at\nheard,TW-10,wheel.left,It is mute.,TH-1,brake\n"
    )
    found = [one for one in all_findings(sqlite_engine, more=more) if one.records == ("heard",)]
    assert {one.wrong: one.variants for one in found} == told
    assert found[0].sentence.startswith("1R-1 breaks heard")


def test_an_alternative_that_clashes_with_what_asks_for_it(sqlite_engine: Engine) -> None:
    """It has a place and can be had; with the very wheel that wants it, it may not be."""
    apart = (
        "[conflict]\nname,component,position,other_component,other_position,reason\n"
        "too-near,TW-9,wheel.left,TB-2,brake,It rubs.\n"
    )
    found = of(Wrong.own_clash, findings(sqlite_engine, more=apart))
    assert [one.records[1] for one in found] == ["TB-2 at brake", "finish equal plated at brake"]
    assert found[0].sentence == (
        "disc-wheel-block offers TB-2 at brake, which too-near keeps apart from TW-9"
    ), "plated is no other block than TB-2"


@pytest.mark.one_engine
def test_what_is_wrong_at_two_places_of_a_variant_names_it_once(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = Wrong.no_figure, ("TB-1", "bore")
    monkeypatch.setattr(linting, "figure_findings", lambda _: iter([(key, "left"), (key, "right")]))
    (one,) = of(Wrong.no_figure, all_findings(engine))
    assert len(one.variants) > 1
    assert list(one.variants) == sorted(set(one.variants))
    assert one.sentence == "left"


def test_a_figure_that_a_check_wants_and_one_component_lacks(sqlite_demo: Engine) -> None:
    """A master cylinder without its bore; a disc in the place of a drum lacks shoes and is not told."""
    with reading(sqlite_demo) as session:
        book = compile_book(session, "32P-21-R")
    assert list(figure_findings(Survey(book))) == []
    number = "QB-3050"
    gone = ("circuits", "fluid_displaced", "master_bore", "pipe_thread")
    known = {k: v for k, v in book.components[number].characteristics.items() if k not in gone}
    lacking = replace(book.components[number], characteristics=known)
    without = replace(book, components={**book.components, number: lacking})
    ((key, sentence),) = figure_findings(Survey(without))
    assert key == (Wrong.no_figure, (number, *gone)), "in one order, whatever the process"
    assert sentence.endswith("would be read by a check, and nobody records it")


def test_a_conflict_that_cannot_be_decided_clashes_with_nothing(sqlite_engine: Engine) -> None:
    """No bore is recorded of the block."""
    perhaps = (
        "[conflict]\nname,component,position,other_position,other_having,reason\n"
        "perhaps,TW-9,wheel.left,brake,bore equal 20 mm,It may rub.\n"
    )
    assert of(Wrong.own_clash, findings(sqlite_engine, more=perhaps)) == []
