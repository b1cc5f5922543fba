"""Figures that cannot be are refused with what was likely meant, wherever they come in."""

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.format.exports import export
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.tables import table
from graftbook.database import writing
from graftbook.editing.records.service import Author, patch_record, record_state
from tests.catalogue.sheet import sheet, small
from tests.catalogue.undone import undone_to

pytestmark = pytest.mark.one_engine

KINDS = """[characteristic_kind]
name,title,quantity,least,most
axle_ratio,axle ratio,ratio,,
disc_diameter,disc diameter,length,,
offset,wheel offset,length,,
winch_pull,pull of the winch,force,1 kN,60 kN
spare_wheels,spare wheels,count,,
capacity,what it holds,volume,,
"""
PEERS = "[characteristic]\ncomponent,kind,value\nTC-1,axle_ratio,4.7\nTG-1,axle_ratio,3.9\n"


def mistake(engine: Engine, text: str) -> str:
    report = load(engine, [small(), sheet(KINDS + PEERS, "kinds.csv"), sheet(text)])
    assert len(report.mistakes) == 1, [str(m) for m in report.mistakes]
    return str(report.mistakes[0])


ABSURD = {
    "a ratio with a minus": (
        "[characteristic]\ncomponent,kind,value\nTB-1,axle_ratio,-3.6\n",
        "sheet.csv:3: [characteristic] value: '-3.6' cannot be: `axle_ratio` is between 0.3 and 30; "
        "did you mean '3.6'?",
    ),
    "a lost decimal, judged by the others": (
        "[characteristic]\ncomponent,kind,value\nTB-1,axle_ratio,43\n",
        "'43' cannot be: `axle_ratio` is between 0.3 and 30; did you mean '4.3'?",
    ),
    "inches for millimetres": (
        "[characteristic]\ncomponent,kind,value\nTB-1,disc_diameter,330 in\n",
        "between 3.15 in and 23.62 in; did you mean '330 mm'?",
    ),
    "one end of a span": (
        "[characteristic]\ncomponent,kind,value\nTB-1,offset,20 .. 2000 mm\n",
        "`offset` is between -250 mm and 250 mm",
    ),
    "beyond the catalogue's own bounds": (
        "[characteristic]\ncomponent,kind,value\nTB-1,winch_pull,6 N\n",
        "`winch_pull` is between 1000 N and 60000 N; did you mean '6 kN'?",
    ),
    "fewer than none of the catalogue's own": (
        "[characteristic]\ncomponent,kind,value\nTB-1,spare_wheels,-1\n",
        "`spare_wheels` is at least 0; did you mean '1'?",
    ),
    "a wanted value": (
        "[companion]\nname,component,reason,at,having\nw,TB-2,So.,brake,axle_ratio at least -4\n",
        "having: '-4' cannot be: `axle_ratio`",
    ),
    "a value whose kind comes later": (
        "[characteristic]\ncomponent,kind,value\nTB-1,axle_ratios,-3\n"
        "[characteristic_kind]\nname,title,quantity,least\naxle_ratios,ratio,ratio,1\n",
        "value: '-3' cannot be: `axle_ratios` is at least 1; did you mean '3'?",
    ),
    "a margin that lets everything pass": (
        "[joint]\nname,position,characteristic,comparator,other_position,margin,reason\n"
        "j,wheel.left,disc_diameter,equal,wheel.right,2 m,So.\n",
        "margin: a margin of '2 m' lets everything pass",
    ),
    "a mass": (
        "[component]\nnumber,name,section,origin,mass\nTX-1,part,brakes,modern,12000 kg\n",
        "mass: '12000 kg' cannot be: between 0 kg and 10000 kg",
    ),
    "a torque": (
        "[tightening]\nname,position,fastener,torque\nt,brake,bolt,95000 Nm\n",
        "torque: '95000 Nm' cannot be",
    ),
    "a day of another millennium": (
        "[evidence]\nname,grade,reference,on\ne,hearsay,a word,1068-03-01\n",
        "on: '1068-03-01' cannot be: a day between 1885 and 2099 is expected; did you mean '1968-03-01'?",
    ),
    "a vehicle of the next century": (
        "[fitment]\nname,component,position,built_from\nf,TB-2,brake,2068-01-01\n",
        "built_from: '2068-01-01' cannot be: a day between 1885 and 2035 is expected; "
        "did you mean '1968-01-01'?",
    ),
    "minutes": (
        "[fitment]\nname,component,position,minutes\nf,TB-2,brake,99999\n",
        "minutes: '99999' cannot be: at most 60,000 minutes, which is a thousand hours",
    ),
    "a quantity at one position": (
        "[fitment]\nname,component,position,quantity\nf,TB-2,brake,50000\n",
        "quantity: '50000' cannot be: at most 5,000 pieces",
    ),
    "no price at all": (
        "[offer]\nsupplier,component,price\nbarrow,TB-2,NaN\n",
        "price: a finite number is needed here",
    ),
    "minutes in words": (
        "[fitment]\nname,component,position,minutes\nf,TB-2,brake,long\n",
        "minutes: a whole number is needed here (read: 'long')",
    ),
    "a slip in one of a few words": (
        "[component]\nnumber,name,section,origin,supply\nTX-1,part,brakes,modern,currnt\n",
        "supply: one of 'current', 'superseded' or 'no longer supplied' is needed here; "
        "did you mean 'current'? (read: 'currnt')",
    ),
    "a price with a minus": (
        "[component]\nnumber,name,section,origin,price\nTX-1,part,brakes,modern,-3\n",
        "price: it must be at least 0",
    ),
    "days to arrive": (
        "[supplier]\nname,title,lead_days\ns,S,20241128\n",
        "lead_days",
    ),
    "a usable part of more than all": (
        "[budget]\nname,supply,demand,usable,reason\nb,supply_a,demand_a,80,So.\n",
        "usable: it must be at most 1",
    ),
    "a span turned round": (
        "[characteristic]\ncomponent,kind,value\nTB-1,disc_diameter,300 .. 200 mm\n",
        "'300 .. 200 mm' ends below its start",
    ),
    "bounds turned round": (
        "[characteristic_kind]\nname,title,quantity,least,most\nk,k,length,2 m,1 m\n",
        "most: it is below the least, 2 m",
    ),
    "bounds of words": (
        "[characteristic_kind]\nname,title,quantity,least\nk,k,text,2\n",
        "least: words have no least",
    ),
}


@pytest.mark.parametrize("case", ABSURD)
def test_a_figure_that_cannot_be_is_refused(sqlite_engine: Engine, case: str) -> None:
    text, expected = ABSURD[case]
    assert expected in mistake(sqlite_engine, text)


def test_the_same_is_refused_of_a_record_that_is_changed_alone(engine: Engine) -> None:
    assert load(engine, [small(), sheet(KINDS + PEERS)]).ok
    name = "TC-1:axle_ratio"
    state = record_state(engine, "characteristic", name)
    report = patch_record(engine, "characteristic", name, {"value": "-3.6"}, state.etag, Author("me", ""))
    assert [m.field for m in report.mistakes] == ["value"]
    assert "did you mean '3.6'?" in report.mistakes[0].message


def test_negative_is_kept_where_it_means_something_and_where_the_catalogue_says_so(engine: Engine) -> None:
    text = (
        KINDS + "drop,how much lower,mass,-20 kg,20 kg\nslack,slack,length,-2 mm,\n"
        "[characteristic]\ncomponent,kind,value\nTB-1,offset,-35 mm\nTB-1,drop,-2 kg\nTB-1,slack,-1 mm\n"
        "TB-1,capacity,90 l\n"
    )
    report = load(engine, [small(), sheet(text)])
    assert report.ok, [str(m) for m in report.mistakes]


def test_bounds_that_are_narrowed_find_what_lies_outside(engine: Engine) -> None:
    assert load(engine, [small(), sheet(KINDS + PEERS)]).ok
    tighter = "[characteristic_kind]\nname,title,quantity,most\naxle_ratio,axle ratio,ratio,4.5\n"
    report = load(engine, sheet(tighter))
    assert [m.name for m in report.mistakes] == ["TC-1:axle_ratio"]
    wider = tighter.replace("4.5", "90") + "[characteristic]\ncomponent,kind,value\nTB-1,axle_ratio,80\n"
    assert load(engine, sheet(wider)).ok


def test_bounds_are_written_as_they_were_read(engine: Engine) -> None:
    assert load(engine, [small(), sheet(KINDS)]).ok
    out = sheet("")
    export(engine, out)
    assert "winch_pull,pull of the winch,force,,1 kN,60 kN," in out.getvalue()
    assert load(engine, sheet(out.getvalue())).changed == 0


def test_what_was_stored_before_anybody_looked_can_still_be_asked_for(engine: Engine) -> None:
    """A figure that an older version took does not shut the past."""
    assert load(engine, [small(), sheet(KINDS + PEERS)]).ok
    with writing(engine) as session:
        held = table("characteristic")
        bad = (
            held.update().where(held.c.claim == "TC-1:axle_ratio").values(written="-3.6", low=-3.6, high=-3.6)
        )
        session.connection().execute(bad)
    mended = load(engine, sheet("[characteristic]\ncomponent,kind,value\nTC-1,axle_ratio,3.6\n"))
    assert mended.ok
    with undone_to(engine, 1) as connection:
        query = held.select().where(held.c.claim == "TC-1:axle_ratio")
        assert connection.execute(query).one().written == "-3.6"
