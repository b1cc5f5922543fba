"""Checking a list: as it is typed, as it is told, as its address is shared."""

import re
from html import unescape

import httpx
import pytest

from graftbook.pages.checking.check import LONGEST_LIST
from graftbook.pages.checking.checked import LONGEST_ADDRESS
from graftbook.pages.checking.typed_list import MOST_ENTRIES, Entry, read_list
from tests.pages.conftest import text_of

pytestmark = pytest.mark.anyio

CHASSIS = "24PL-018412"


async def checked(browser: httpx.AsyncClient, words: str, **fields: str) -> httpx.Response:
    return await browser.post("/check", data={"chassis": CHASSIS, "list": words, **fields}, files={})


@pytest.mark.parametrize(
    ("typed", "entries"),
    [
        ("QB-3310\n\n  qb 3311  ", [Entry(1, "QB-3310"), Entry(3, "qb 3311")]),
        ("QB-3310, QB-3311;QB-9010\tQB-9001",
         [Entry(1, n) for n in ("QB-3310", "QB-3311", "QB-9010", "QB-9001")]),
        ("2 x QB-3310", [Entry(1, "QB-3310", 2)]),
        ("2× QB-3310", [Entry(1, "QB-3310", 2)]),
        ("2 QB-3310", [Entry(1, "QB-3310", 2)]),
        ("12 345 678", [Entry(1, "12 345 678")]),
        ("QB-3310 x2", [Entry(1, "QB-3310", 2)]),
        ("QB-3310; 3", [Entry(1, "QB-3310", 3)]),
        ("QB-3310; 3; QB-9001; 2", [Entry(1, "QB-3310", 3), Entry(1, "QB-9001", 2)]),
        ("4 off QB-9010", [Entry(1, "QB-9010", 4)]),
        ("QB\u20133310 @ brake.front.left", [Entry(1, "QB-3310", 1, "brake.front.left")]),
        ("nothing @ brake.servo", [Entry(1, "", 1, "brake.servo")]),
        ("4x4-10", [Entry(1, "4x4-10")]),
        ("# for Tuesday\nQB-3310 # the good one", [Entry(2, "QB-3310")]),
        ("Position;Part number;Qty\nbrake.front.left;QB-3310;\n;QB-9001;2", [
            Entry(2, "QB-3310", 1, "brake.front.left"), Entry(3, "QB-9001", 2)]),
        ('"number","name"\n"QB-3310","caliper, left"', [Entry(2, "QB-3310")]),
    ],
)  # fmt: skip
def test_a_list_is_read_as_people_type_it(typed: str, entries: list[Entry]) -> None:
    assert read_list(typed) == (tuple(entries), ())


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("--", "letters or digits"),
        ("0 x QB-3310", "whole number"),
        ("500 x QB-3310", "whole number"),
        ("2 x QB-3310 @ brake.front.left", "its own line"),
        ("9" * 500, "too long"),
        ("number,quantity\nQB-3310,many", "whole number"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_line(typed: str, why: str) -> None:
    entries, (unread,) = read_list(typed)
    assert not entries
    assert why in unread.why
    assert unread.line == 1 + typed.count("\n")


def test_a_list_ends_somewhere() -> None:
    entries, (unread,) = read_list("\n".join(f"QB-{n}" for n in range(MOST_ENTRIES + 50)))
    assert len(entries) == MOST_ENTRIES
    assert unread.line == MOST_ENTRIES + 1


async def test_the_empty_form_asks_for_a_chassis_and_numbers(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/check")
    assert page.status_code == 200
    assert 'name="chassis"' in page.text
    assert '<textarea id="list"' in page.text
    assert 'type="file"' in page.text


async def test_missing_and_clashing_are_told_with_the_way_to_the_whole_set(
    browser: httpx.AsyncClient,
) -> None:
    page = await checked(browser, "qb 3310", fit="QB-3310")
    shown, body = text_of(page), {"vehicle": {"chassis": CHASSIS}, "components": ["QB-3310"]}
    facts = (await browser.post("/v1/checks", json={**body, "wishes": [{"fit": "QB-3310"}]})).json()
    assert page.status_code == 200
    assert "Not complete." in shown
    assert facts["missing"]
    assert facts["clashing"]
    for note in (*facts["missing"], *facts["clashing"]):
        assert note["sentence"] in shown
    for caution in facts["cautions"]:
        assert caution in shown
    answer = unescape(re.search(r'href="(/answer[^"]+)">Make it complete', page.text)[1])  # type: ignore[index]
    followed = await browser.get(answer)
    assert followed.status_code == 200
    assert "What it becomes" in followed.text


async def test_a_short_list_has_an_address_that_says_the_same_again(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "2 x QB-9001\nqb 3310 @ brake.front.left")
    assert page.history[0].status_code == 303
    assert page.url.path == "/check"
    assert "as_of=" in str(page.url)
    again = await browser.get(str(page.url))
    assert again.text == page.text
    assert "2 x QB-9001\nqb 3310 @ brake.front.left</textarea>" in page.text


async def test_the_closure_of_a_wish_is_complete_and_one_more_is_too_much(browser: httpx.AsyncClient) -> None:
    asked = {"chassis": CHASSIS, "fit": "QB-3310"}
    found = (await browser.get("/v1/closures", params=asked)).json()["set"]
    lines = [f"{change['component'] or 'nothing'} @ {change['position']}" for change in found["changes"]]
    lines += [f"{part['quantity']} x {part['component']}" for part in found["loose_parts"]]
    page = await checked(browser, "\n".join(lines), fit="QB-3310")
    assert "Complete. Nothing is missing and nothing clashes." in text_of(page)
    assert "Make it complete" not in page.text
    assert "Nothing that was wished for asks for these." not in page.text
    shorter = await checked(browser, "\n".join(lines[1:]), fit="QB-3310")
    assert "Not complete." in text_of(shorter)


async def test_a_list_is_judged_by_the_rules_that_its_form_chooses(browser: httpx.AsyncClient) -> None:
    usual = await checked(browser, "QL-7075", rules="")
    stricter = await checked(browser, "QL-7075", rules="type approval")
    assert "rules=type+approval" in str(stricter.url)
    assert "rules=" not in str(usual.url)
    assert stricter.text.count(">fails</span>") > usual.text.count(">fails</span>")
    assert '<option value="type approval" selected>' in stricter.text
    assert stricter.text.count('name="rules"') == 1, (
        "asked by the select alone, and carried by no hidden field"
    )
    complete = unescape(re.search(r'href="(/answer[^"]+)">Make it complete', stricter.text)[1])  # type: ignore[index]
    assert "rules=type+approval" in complete


async def test_wrong_lines_are_left_out_with_what_they_could_be(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310\nQB-331O\n--\nQB-2010")
    shown = text_of(page)
    assert "Line 2" in shown
    assert "Line 3" in shown
    assert "QB-3310" in shown
    assert "left out; the rest was checked without them" in shown
    assert "QB-331O\n--" in page.text


async def test_an_unknown_chassis_keeps_what_was_typed(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/check", params={"chassis": "99ZZ-1", "list": "QB-3310"})
    assert page.status_code in (404, 422)
    assert "QB-3310</textarea>" in page.text
    assert 'value="99ZZ-1"' in page.text
    assert 'aria-invalid="true"' in page.text


async def test_nothing_typed_is_said_beside_the_fields(browser: httpx.AsyncClient) -> None:
    page = await browser.post("/check", data={"chassis": "", "list": " "})
    assert page.status_code == 422
    assert "Paste at least one number." in page.text
    assert "Type the chassis number" in page.text


async def test_a_file_is_read_as_a_list(browser: httpx.AsyncClient) -> None:
    sheet = "\ufeffnumber;quantity;position\r\nQB-3310;1;brake.front.left\r\n".encode()
    page = await browser.post(
        "/check", data={"chassis": CHASSIS, "list": ""}, files={"file": ("list.csv", sheet, "text/csv")}
    )
    assert page.status_code == 200
    assert "Not complete." in text_of(page)
    assert "QB-3310;1;brake.front.left" in page.text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04rest", "Save the sheet as CSV"),
        (b"Q" * (LONGEST_LIST + 1), "a list of numbers is shorter"),
    ],
)
async def test_a_file_that_is_no_list_is_refused(
    browser: httpx.AsyncClient, content: bytes, words: str
) -> None:
    page = await browser.post(
        "/check", data={"chassis": CHASSIS, "list": "QB-3310"}, files={"file": ("x", content, "text/plain")}
    )
    assert page.status_code == 422
    assert words in page.text
    assert "QB-3310" in page.text


async def test_a_long_list_is_answered_without_an_address(browser: httpx.AsyncClient) -> None:
    words = "QB-3310\n" + "# " + "-" * LONGEST_ADDRESS
    page = await checked(browser, words)
    assert not page.history
    assert page.headers["cache-control"] == "no-store"
    assert "too long for an address" in text_of(page)
    assert "Not complete." in text_of(page)


async def test_what_is_typed_stays_text(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "</textarea><script>alert(1)</script>")
    assert "<script>alert(1)" not in page.text
    assert "&lt;script&gt;" in page.text


async def test_a_number_that_fits_several_places_offers_them(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310\nQW-3055")
    assert "QW-3055 fits several positions; say which" in text_of(page)
    assert "QW-3055 @ wheel.spare" in text_of(page)
    placed = await checked(browser, "QB-3310\nQW-3055 @ wheel.spare")
    assert "left out" not in text_of(placed)


async def test_an_unknown_position_offers_near_ones(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310 @ brake.front.lefft")
    assert 'data-wrong="brake.front.lefft"' in page.text
    assert "brake.front.left " in text_of(page)


async def test_a_missing_part_names_what_would_meet_it(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310")
    reason = "tightened to their yield; they and their lock tabs are used once."
    needed = re.search(rf"{reason} Met by (\S+)", text_of(page))
    assert needed
    assert needed[1] == "QB-9010"
    with_bolts = await checked(browser, "QB-3310\nQB-9010")
    assert reason not in text_of(with_bolts)


async def test_a_body_beyond_the_bound_is_refused(browser: httpx.AsyncClient) -> None:
    sheet = b"QB-3310\n" * 200_000
    page = await browser.post(
        "/check", data={"chassis": CHASSIS}, files={"file": ("x.csv", sheet, "text/csv")}
    )
    assert page.status_code == 413
    assert "at most 1000000 bytes" in page.text


async def test_every_entry_wrong_leaves_no_answer(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "ZZ-1\nZZ-2")
    assert "2 entries left out" in text_of(page)
    assert "Complete." not in text_of(page)


async def test_more_of_one_than_there_are_places_keeps_those_that_have_one(
    browser: httpx.AsyncClient,
) -> None:
    page = await checked(browser, "2 x QB-3310")
    assert "only 1 of 2 has a place here" in text_of(page)
    assert "Not complete." in text_of(page)
    assert "2 x QB-3310</textarea>" in page.text


async def test_a_list_with_wrong_entries_is_never_called_complete(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-9001\nZZ-1")
    assert "Not decided." in text_of(page)
    assert "Complete." not in text_of(page)
