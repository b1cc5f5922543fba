"""Lint: each kind of contradiction is found where it is made, and not where it is not."""

import random

import networkx as nx
import pytest
from sqlalchemy import Engine

from api.catalogue.finding import Finding, Wrong
from api.catalogue.imports import load
from api.catalogue.lint import circles_in, lint
from tests.catalogue.sheet import sheet, small

SOUND = (
    ("finish,plated,\nTD", "finish,plain,\nTD"),  # its plated alternative is then met by nobody
)


def findings(engine: Engine, *changes: tuple[str, str], more: str = "") -> list[Finding]:
    report = load(engine, [small(*changes), *([sheet(more)] if more else [])])
    assert report.ok, report.mistakes
    return list(lint(engine))


def of(kind: Wrong, found: list[Finding]) -> list[Finding]:
    return [finding for finding in found if finding.wrong is kind]


def test_the_small_catalogue_is_sound(engine: Engine) -> None:
    assert findings(engine) == []


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


def test_options_are_tried_with_and_without(engine: Engine) -> None:
    more = (
        "[fitment]\nname,component,position,from_new,generations,options\nextra lamp,TC-1,lamp,yes,two,bell\n"
    )
    (one,) = of(Wrong.two_at_once, findings(engine, more=more))
    assert one.records == ("lamp", "TL-1@lamp", "extra lamp")
    assert "with bell, lamp" in one.sentence


def test_numbers_that_supersede_each_other_in_a_circle(engine: Engine) -> None:
    more = "[supersession]\nold,new\nTB-2,TD-1\nTD-1,TB-1\n"
    (one,) = of(Wrong.circle, findings(engine, more=more))
    assert set(one.records) == {"TB-1>>TB-2", "TB-2>>TD-1", "TD-1>>TB-1"}


def test_numbers_that_stand_for_each_other_are_no_circle(engine: Engine) -> None:
    more = "[supersession]\nold,new,both_ways\nTW-10,TW-9,yes\n"
    assert of(Wrong.circle, findings(engine, more=more)) == []


def test_a_component_that_can_never_be_fitted_and_those_that_need_it(engine: Engine) -> None:
    more = (
        "[companion]\nname,component,reason,fit,at\n"
        "impossible,TB-2,Nothing can.,TL-1,wheel.left\n"
        "needs-the-dead,TW-9,It leans on it.,TB-2,brake\n"
    )
    found = of(Wrong.dead, findings(engine, more=more))
    assert {finding.records for finding in found} == {("TB-2",), ("TW-9",)}


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


def test_a_wanted_value_that_nobody_has(engine: Engine) -> None:
    (one,) = of(Wrong.impossible_alternative, findings(engine, *SOUND))
    assert one.records == ("disc-wheel-block", "finish equal plated at brake")


def test_a_joint_whose_kind_nobody_records(engine: Engine) -> None:
    found = findings(engine, ("wheels-alike,wheel.left,bore", "wheels-alike,wheel.left,wheelbase"))
    assert {finding.records for finding in of(Wrong.unrecorded_joint, found)} == {
        ("wheels-alike", "wheel.left", "wheelbase"),
        ("wheels-alike", "wheel.right", "wheelbase"),
    }


def test_evidence_that_nothing_refers_to(engine: Engine) -> None:
    more = "[evidence]\nname,grade,reference\nlost,hearsay,somebody said\n"
    (one,) = findings(engine, more=more)
    assert (one.wrong, one.records) == (Wrong.unused_evidence, ("lost",))


def test_a_flaw_that_nothing_remedies(engine: Engine) -> None:
    found = findings(engine, ("TW-10>TW-9,TC-1,tried", ",,tried"))
    assert [finding.records for finding in of(Wrong.no_remedy, found)] == [("spokes-loosen",)]


ORDER = "[precedence]\nname,first,then,work,reason,chassis_from,chassis_to\n"


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


def test_orders_of_work_that_never_hold_together_are_no_circle(engine: Engine) -> None:
    more = (
        ORDER + "a,wheel.left,brake,fitting,So.,2L-0001,2L-0500\n"
        "b,brake,wheel.left,fitting,So.,2L-0501,2L-0900\n"
    )
    assert of(Wrong.work_in_a_circle, findings(engine, more=more)) == []


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


def test_a_finding_is_data_and_a_sentence(engine: Engine) -> None:
    more = "[evidence]\nname,grade,reference\nlost,hearsay,somebody said\n"
    (one,) = findings(engine, more=more)
    assert one.document()["kind"] == "evidence that nothing refers to"
    assert str(one).endswith("nothing refers to the evidence lost")


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
