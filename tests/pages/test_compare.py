"""Two answers side by side: what differs adds up to the sums, and the page says it; every way to choose the
other answer leads to an address that says which."""

from copy import deepcopy
from decimal import Decimal
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import httpx
import pytest

from graftbook.pages.answer.side_by_side import checks_of, compared, flaws_of, totals_of
from tests.pages.conftest import BROWSER, text_of

CHASSIS, OTHER = "24PL-018412", "24PR-000200"
DISCS = {"chassis": CHASSIS, "fit": "QB-3310"}


@pytest.fixture
async def both(client: httpx.AsyncClient) -> tuple[Any, Any]:
    """The same wish on two vehicles, as the API answers."""
    here = (await client.get("/v1/closures", params=DISCS)).json()
    there = (await client.get("/v1/closures", params=DISCS | {"chassis": OTHER})).json()
    assert here["set"]
    assert there["set"]
    return deepcopy(here), deepcopy(there)


async def test_the_lines_add_up_to_the_sums(both: tuple[Any, Any]) -> None:
    found = compared(*both)
    assert found is not None
    lines = [line for some in found["lines"].values() for line in some]
    totals = {total["name"]: total for total in found["totals"]}
    assert None not in [line["price"] for line in lines]
    assert sum(Decimal(line["price"] or 0) for line in lines) == Decimal(str(totals["price"]["more"]))
    assert sum(line["minutes"] for line in lines) == totals["labour"]["more"]
    assert {"other part", "same"} <= set(found["lines"]), "another pedal box, the same discs"


async def test_the_lines_are_those_that_the_api_tells_apart(
    client: httpx.AsyncClient, both: tuple[Any, Any]
) -> None:
    asked = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}
    told = (
        await client.post("/v1/closures/what-if", json=asked | {"other_vehicle": {"chassis": OTHER}})
    ).json()
    found = compared(*both)
    assert found is not None
    for side, mine in (("here", "only_asked"), ("there", "only_instead")):
        numbers = {
            number
            for state in ("other part", "only here", "only there")
            for line in found["lines"].get(state, [])
            if line[side]["how"] == "new" and line["place"]
            for number in line[side]["numbers"]
        }
        assert numbers == {change["component"] for change in told[mine] if change["component"]}


async def test_a_pair_that_is_alike_in_both_is_one_line(both: tuple[Any, Any]) -> None:
    found = compared(both[0], deepcopy(both[0]))
    assert found is not None
    assert set(found["lines"]) == {"same"}
    places = [line["place"] for line in found["lines"]["same"] if line["place"]]
    assert len(places) == len(set(places)) < len(both[0]["set"]["changes"])
    assert any("both sides" in place for place in places)
    assert {Decimal(total["more"]) for total in found["totals"]} == {0}
    assert (found["checks"], found["quiet_checks"], found["flaws"], found["flaws_of_one"]) == ([], 0, [], [])


async def test_what_the_other_keeps_is_told_as_staying(both: tuple[Any, Any]) -> None:
    here, there = both[0], deepcopy(both[0])
    gone = there["set"]["changes"].pop(0)
    stays = {"position": gone["position"], "component": "QB-1", "name": "old one", "section": gone["section"]}
    there["set"]["stays"].append(stays | {"position_title": gone["position_title"]})
    found = compared(here, there)
    assert found is not None
    (line,) = found["lines"]["only here"]
    assert (line["there"]["how"], line["there"]["numbers"]) == ("stays", ["QB-1"])
    assert line["minutes"] == -gone["minutes"]


async def test_a_price_that_one_side_alone_lacks_is_no_difference(both: tuple[Any, Any]) -> None:
    here, there = both[0], deepcopy(both[0])
    there["set"]["changes"][0]["price"] = None
    price = totals_of(here["set"], there["set"])[0]
    assert price["more"] is None
    assert price["unknown"] == [there["set"]["changes"][0]["component"]]
    here["set"]["changes"][0]["price"] = None
    assert totals_of(here["set"], there["set"])[0]["more"] == "0.00", "both lack the same"


async def test_a_check_that_ends_otherwise_is_told_and_a_quiet_one_counted(both: tuple[Any, Any]) -> None:
    here, there = both[0]["checks"], deepcopy(both[0]["checks"])
    holding = [finding for finding in there["findings"] if finding["verdict"] == "holds"]
    holding[0]["verdict"] = "fails"
    there["findings"].remove(holding[1])
    told, quiet = checks_of(here, there)
    assert [
        (one["here"]["verdict"], one["there"]["verdict"]) for one in told if one["here"] and one["there"]
    ] == [("holds", "fails")]
    assert (len(told), quiet) == (1, 1)


async def test_a_flaw_is_told_by_what_becomes_of_it(both: tuple[Any, Any]) -> None:
    here, there = both[0]["set"], deepcopy(both[0]["set"])
    flaw = there["flaws_gone"][0]["flaw"]
    moved = [note for note in there["flaws_gone"] if note["flaw"] == flaw]
    there["flaws_gone"] = [note for note in there["flaws_gone"] if note["flaw"] != flaw]
    there["flaws_left"] += moved
    (told,) = flaws_of(here, there)
    assert (told["here"], told["there"]) == ("gone", "left")


async def test_another_vehicle_is_laid_beside_by_its_number(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/compare", params=DISCS | {"other": "24pr 200"})
    address = dict(parse_qsl(urlsplit(str(page.url)).query))
    assert dict(parse_qsl(address["beside"])) == {"chassis": "24pr 200", "fit": "QB-3310", "as_of": "1"}
    text = text_of(page)
    assert f"Changes only in: {CHASSIS}" in text or "Another part at the same place" in text
    assert CHASSIS in text
    assert OTHER in text
    there = (await browser.get("/v1/closures", params=DISCS | {"chassis": OTHER})).json()
    assert f"{Decimal(there['set']['totals']['price']):,.2f}" in text


async def test_an_address_can_be_laid_beside(browser: httpx.AsyncClient) -> None:
    pasted = f"http://127.0.0.1/answer?chassis={CHASSIS}&fit=QB-3310&keep=brake.servo&as_of=1#line-3"
    page = await browser.get("/compare", params=DISCS | {"other": pasted})
    assert page.status_code == 200
    assert "One of the two has no set" in text_of(page), "discs without the servo cannot be"
    told = await browser.get("/compare", params=DISCS | {"other": "http://127.0.0.1/orders?after=1"})
    assert "names no vehicle" in text_of(told)


async def test_a_mistyped_vehicle_is_told_beside_the_answer(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/compare", params=DISCS | {"other": "24PL-0184I2"})
    assert page.status_code == 200
    assert 'value="24PL-0184I2"' in page.text, "what was typed stays"
    assert 'role="alert"' in page.text
    assert CHASSIS in text_of(page)


async def test_another_good_set_is_laid_beside_this_one(browser: httpx.AsyncClient) -> None:
    answer = await browser.get("/answer", params=DISCS | {"alternatives": 2})
    others = (await browser.get("/v1/closures", params=DISCS | {"alternatives": 2})).json()["other_sets"]
    asked = answer.text.split('href="/compare?')
    assert len(asked) > 2, "among the actions, and at each other set"
    page = await browser.get("/compare", params=DISCS | {"alternatives": 2})
    first = page.text.partition('<a href="/compare?')[2].partition('"')[0].replace("&amp;", "&")
    beside = text_of(await browser.get(f"/compare?{first}"))
    assert "Another part at the same place" in beside
    price = Decimal(others[0]["totals"]["price"])
    assert f"{price:,.2f}" in beside, "the other side is the set that was offered"


async def test_a_comparison_without_a_vehicle_begins_at_home(browser: httpx.AsyncClient) -> None:
    assert (await browser.get("/compare")).url.path == "/"


async def test_the_revision_before_is_laid_beside_this_one(writer: httpx.AsyncClient) -> None:
    read = await writer.get("/v1/records/component/QB-3310")
    (row,) = read.json()["rows"]
    dearer = str(Decimal(row["price"]) + 7)
    stored = await writer.put(
        "/v1/records/component/QB-3310",
        json={"rows": [{name: value for name, value in row.items() if name != "record"} | {"price": dearer}]},
        headers={"If-Match": read.headers["etag"]},
        params={"why": "dearer since spring"},
    )
    assert stored.status_code == 200, stored.text
    offered = await writer.get("/compare", params=DISCS, headers=BROWSER, follow_redirects=True)
    assert '<option value="1">' in offered.text
    assert '<option value="2">' not in offered.text, "the answer's own revision"
    page = await writer.get("/compare", params=DISCS | {"then": 1}, headers=BROWSER, follow_redirects=True)
    text = text_of(page)
    assert "The same part, with another price, number or work 1 line" in text
    assert "Revision 2" in text
    assert "Revision 1" in text
    assert "\u22127.00" in text
    gone = await writer.get("/compare", params=DISCS | {"then": 9}, headers=BROWSER, follow_redirects=True)
    assert 'role="alert"' in gone.text
