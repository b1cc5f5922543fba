"""The box in the header: a vehicle and words in one breath, numbers that nobody has, what can be had."""

import re

import httpx
import pytest

from tests.pages.conftest import text_of

CHASSIS = "24PL-018412"


async def found(browser: httpx.AsyncClient, text: str, **more: str) -> httpx.Response:
    return await browser.get("/find", params={"text": text, **more})


@pytest.mark.parametrize("text", ["24pl 18412 rear brake hose", "rear brake hose 24PL-018412"])
async def test_a_chassis_number_among_words_is_the_vehicle(browser: httpx.AsyncClient, text: str) -> None:
    page = await found(browser, text)
    assert page.url.params["text"] == "rear brake hose"
    assert page.url.params["chassis"] == CHASSIS
    assert "left out" not in text_of(page)
    assert f"/answer?chassis={CHASSIS}&amp;fit=" in page.text
    assert "fits" in text_of(page)


async def test_the_vehicle_of_a_search_is_in_hand_afterwards(browser: httpx.AsyncClient) -> None:
    await found(browser, "24pl 18412 rear brake hose")
    assert f"What fits {CHASSIS} stands first" in text_of(await found(browser, "caliper"))


@pytest.mark.parametrize("text", ["24pl 18412 front discs", "Disc  conversion 24PL-018412"])
async def test_a_vehicle_and_the_name_of_an_upgrade_are_the_answer(
    browser: httpx.AsyncClient, text: str
) -> None:
    page = await found(browser, text)
    assert page.url.path == "/answer"
    assert (page.url.params["chassis"], page.url.params["upgrade"]) == (CHASSIS, "front-discs")


async def test_the_first_field_takes_words_behind_the_number(browser: httpx.AsyncClient) -> None:
    assert "What is wished may stand behind it: 16ER-000101 alternator." in text_of(await browser.get("/"))
    page = await browser.get("/answer", params={"chassis": "24pl 18412 front discs"})
    assert (page.url.params["chassis"], page.url.params["upgrade"]) == (CHASSIS, "front-discs")
    page = await browser.get("/answer", params={"chassis": "24pl 18412 rear brake hose"})
    assert (page.url.path, page.url.params["text"]) == ("/find", "rear brake hose")
    for said in ("front discs", "qb 3302"):
        page = await browser.get("/answer", params={"chassis": said})
        assert (page.url.path, page.url.params["text"]) == ("/find", said)
    wrong = await browser.get("/answer", params={"chassis": "99XX-1 front discs"})
    assert wrong.status_code == 422
    assert "No vehicle has this chassis number" in text_of(wrong)


async def test_an_upgrade_that_is_for_other_vehicles_is_not(browser: httpx.AsyncClient) -> None:
    page = await found(browser, "24pl 18412 port injection")
    assert page.url.path == "/find"
    assert "upgrade=port-injection" not in page.text


@pytest.mark.parametrize("text", ["12 v 60 alternator", "16 splines half shaft", "5 x 15 wheel"])
async def test_figures_among_words_are_no_vehicle(browser: httpx.AsyncClient, text: str) -> None:
    page = await found(browser, text)
    assert page.url.params["text"] == text
    assert "chassis" not in page.url.params


async def test_without_a_vehicle_it_is_asked_for_and_an_upgrade_leads_on(browser: httpx.AsyncClient) -> None:
    page = await found(browser, "front discs")
    assert re.search(r'<input id="chassis" name="chassis"[^>]*autofocus', page.text)
    fit = re.search(r'<button[^>]*form="on"[^>]*name="upgrade" value="front-discs"', page.text)
    assert fit, "the number that is typed above goes with it"
    with_it = await found(browser, "front discs", chassis="24pl 18412")
    assert f'href="/answer?chassis={CHASSIS}&amp;upgrade=front-discs"' in with_it.text
    assert "autofocus" not in with_it.text


async def test_a_vehicle_that_nobody_has_is_told(browser: httpx.AsyncClient) -> None:
    page = await found(browser, "front discs", chassis="99XX-1")
    assert "No vehicle has the chassis number 99XX-1" in text_of(page)
    assert 'value="99XX-1"' in page.text


@pytest.mark.parametrize("chassis", ["", CHASSIS])
async def test_a_number_that_nobody_has_is_not_passed_off_as_another(
    browser: httpx.AsyncClient, chassis: str
) -> None:
    for text, meant in (("QB-3301", "QB-3310"), ("QB-331O", "QB-3310")):
        shown = text_of(await found(browser, text, chassis=chassis))
        assert f"There is no part {text}. Like it: {meant}" in shown
    for text in ("QB-3310", "qb 3310", "QB-33", "instead of QB-2049"):
        assert "There is no part" not in text_of(await found(browser, text, chassis=chassis)), text


async def test_words_that_are_near_are_told_as_such_and_what_was_said_is_none(
    browser: httpx.AsyncClient,
) -> None:
    slip = text_of(await found(browser, "frnt disks"))
    assert "left out: frnt. Look for front alone." in slip
    said = text_of(await found(browser, "clutch slave"))
    assert "left out: clutch." in said
    assert "Look for clutch" not in said
    nothing = text_of(await found(browser, "alternating"))
    assert "Like it: alternator" in nothing
    assert re.search(r"Look for alternator( or \w+)*\.", nothing)


async def test_what_can_be_had_and_what_it_costs_stand_in_the_row(browser: httpx.AsyncClient) -> None:
    page = await found(browser, "QB-2049", chassis=CHASSIS)
    old, new = re.findall(r"<tr>.*?</tr>", page.text, re.DOTALL)[1:]
    assert "no longer supplied" in old
    assert "no longer supplied" not in new
    assert "106.30" in new, "its price in the demo's sheet"
