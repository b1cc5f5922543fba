"""Checking a list: as it is typed, as it is told, as its address is shared."""

import re
from decimal import Decimal
from html import unescape

import httpx
import pytest

from graftbook.pages import in_hand
from graftbook.pages.checking.amending import amended, change_of
from graftbook.pages.checking.check import LONGEST_LIST
from graftbook.pages.checking.checked import LONGEST_ADDRESS
from graftbook.pages.checking.typed_list import MOST_ENTRIES, ListEntry, read_list
from tests.pages.conftest import text_of

pytestmark = pytest.mark.anyio

CHASSIS = "24PL-018412"


async def checked(browser: httpx.AsyncClient, words: str, **fields: str) -> httpx.Response:
    return await browser.post("/check", data={"chassis": CHASSIS, "list": words, **fields}, files={})


@pytest.mark.parametrize(
    ("typed", "entries"),
    [
        ("QB-3310\n\n  qb 3311  ", [ListEntry(1, "QB-3310"), ListEntry(3, "qb 3311")]),
        ("QB-3310, QB-3311;QB-9010\tQB-9001",
         [ListEntry(1, n) for n in ("QB-3310", "QB-3311", "QB-9010", "QB-9001")]),
        ("2 x QB-3310", [ListEntry(1, "QB-3310", 2)]),
        ("2× QB-3310", [ListEntry(1, "QB-3310", 2)]),
        ("2 QB-3310", [ListEntry(1, "QB-3310", 2)]),
        ("12 345 678", [ListEntry(1, "12 345 678")]),
        ("QB-3310 x2", [ListEntry(1, "QB-3310", 2)]),
        ("QB-3310; 3", [ListEntry(1, "QB-3310", 3)]),
        ("QB-3310; 3; QB-9001; 2", [ListEntry(1, "QB-3310", 3), ListEntry(1, "QB-9001", 2)]),
        ("4 off QB-9010", [ListEntry(1, "QB-9010", 4)]),
        ("QB\u20133310 @ brake.front.left", [ListEntry(1, "QB-3310", 1, "brake.front.left")]),
        ("nothing @ brake.servo", [ListEntry(1, "", 1, "brake.servo")]),
        ("4x4-10", [ListEntry(1, "4x4-10")]),
        ("# for Tuesday\nQB-3310 # the good one", [ListEntry(2, "QB-3310")]),
        ("Position;Part number;Qty\nbrake.front.left;QB-3310;\n;QB-9001;2", [
            ListEntry(2, "QB-3310", 1, "brake.front.left"), ListEntry(3, "QB-9001", 2)]),
        ('"number","name"\n"QB-3310","caliper, left"', [ListEntry(2, "QB-3310")]),
    ],
)  # fmt: skip
def test_a_list_is_read_as_people_type_it(typed: str, entries: list[ListEntry]) -> None:
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


def lines_to_add(page: httpx.Response) -> list[str]:
    """The rows of what to add, in words."""
    rows = re.findall(r'<tbody class="line".*?</tr>', page.text, re.DOTALL)
    return [" ".join(unescape(re.sub(r"<[^>]+>", " ", row)).split()) for row in rows]


def button(page: httpx.Response, words: str) -> str:
    """What the first button with these words sends."""
    found = re.search(rf'<button form="listing" name="change" value="([^"]+)"[^>]*>{words}', page.text)
    assert found, words
    return unescape(found[1])


def typed(page: httpx.Response) -> str:
    """The list as it stands in the form."""
    found = re.search(r'<textarea id="list"[^>]*>\n(.*?)</textarea>', page.text, re.DOTALL)
    assert found
    return unescape(found[1])


async def pressed(
    browser: httpx.AsyncClient, page: httpx.Response, words: str, **fields: str
) -> httpx.Response:
    return await checked(browser, typed(page), change=button(page, words), **fields)


async def test_the_verdict_counts_parts_and_clashes_and_leads_to_the_bench(
    browser: httpx.AsyncClient,
) -> None:
    page = await checked(browser, "qb 3310", fit="QB-3310")
    shown, body = text_of(page), {"vehicle": {"chassis": CHASSIS}, "components": ["QB-3310"]}
    facts = (await browser.post("/v1/checks", json={**body, "wishes": [{"fit": "QB-3310"}]})).json()
    rows = lines_to_add(page)
    off = [row for row in rows if "comes off" in row]
    clashes = len({note["sentence"] for note in facts["clashing"]})
    told = (
        f"Not complete: {len(rows) - len(off)} parts are missing; {clashes} clashes; 1 part has to come off."
    )
    assert told in shown
    assert len(off) == 1
    assert clashes
    assert f"All {clashes} are settled by what to add" in shown
    whole = facts["completed"]["set"]
    lacking = {c["component"] for c in whole["changes"] if c["position"] != "brake.front.left"}
    lacking |= {part["component"] for part in whole["loose_parts"]}
    assert {number for row in rows for number in re.findall(r"Q[A-Z]-\d{4}", row)} == lacking - {None}
    for note in facts["clashing"]:
        assert note["sentence"] in shown
    for caution in facts["cautions"]:
        assert all(sentence in shown for sentence in caution.rstrip(".").split(". "))
    answer = unescape(re.search(r'href="(/answer[^"]+)">Open on the bench', page.text)[1])
    followed = await browser.get(answer)
    assert followed.status_code == 200
    assert "What it becomes" in followed.text


async def test_the_sum_is_of_the_lines_and_of_what_the_list_lacks(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310\nQB-9020\nQB-9001\nQB-9001")
    listed = ["QB-3310", "QB-9020", "QB-9001", "QB-9001"]
    facts = (
        await browser.post("/v1/checks", json={"vehicle": {"chassis": CHASSIS}, "components": listed})
    ).json()
    whole = facts["completed"]["set"]
    prices = {c["component"]: Decimal(c["price"]) for c in whole["changes"] if c["component"]}
    washer = next(part for part in whole["loose_parts"] if part["component"] == "QB-9020")
    fluid = next(part for part in whole["loose_parts"] if part["component"] == "QB-9001")
    assert (washer["quantity"], fluid["quantity"]) == (4, 2)
    has = prices["QB-3310"] + Decimal(washer["price"]) / 4 + Decimal(fluid["price"])
    summed = re.search(r"parts to add (\d+) ([\d,.]+)", text_of(page))
    assert summed
    assert Decimal(summed[2].replace(",", "")) == Decimal(whole["totals"]["price"]) - has
    rows = lines_to_add(page)
    amounts = [
        row.removesuffix(" Add").rpartition(" Add ")[0].split()[-1] for row in rows if "comes off" not in row
    ]
    assert sum(Decimal(amount.replace(",", "")) for amount in amounts) == Decimal(summed[2].replace(",", ""))
    assert any("QB-9020" in row and "1 on the list" in row and "3 more" in row for row in rows)
    assert not any("QB-9001" in row for row in rows)


@pytest.mark.parametrize(
    "words",
    [
        "QB-3310",
        "QB-3302",
        "QB-9010\nQB-3310 # the good one\nQB-3302, 4 x QB-9020",
        "number;quantity\nQB-3310;1",
        "Position,Part number\nbrake.front.left,QB-3310",
    ],
)
async def test_all_that_is_told_added_by_one_button_is_complete(
    browser: httpx.AsyncClient, words: str
) -> None:
    page = await checked(browser, words)
    assert "What to add" in text_of(page)
    added = await pressed(browser, page, "Add all of it to the list")
    assert typed(added).startswith(words)
    assert "Complete: nothing is missing and nothing clashes." in text_of(added)
    assert "left out" not in text_of(added)
    assert "What to add" not in text_of(added)
    exactly = await checked(browser, typed(added), fit="QB-3310")
    assert "Nothing that was wished for asks for these." not in text_of(exactly)


async def test_each_line_can_be_added_alone(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310")
    rows = lines_to_add(page)
    added = await pressed(browser, page, "Add<")
    assert len(typed(added).split("\n")) == 2
    numbers = [[re.findall(r"Q[A-Z]-\d{4}", row) for row in some] for some in (lines_to_add(added), rows[1:])]
    assert numbers[0] == numbers[1]


async def test_the_other_side_of_a_listed_number_is_missing_too(browser: httpx.AsyncClient) -> None:
    rows = lines_to_add(await checked(browser, "QB-3302"))
    assert any("QB-3302" in row and "right" in row for row in rows)
    assert not any("QB-3302" in row and "both sides" in row for row in rows)


async def test_lines_that_do_not_go_together_are_named_with_ways_out(browser: httpx.AsyncClient) -> None:
    chassis = {"chassis": "24PR-005000"}
    page = await checked(browser, "QL-7117\nQL-7075, QB-9001", **chassis)
    shown = text_of(page)
    assert "Not complete: 1 clash." in shown
    assert "Whatever is added, lines of it do not go together." in shown
    assert (
        "QL-7117 distributor without contact breaker, for positive earth line 1, QL-7075 alternator" in shown
    )
    assert "This module works with the positive post earthed and in no other way." in shown
    assert "settled by what to add" not in shown
    assert "Rule alternator-60-needs-negative-battery" not in shown, "it is named on opening alone"
    swapped = await pressed(browser, page, "QL-7017 in place of QL-7117", **chassis)
    assert typed(swapped).split("\n")[0] == "QL-7075, QB-9001"
    assert "QL-7017" in typed(swapped)
    assert "do not go together" not in text_of(swapped)
    without = await pressed(browser, page, "Leave out QL-7075", **chassis)
    assert typed(without) == "QL-7117\nQB-9001"
    assert "do not go together" not in text_of(without)


async def test_what_cannot_be_worked_out_for_want_of_the_same_is_told_once(
    browser: httpx.AsyncClient,
) -> None:
    """A caliper without its disc: what a dozen checks lack stands once, the others under it."""
    page = (await checked(browser, "QB-3310")).text
    checks = page[page.index('id="checks"') :]
    told, folded = checks.split("more for want of the same", 1)
    assert told.count("effective radius of the disc of QB-3310") == 1
    more = int(told.rsplit(">", 1)[1])
    listed = folded[: folded.index("</details>")]
    assert listed.count("effective radius of the disc of QB-3310") == more > 5
    title = re.search(r'<h3>This set makes it fail or worse <span class="aside">(\d+)', checks)
    assert title
    assert int(title[1]) > more


async def test_what_is_too_much_is_taken_off_by_its_button(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310\nQL-3046\n3 x QA-9041\nQB-9003", fit="QL-3046")
    assert "Too much" in text_of(page)
    off = await pressed(browser, page, 'Take it off<span class="hidden"> QB-3310', fit="QL-3046")
    assert typed(off) == "QL-3046\n3 x QA-9041\nQB-9003"


@pytest.mark.parametrize(
    ("text", "change", "after"),
    [
        ("QB-1\nQB-2", "- 1 QB-1", "QB-2"),
        ("QB-1, 2 x QB-2 # both", "- 1 QB-1", "2 x QB-2  # both"),
        ("QB-1\n# why\nQB-2", "- 3 QB-2\r\n+ QB-3 @ a.b", "QB-1\n# why\nQB-3 @ a.b"),
        ("QB-1, --", "- 1 QB-1", "--"),
        ("QB-1\nQB-2", "- 1 QB-2\n- 7 QB-1\nQB-3", "QB-1\nQB-2"),
        ("", "+ 2 x QB-1", "2 x QB-1"),
        ("number;qty\nQB-1;1\nQB-2;1", "- 2 QB-1\n+ 3 x QB-4\n+ nothing @ a.b",
         "number;qty\nQB-2;1\nQB-4;3\nnothing @ a.b;1"),
        ("Part,Place\nQB-1,a.b", "+ 2 x QB-4\n+ QB-5 @ c.d\n+ nothing @ e.f",
         "Part,Place\nQB-1,a.b\nQB-4,\nQB-4,\nQB-5,c.d\nnothing,e.f"),
    ],
)  # fmt: skip
def test_a_button_changes_the_list_as_it_is_typed(text: str, change: str, after: str) -> None:
    assert amended(text, change) == after


@pytest.mark.parametrize("number", ["12 ab3", "4x4-10", "QB-1 x 2", "12 345", "QB-3310"])
def test_what_is_added_is_read_back_as_it_was_meant(number: str) -> None:
    for entry in (ListEntry(0, number, 1, "a.b"), ListEntry(0, number), ListEntry(0, number, 7)):
        read, unread = read_list(amended("", change_of(come=[entry])))
        assert not unread
        assert [(one.number, one.count, one.position) for one in read] == [
            (entry.number, entry.count, entry.position)
        ]


def test_what_no_list_could_say_has_no_button() -> None:
    assert change_of(come=[ListEntry(0, "QB,1")]) == ""
    assert change_of(come=[ListEntry(0, "QB-1"), ListEntry(0, "QB#1")]) == ""


@pytest.mark.parametrize("words", ["QB-3310\nQB-331O", "QB-9001\nQB-9003"])
async def test_every_place_that_the_page_leads_to_is_on_it(browser: httpx.AsyncClient, words: str) -> None:
    page = await checked(browser, words)
    places = set(re.findall(r'href="#([^"]+)"', page.text))
    assert places
    assert places <= set(re.findall(r'id="([^"]+)"', page.text))


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
    assert "Complete: nothing is missing and nothing clashes." in text_of(page)
    assert "What to add" not in page.text
    assert "Nothing that was wished for asks for these." not in page.text
    shorter = await checked(browser, "\n".join(lines[1:]), fit="QB-3310")
    assert "Not complete: " in text_of(shorter)


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
    complete = unescape(re.search(r'href="(/answer[^"]+)">Open on the bench', stricter.text)[1])
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
    assert page.status_code == 422
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
    assert "Not complete: " in text_of(page)
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
    assert "Not complete: " in text_of(page)


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


async def test_five_wheels_are_four_on_the_road_and_the_spare(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310\n5 x QW-3055")
    assert "left out" not in text_of(page)
    (listed,) = re.findall(r'<section id="to-add".*?</section>', page.text, re.DOTALL)
    assert "/component/QW-3055" not in listed, "neither road wheels nor the spare is missing"
    four = await checked(browser, "QB-3310\n4 x QW-3055")
    assert "left out" not in text_of(four)
    assert four.text.count('href="/component/QW-3055"') == 1, "the spare alone is missing"
    three = await checked(browser, "QB-3310\n3 x QW-3055")
    assert "QW-3055 fits several positions; say which" in text_of(three)
    road = await checked(browser, "QB-3310\nQW-3055 @ wheel.spare\n4 x QW-3055")
    assert "left out" not in text_of(road)
    too_many = await checked(browser, "QB-3310\nQW-3055 @ wheel.spare\n5 x QW-3055")
    assert "only 4 of 5 have a place here" in text_of(too_many)


async def test_a_part_whose_place_is_taken_says_by_what(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310\nQB-3311\nQB-2010")
    assert "QB-2010 has no place left: the list has QB-3310 and QB-3311 there already" in text_of(page)


async def test_the_vehicle_in_hand_is_the_one_that_the_list_is_for(browser: httpx.AsyncClient) -> None:
    fresh = await browser.get("/check")
    assert re.search(r'<input id="chassis"[^>]* value="" [^>]*autofocus', fresh.text)
    browser.cookies.set(in_hand.COOKIE, CHASSIS)
    page = await browser.get("/check")
    assert re.search(rf'<input id="chassis"[^>]* value="{CHASSIS}"', page.text)
    assert re.search(r'<textarea id="list"[^>]*autofocus', page.text)
    other = await browser.get("/check", params={"chassis": "24PR-000200"})
    assert re.search('<input id="chassis"[^>]* value="24PR-000200"', other.text)
    assert page.text.index("Check the list</button>") < page.text.index("Or a file with the numbers")
    for path in ("/component/QB-3310",):
        assert f'value="{CHASSIS}"' in (await browser.get(path)).text


async def test_an_unknown_position_offers_near_ones(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310 @ brake.front.lefft")
    assert 'data-wrong="brake.front.lefft"' in page.text
    assert "brake.front.left " in text_of(page)


async def test_a_missing_part_says_why_on_its_line(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-3310")
    reason = "tightened to their yield; they and their lock tabs are used once."
    rows = re.findall(r'<tbody class="line".*?</tbody>', page.text, re.DOTALL)
    (bolts,) = (row for row in rows if reason in row)
    assert "QB-9010" in bolts
    assert "Rule: QB-3310/bolts." in bolts
    with_bolts = await checked(browser, "QB-3310\n2 x QB-9010")
    assert reason not in text_of(with_bolts)


async def test_a_body_beyond_the_bound_is_refused(browser: httpx.AsyncClient) -> None:
    sheet = b"QB-3310\n" * 200_000
    page = await browser.post(
        "/check", data={"chassis": CHASSIS}, files={"file": ("x.csv", sheet, "text/csv")}
    )
    assert page.status_code == 413
    assert "at most 1000000 bytes" in page.text


async def test_a_list_without_a_vehicle_or_a_vehicle_without_a_list_is_not_judged(
    browser: httpx.AsyncClient,
) -> None:
    """The one thing that is missing is said, beside its field, and nothing else."""
    without = await browser.post("/check", data={"chassis": "", "list": "QB-3310"}, files={})
    assert without.status_code == 422
    assert without.text.count('class="help wrong"') == 1
    assert re.search(
        r'<input id="chassis"[^>]* autofocus\s+aria-invalid="true" aria-describedby="chassis-wrong">',
        without.text,
    )
    assert "Type the chassis number that the list is for." in text_of(without)
    bare = await browser.get("/check", params={"chassis": CHASSIS})
    assert bare.status_code == 200
    assert 'class="help wrong"' not in bare.text
    assert "What to add" not in bare.text


async def test_of_two_lists_none_is_read_and_the_other_forgotten(browser: httpx.AsyncClient) -> None:
    one, other = (("file", (name, b"QB-3310\n", "text/csv")) for name in ("one.csv", "other.csv"))
    page = await browser.post("/check", data={"chassis": CHASSIS}, files=[one, other])
    assert page.status_code == 400
    assert "The form cannot be read" in text_of(page)
    assert "Go back, choose one, send it again." in text_of(page), "a next step"


async def test_every_entry_wrong_leaves_no_answer(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "ZZ-1\nZZ-2")
    assert "2 entries left out" in text_of(page)
    assert "Complete: " not in text_of(page)


async def test_more_of_one_than_there_are_places_keeps_those_that_have_one(
    browser: httpx.AsyncClient,
) -> None:
    page = await checked(browser, "2 x QB-3310")
    assert "only 1 of 2 has a place here" in text_of(page)
    assert "Not complete: " in text_of(page)
    assert "2 x QB-3310</textarea>" in page.text


async def test_a_list_with_wrong_entries_is_never_called_complete(browser: httpx.AsyncClient) -> None:
    page = await checked(browser, "QB-9001\nZZ-1")
    assert "Not decided: 1 entry was left out." in text_of(page)
    assert "Complete: " not in text_of(page)


async def test_a_list_for_a_build_is_judged_by_what_is_fitted_to_it(writer: httpx.AsyncClient) -> None:
    """Its chassis number stands in the field; for another one that is typed there the build is let go."""
    build = {"name": "listed", "chassis": CHASSIS, "fitted": {"brake.servo": "QB-2066"}}
    assert (await writer.post("/v1/builds", json=build)).status_code == 201
    of_build = await writer.get("/check?build=listed&list=QB-3310", follow_redirects=True)
    as_new = await writer.get(f"/check?chassis={CHASSIS}&list=QB-3310", follow_redirects=True)
    assert f'value="{CHASSIS}"' in of_build.text
    assert any("QB-2066" in line for line in lines_to_add(as_new))
    assert not any("QB-2066" in line for line in lines_to_add(of_build))
    form = {"build": "listed", "chassis": "24PR-012000", "list": "QB-3310"}
    other = await writer.post("/check", data=form, follow_redirects=True)
    assert "build=" not in str(other.url)
    assert 'name="build"' not in other.text
    same = await writer.post("/check", data=form | {"chassis": "24pl 018412"}, follow_redirects=True)
    assert "build=listed" in str(same.url)
    assert (await writer.get("/check?build=nobody")).status_code == 422
