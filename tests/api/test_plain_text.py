"""The answer as text: what a fitter must see is there, and nothing that he cannot follow."""

import httpx
import pytest

from graftbook.http.values import said_once
from graftbook.questions.closures.plain_set import grouped
from graftbook.questions.closures.plain_text import answer_lines

pytestmark = pytest.mark.anyio


async def text(client: httpx.AsyncClient, address: str, *, full: bool = True) -> str:
    document = (await client.get(f"/v1/closures?{address}")).json()
    return " ".join(" ".join(answer_lines(document, full=full)).split())


async def test_a_dangerous_flaw_is_told_wherever_it_is(client: httpx.AsyncClient):
    address = "chassis=24PR-020000&fit=QI-7015"
    said, found = await text(client, address), (await client.get(f"/v1/closures?{address}")).json()["set"]
    touched = {change["section"] for change in found["changes"]}
    dangerous = [flaw for flaw in found["flaws_left"] if flaw["severity"] == "dangerous"]
    assert {flaw["section"] for flaw in dangerous} - touched
    for flaw in dangerous:
        assert f"left {flaw['symptom'].removesuffix('.')} (dangerous;" in said
    assert " more in sections that nothing here touches: " in said
    assert " severe, " in said.partition("in sections that nothing here touches: ")[2][:60]


async def test_a_flaw_names_its_place_and_begins_as_a_sentence(client: httpx.AsyncClient):
    said = await text(client, "chassis=24FL-012000&fit=QA-7352")
    planets = "The planet wheels gall on their pin, and metal in the oil then takes the bearings"
    assert f"gone {planets} (moderate; QA-1350 at rear diff" in said
    assert f"left {planets} (moderate; QA-1350 at front diff" in said
    springs = (await client.get("/v1/closures?chassis=24PL-018412&fit=QS-7010")).json()["set"]
    symptoms = [flaw["symptom"] for flaw in springs["flaws_gone"] + springs["flaws_left"]]
    assert [symptom for symptom in symptoms if symptom[0].islower()] == []


async def test_every_reason_for_a_quantity_is_told(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PL-018412&fit=QF-7000")
    clips = said.partition("18 x QF-9500")[2].partition("QF-9600")[0]
    assert "eight clips" in clips
    assert clips.count("And: ") == 2, "those of the return line and of the swirl pot as well"


async def test_an_unconfirmed_claim_says_what_is_claimed(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PL-005000&fit=QL-7010")
    of_the_book = said.partition("Parts book only: ")[2].partition(" only: ")[0]
    claim = "(QI-3013@gauge.ammeter:conversion)."
    assert (
        f"- That QI-3013 (ammeter of the 32, 50-0-50 A) fits the ammeter or voltmeter {claim}" in of_the_book
    )
    assert "- (" not in said


async def test_what_is_said_of_both_sides_is_said_once(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PL-018412&fit=QB-3310")
    assert said.index("1. QB-3310") < said.index("2. QB-3311") < said.index("3. QB-"), (
        "the other side is next"
    )
    assert said.count("Why: The front brake, left needs it: The hose ends in the wheel cylinder") == 1
    assert "Why: The front brake, right needs it: The hose ends in the wheel cylinder" not in said
    assert said.count("used once (QB-3310/bolts, QB-3311/bolts).") == 1
    assert "QA-1010 at rear half shaft, left; QA-1011 at rear half shaft, right)" in said
    assert said.count("Have this work done and inspected by someone licensed for it") == 1


async def test_a_rule_that_nobody_confirmed_is_told_in_its_own_words(client: httpx.AsyncClient):
    said = await text(client, "chassis=16PR-005000&fit=QL-7010")
    claims = said.partition("CLAIMS NOBODY HAS CONFIRMED")[2].partition("DOES IT WORK")[0]
    assert "Workshop manual only:" in claims
    assert "What a rule asks" not in claims


async def test_a_section_in_which_parts_are_bought_is_not_untouched(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PL-018412&fit=QC-2010")
    stays = said.partition("STAYS AS IT IS")[2].partition("WORTH DOING")[0]
    assert "Brakes: all of it, with new parts: QB-9001." in stays
    untouched = stays.partition("Untouched altogether")[2]
    assert "Instruments" in untouched
    assert "Brakes" not in untouched
    assert "Brakes hold lives." in said, "a brake pipe comes off the underframe and is bled again"


async def test_what_was_chosen_never_ends_at_the_number(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PL-018412&fit=QW-7655")
    after = [part.lstrip("0123456789") for part in said.split("Chosen out of ")[1:]]
    assert after
    assert all(part.startswith((". The next best", ": with ")) for part in after)


async def test_what_the_set_makes_worse_stands_under_the_headline(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PL-005000&fit=QL-7010")
    head = said.partition(" ELECTRICAL 1. ")[0]
    assert "This set makes 1 check fail or worse; see below." in head


async def test_limits_are_told_with_their_titles_and_amounts(client: httpx.AsyncClient):
    said = await text(
        client,
        "chassis=24PL-018412&fit=QB-3310&keep=exhaust.system&keep_section=wheels&refuse=QB-2066"
        "&price_at_most=1000&nothing_visible=true",
    )
    assert "You keep the exhaust system as it is today." in said
    assert "You keep all of Wheels and tyres as it is today." in said
    assert "You refuse QB-2066 (vacuum servo, 210 mm)." in said
    assert "You pay at most 1,000.00 for the parts." in said
    assert "You let nothing change that shows." in said
    assert "exhaust.system" not in said


async def test_giving_up_the_only_wish_leaves_all_as_it_is(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PR-020000&fit=QA-7001")
    assert (
        "1. Give up wishing QA-7001 (free-wheeling hub, 14 splines, left). Then nothing needs to change."
        in said
    )


async def test_fewer_other_sets_than_asked_say_why(client: httpx.AsyncClient):
    said = await text(client, "chassis=32PR-009000&fit=QF-7000&alternatives=3")
    shown = said.count("Another good set (")
    assert shown < 3
    assert f"You asked for 3 other sets; {shown or 'none'} " in said


async def test_advice_names_the_part(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PR-012000&fit=QL-7075")
    advice = said.partition("WORTH DOING AT THE SAME TIME")[2].partition("KNOWN FLAWS")[0]
    lines = [line for line in advice.split(" - ") if line.strip()]
    assert lines
    assert all(line.strip().removeprefix("- ").startswith("Q") for line in lines), lines


async def test_a_rule_that_todays_parts_break_is_not_told_as_a_fact(client: httpx.AsyncClient):
    for full in (True, False):
        said = await text(client, "chassis=24PR-012000&fit=QL-7075&fitted=battery=QL-7010", full=full)
        assert "ALREADY SO: rules that today's parts break, left as they are" in said


async def test_sentences_of_the_demo_agree_with_its_own_figures(client: httpx.AsyncClient):
    mixture = (await client.get("/v1/closures?chassis=24PR-020000")).json()
    lean = next(f for f in mixture["checks"]["findings"] if f["check"] == "fuel.mixture")
    flaw = next(f for f in mixture["set"]["flaws_left"] if f["flaw"].startswith("fuel.lean"))
    assert lean["figures"][0]["after"] == pytest.approx(4.3, abs=0.05)
    assert "4 per cent lean" in flaw["symptom"]
    tall = (await client.get("/v1/closures?chassis=24PL-018412&fit=QA-2430")).json()
    drive = next(c for c in tall["set"]["changes"] if c["position"] == "speedo.drive")
    assert "reads low: 6 per cent or more with the gear made for 4.875" in drive["why"]
    assert pytest.approx(0.09, abs=0.005) == 1 - 4.444 / 4.875, (
        "the taller axle turns the old drive more slowly"
    )
    busy = next(f for f in tall["set"]["flaws_gone"] if f["flaw"] == "gearing-busy-24")
    assert "At 90 km/h the engine turns at about 3,300 a minute" in busy["symptom"]
    assert pytest.approx(3_300, abs=50) == 90 / 3.6 / 2.190 * 60 * 4.875, "metres a turn of a 6.70-15 tyre"


async def test_what_is_counted_in_pieces_is_not_named_a_set(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PR-020000&fit=QT-3000")
    assert "8 x QT-9120 propeller shaft bolt and self-locking nut:" in said


BRIEFLY = (
    "chassis=24PL-018412&fit=QB-3310",
    "chassis=24PL-018412&remedy_all=severe",
    "chassis=24PL-005000&fit=QL-7010",
    "chassis=16PL-004321&fit=QT-7000",
)


@pytest.mark.parametrize("address", BRIEFLY)
async def test_the_short_answer_keeps_what_must_be_known(client: httpx.AsyncClient, address: str):
    """Every part with its reason, what gets worse, what fails, what is dangerous, what can hurt."""
    document = (await client.get(f"/v1/closures?{address}")).json()
    lines = list(answer_lines(document, full=False))
    assert len(lines) < len(list(answer_lines(document, full=True))) / 2.5
    said, found = " ".join(" ".join(lines).split()), document["set"]
    for change in found["changes"]:
        assert (change["component"] or f"Take out {change['replaces']}") in said
    for number, group in enumerate(grouped(found), 1):
        line = said.partition(f" {number}. ")[2].partition(f" {number + 1}. ")[0]
        wished = group[0]["because"]["cause"] == "wish"
        assert ("You wish it." if wished else " ".join(group[0]["why"].split())) in line
        cut = group[0]["effort"] == "cutting"
        assert ("Needs cutting or welding: it cannot be put back." in line) == cut
    for part in found["loose_parts"]:
        assert f"{part['quantity']} x {part['component']}" in said
    for finding in document["checks"]["findings"]:
        worse = finding["kind"] in ("worse", "newly not determined")
        if finding["verdict"] == "fails" or (worse and not finding["missing"]):
            assert " ".join(finding["sentence"].split()) in said
    for flaw in (*found["flaws_left"], *found["flaws_brought"]):
        if flaw["severity"] == "dangerous" or flaw in found["flaws_brought"]:
            assert flaw["symptom"].removesuffix(".") in said
    for caution in said_once(document["cautions"]):
        assert " ".join(caution.split()) in said


async def test_the_short_answer_counts_the_same_flaw_of_both_sides_once(client: httpx.AsyncClient):
    said = await text(client, "chassis=24PL-018412&fit=QB-3310", full=False)
    whole = await text(client, "chassis=24PL-018412&fit=QB-3310")
    assert f"KNOWN FLAWS {whole.count(' gone ')} gone (" in said
    assert "Chosen out of" in whole
    assert "Chosen out of" not in said
