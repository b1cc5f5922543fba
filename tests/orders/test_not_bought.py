"""What an order does not buy stands first, with why and what would get it; it is not sent in silence."""

import io
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import httpx
import openpyxl
import orjson
import pytest
from pypdf import PdfReader

from graftbook.database import writing
from graftbook.orders.buying.not_bought import groups_of, said_of
from graftbook.orders.papers.csv import order_csv
from graftbook.orders.papers.pdf import order_pdf
from graftbook.orders.papers.xlsx import order_xlsx
from graftbook.orders.plain_text import order_page
from graftbook.orders.service import VehicleOrdered, _substitute
from graftbook.orders.tables import OrderListRow
from graftbook.rulebook.model import Effort
from tests.closure.shelf import Shelf
from tests.orders.test_life import match
from tests.orders.test_papers import rows_of
from tests.orders.unsold import sold_by_nobody

pytestmark = pytest.mark.one_engine

DISCS = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3302"}]}
CHARGED = {"vehicle": {"chassis": "24PR-012000"}, "wishes": [{"fit": "QL-7075"}]}
SOON = (date.today() + timedelta(days=2)).isoformat()
SHORT = [{"by": SOON}, {"at_most_suppliers": 2}, {"by": SOON, "at_most_suppliers": 1}]


async def ordered(counter: httpx.AsyncClient, **more: Any) -> dict[str, Any]:
    answer = await counter.post("/v1/orders", json=DISCS | more, headers={"Accept": "application/json"})
    assert answer.status_code == 200, answer.text
    return answer.json()


@pytest.mark.parametrize("terms", SHORT)
async def test_an_order_says_first_what_it_does_not_buy(
    counter: httpx.AsyncClient, terms: dict[str, Any]
) -> None:
    found = await ordered(counter, **terms)
    lacking = found["not_supplied"]
    bought = {line["number"] for line in found["lines"]}
    assert bought
    assert lacking
    assert (found["complete"], found["not_bought"]) == (False, len(lacking))
    assert found["lines_needed"] == len(bought) + len(lacking)
    sums = f"{found['totals']['total']} GBP for {len(bought)} of {found['lines_needed']} lines"
    assert found["headline"].replace(",", "").startswith(f"{sums}; {len(lacking)} are NOT bought.")
    keys = list(found)
    assert keys.index("complete") < keys.index("vehicles")
    assert "ll of it is there" not in found["split"]["sentence"]
    assert [n for group in found["not_bought_why"] for n in group["numbers"]] == [
        line["number"] for line in lacking
    ]
    assert all(group["sentence"] and group["reason"] for group in found["not_bought_why"])


@pytest.mark.parametrize("terms", SHORT)
async def test_what_would_get_them_does(counter: httpx.AsyncClient, terms: dict[str, Any]) -> None:
    """Each way told is asked for: it buys what it says, for what it says; one step short of it does not."""
    found = await ordered(counter, **terms)
    assert found["instead"]
    everything = [way for way in found["instead"] if way["left_out"] == 0]
    assert everything, "some way told buys it all"
    for way in found["instead"]:
        asked = {"by": way["by"], "at_most_suppliers": way["at_most_suppliers"]}
        then = await ordered(counter, **{name: value for name, value in asked.items() if value})
        assert then["not_bought"] == way["left_out"]
        cost = sum(round(float(then["totals"][part]) * 100) for part in ("parts", "carriage"))
        assert cost == round(float(way["total"]) * 100)
        assert way["total"] in way["sentence"].replace(",", "")
    for way in everything:
        if way["by"] and way["by"] != terms.get("by"):
            before = (date.fromisoformat(way["by"]) - timedelta(days=1)).isoformat()
            short = {"by": before, "at_most_suppliers": way["at_most_suppliers"]}
        elif way["at_most_suppliers"] and way["at_most_suppliers"] > 1:
            short = {"by": way["by"], "at_most_suppliers": way["at_most_suppliers"] - 1}
        else:
            continue
        assert not (await ordered(counter, **{n: v for n, v in short.items() if v}))["complete"]


async def test_each_line_says_who_has_it_first_and_at_what_price(counter: httpx.AsyncClient) -> None:
    found = await ordered(counter, by=SOON)
    for line in found["not_supplied"]:
        assert line["reason"] == "none by that date"
        offers = (await counter.get(f"/v1/components/{line['number']}")).json()["offers"]
        home = {offer["supplier"]: offer["price"] for offer in offers if offer.get("currency") in (None, "")}
        assert line["offered"]
        for offer in line["offered"]:
            assert offer["supplier"] in {known["supplier"] for known in offers}
            price = home.get(offer["supplier"], offer["unit_price"])
            assert float(offer["unit_price"]) == float(price)
            assert SOON < offer["arrives"] <= line["earliest"]
            assert offer["title"] in line["gets"]
            assert offer["unit_price"] in line["gets"]


async def test_what_nobody_sells_is_said_so_and_what_stands_for_it(counter: httpx.AsyncClient) -> None:
    wished = {"wishes": [{"fit": "QB-3310"}, {"fit": "QB-7098"}]}
    found = await ordered(counter, **wished)
    (lacking,) = found["not_supplied"]
    assert (lacking["number"], lacking["reason"], lacking["offered"]) == ("QB-7098", "no offer", [])
    assert lacking["gets"] == "Without it your wishes cannot be fulfilled."
    (group,) = found["not_bought_why"]
    assert "sells" in group["sentence"]
    assert "1 is NOT bought" in found["headline"]


async def test_a_part_that_the_best_set_can_do_without_says_what_that_set_has(
    counter: httpx.AsyncClient,
) -> None:
    """Nothing stands in its place, and what is told instead comes when the number is refused."""
    await sold_by_nobody(counter, "QL-9040")
    found = await ordered(counter, **CHARGED)
    (lacking,) = found["not_supplied"]
    assert (lacking["number"], lacking["reason"]) == ("QL-9040", "no offer")
    then = await ordered(counter, **CHARGED, limits={"refuse": ["QL-9040"]})
    before, after = ({line["number"] for line in one["lines"]} for one in (found, then))
    assert then["complete"]
    assert lacking["gets"].startswith("Refuse it, and the best set has no need of it")
    for number in before ^ after:
        assert number in lacking["gets"], lacking["gets"]
    assert "in its place" not in lacking["gets"]


async def test_a_loose_part_whose_owner_changes_without_it_says_so(counter: httpx.AsyncClient) -> None:
    """Without the leads of its shunt the ammeter itself gives way to a voltmeter: its stud is no stand-in."""
    await sold_by_nobody(counter, "QI-9113")
    (lacking,) = (await ordered(counter, **CHARGED))["not_supplied"]
    assert (lacking["number"], lacking["substitute"]) == ("QI-9113", None)
    assert [part["number"] for part in lacking["goes_with"]] == ["QI-7113"]
    for number in ("QI-7013", "QI-9013", "QI-7113"):
        assert number in lacking["gets"], lacking["gets"]
    assert said_of(lacking).startswith("It goes with the new QI-7113 (ammeter, 70-0-70 A")


async def test_what_stands_for_a_part_tells_what_else_it_changes(counter: httpx.AsyncClient) -> None:
    await sold_by_nobody(counter, "QI-7113")
    (lacking,) = (await ordered(counter, **CHARGED))["not_supplied"]
    assert lacking["substitute"]["number"] == "QI-7013"
    assert "it has QI-9013" in lacking["gets"]
    assert "it does without QI-9113" in lacking["gets"]


async def test_a_set_without_it_that_nobody_sells_whole_says_so(counter: httpx.AsyncClient) -> None:
    """The clamp frame of the battery nobody sells, nor the battery that needs none."""
    await sold_by_nobody(counter, "QL-9040")
    await sold_by_nobody(counter, "QL-7012")
    (lacking,) = (await ordered(counter, **CHARGED))["not_supplied"]
    then = await ordered(counter, **CHARGED, limits={"refuse": ["QL-9040"]})
    assert lacking["number"] == "QL-9040"
    assert "has no need of it" in lacking["gets"]
    assert [line["number"] for line in then["not_supplied"]] == ["QL-7012"]
    assert "QL-7012" in lacking["gets"]


async def test_a_price_of_a_day_of_an_order_that_is_not_whole_does_not_say_all(
    counter: httpx.AsyncClient,
) -> None:
    await sold_by_nobody(counter, "QT-9131")
    found = await ordered(counter, wishes=[{"fit": "QT-7000"}])
    assert not found["complete"]
    assert len(found["price_of_days"]) > 1
    notes = [row["note"] for row in rows_of(order_csv(found)) if row["row"] == "price of days"]
    assert notes
    assert not [note for note in notes if note.startswith("all ")]
    paper = PdfReader(io.BytesIO(order_pdf(found)))
    printed = " ".join(" ".join(page.extract_text() for page in paper.pages).split())
    assert "What is bought, there by" in printed
    whole = await ordered(counter)
    paper = PdfReader(io.BytesIO(order_pdf(whole)))
    assert "All there by" in " ".join(" ".join(page.extract_text() for page in paper.pages).split())
    (note, *_) = [row["note"] for row in rows_of(order_csv(whole)) if row["row"] == "price of days"]
    assert note.startswith("all by this day")


async def test_the_day_in_the_proof_is_the_day_in_the_headline(counter: httpx.AsyncClient) -> None:
    """Asked for by a later day than anything of it takes: both sentences name the day that it is there."""
    by = (date.today() + timedelta(days=8)).isoformat()
    found = await ordered(counter, by=by, at_most_suppliers=2)
    last = max(line["arrives"] for line in found["lines"])
    assert last < by
    assert by not in found["split"]["sentence"]
    day = date.fromisoformat(last)
    assert f"there by {day.day} {day:%B %Y}" in found["headline"]
    assert f"there by {day.day} {day:%B %Y}" in found["split"]["sentence"]


async def test_a_reason_is_told_once_and_one_day_is_one_day(counter: httpx.AsyncClient) -> None:
    found = await ordered(counter, wishes=[{"fit": "QB-7098"}])
    several = [
        line
        for line in found["lines"]
        if len({one["sentence"] for one in line["because"]}) < len(line["because"])
    ]
    assert several, "several rules say one"
    for line in several:
        assert len(set(line["reasons"])) == len(line["reasons"]), line["reasons"]
    quick = await ordered(counter)
    assert 1 in {line["lead_days"] for line in quick["lines"]}
    pages = PdfReader(io.BytesIO(order_pdf(quick))).pages
    printed = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert all(line["arrives"] in printed for line in quick["lines"])
    assert " 1 days" not in printed


async def test_an_old_unit_of_another_kind_is_not_promised_its_deposit(counter: httpx.AsyncClient) -> None:
    """A drum brake comes off, a caliper comes on exchange: nobody says that one is taken for the other."""
    found = await ordered(counter)
    (off, *_) = [part for part in found["taken_off"] if part["what"] == "exchange"]
    assert (off["number"], off["replaced_by"]) == ("QB-2010", "QB-3310")
    assert "Ask whether" in off["why"]
    assert "Hand it in" not in off["why"]


async def test_the_owner_is_not_promised_the_deposits_either(counter: httpx.AsyncClient) -> None:
    asked = DISCS | {"labour_rate": "50.00"}
    told = (await counter.post("/v1/quotations", json=asked, headers={"Accept": "application/json"})).json()
    assert float(told["deposits"]) > 0
    assert "come back with the old parts" not in told["sentence"]
    assert "come back for old units that the suppliers take" in told["sentence"]
    page = (await counter.get("/quotation?chassis=24PL-018412&fit=QB-3302", follow_redirects=True)).text
    assert "come back for old units that the suppliers take" in page


async def test_a_whole_order_says_that_it_is_whole(counter: httpx.AsyncClient) -> None:
    found = await ordered(counter)
    assert (found["complete"], found["not_bought"], found["not_bought_why"]) == (True, 0, [])
    assert "all of it there by" in found["headline"]
    assert "NOT" not in found["headline"]


async def test_the_documents_begin_with_it(counter: httpx.AsyncClient) -> None:
    found = await ordered(counter, at_most_suppliers=2)
    numbers = [line["number"] for line in found["not_supplied"]]
    rows = rows_of(order_csv(found))
    lines = len(found["lines"])
    assert [row["row"] for row in rows[: lines + 1]] == ["line"] * lines + ["not complete"]
    assert rows[lines]["note"] == found["headline"]
    lacking = rows[lines + 1 : lines + 1 + len(numbers)]
    assert [row["number"] for row in lacking] == numbers
    assert all(row["reason"] for row in lacking)
    assert "NOT bought" in next(row for row in rows if row["row"] == "total")["note"]
    first = " ".join(PdfReader(io.BytesIO(order_pdf(found))).pages[0].extract_text().split())
    assert first.index("are NOT bought") < first.index("Catalogue revision")
    assert all(first.index(number) < first.index("Catalogue revision") for number in numbers)
    book = openpyxl.load_workbook(io.BytesIO(order_xlsx(found)))
    told = [[cell.value for cell in row[:2]] for row in book["Order"].rows]
    assert told[1] == ["Not complete", found["headline"]]
    assert book.sheetnames[:2] == ["Order", "Not bought"]
    text = list(order_page(found))
    assert " ".join(text)[:200].startswith(found["headline"][:60])
    assert text.index("NOT BOUGHT") < text.index("ORDER LIST")
    for number in numbers:
        assert any(number in line for line in text[: text.index("ORDER LIST")])


@pytest.mark.parametrize("part", ["supplier", "vehicle"])
async def test_a_part_of_an_incomplete_order_says_so(counter: httpx.AsyncClient, part: str) -> None:
    found = await ordered(counter, at_most_suppliers=2)
    one = found["suppliers"][0]["name"] if part == "supplier" else found["vehicles"][0]["label"]
    papers = [
        PdfReader(io.BytesIO(order_pdf(found, part=f"{part}:{one}"))).pages[0].extract_text(),
        order_csv(found, f"{part}:{one}").decode(),
        str([[c.value for c in r] for r in openpyxl.load_workbook(
            io.BytesIO(order_xlsx(found, f"{part}:{one}")))["Order"].rows]),
    ]  # fmt: skip
    for paper in papers:
        assert f"{found['not_bought']} of its {found['lines_needed']} lines" in " ".join(paper.split()) or (
            "are NOT bought" in " ".join(paper.split()) and part == "vehicle"
        )


async def test_of_several_vehicles_each_part_names_its_own(counter: httpx.AsyncClient) -> None:
    other = {"vehicle": {"chassis": "16PR-000200"}, "wishes": [{"fit": "QL-7075"}], "label": "blue"}
    found = await ordered(counter, by=SOON, also=[other])
    users = {line["number"]: {share["vehicle"] for share in line["for"]} for line in found["not_supplied"]}
    assert {"blue"} in users.values()
    assert {"24PL-018412"} in users.values()
    rows = rows_of(order_csv(found, "vehicle:blue"))
    named = {row["number"] for row in rows if row["row"] == "not supplied"}
    assert named == {number for number, labels in users.items() if "blue" in labels}


async def test_an_incomplete_list_is_sent_with_a_word_only(counter: httpx.AsyncClient) -> None:
    draft = await counter.post("/v1/order-lists", json=DISCS | {"name": "short", "at_most_suppliers": 2})
    kept = draft.json()
    refused = await counter.post("/v1/order-lists/short/send", headers=match(draft))
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/incomplete")
    assert [line["number"] for line in refused.json()["not_bought"]] == [
        line["number"] for line in kept["not_supplied"]
    ]
    assert all(line["why"] for line in refused.json()["not_bought"])
    said_no = await counter.post(
        "/v1/order-lists/short/send", json={"incomplete": False}, headers=match(draft)
    )
    assert said_no.status_code == 409
    assert (await counter.get("/v1/order-lists/short")).json()["state"] == "draft"
    sent = await counter.post("/v1/order-lists/short/send", json={"incomplete": True}, headers=match(draft))
    assert (sent.status_code, sent.json()["state"]) == (200, "sent")
    events = (await counter.get("/v1/order-lists/short/events")).json()["items"]
    assert events[-1]["detail"]["not_bought"] == [line["number"] for line in kept["not_supplied"]]
    (short,) = (await counter.get("/v1/order-lists")).json()["items"]
    assert (short["complete"], short["not_bought"]) == (False, kept["not_bought"])
    paper = await counter.get("/v1/order-lists/short", headers={"Accept": "text/csv"})
    assert paper.text.splitlines()[len(kept["lines"]) + 1].startswith("not complete,")


async def test_what_changed_tells_whether_it_is_whole(counter: httpx.AsyncClient) -> None:
    await counter.post("/v1/order-lists", json=DISCS | {"name": "short", "at_most_suppliers": 2})
    found = (await counter.get("/v1/order-lists/short/differences")).json()
    assert (found["same"], found["complete"]) == (True, False)
    assert found["not_bought"] == (await counter.get("/v1/order-lists/short")).json()["not_bought"]


async def test_what_can_be_bought_by_now_is_told_as_that(counter: httpx.AsyncClient) -> None:
    made = await counter.post("/v1/order-lists", json=DISCS | {"name": "short", "at_most_suppliers": 2})
    number = made.json()["not_supplied"][0]["number"]
    who = made.json()["suppliers"][0]["name"]
    sheet = f"[offer]\nsupplier,component,price\n{who},{number},1.00\n"
    loaded = await counter.post("/v1/imports", content=sheet, headers={"Content-Type": "text/csv"})
    assert loaded.status_code == 200, loaded.text
    found = (await counter.get("/v1/order-lists/short/differences")).json()
    (told,) = [sentence for sentence in found["sentences"] if sentence.startswith(number)]
    assert told.endswith("was not bought and can be bought now.")


async def test_a_list_kept_by_an_earlier_version_says_it_too(app: Any, counter: httpx.AsyncClient) -> None:
    """What it kept has no word of it: the count is that of its lines not supplied."""
    await counter.post("/v1/order-lists", json=DISCS | {"name": "old", "at_most_suppliers": 2})
    new = (
        "complete",
        "not_bought",
        "lines_needed",
        "headline",
        "not_bought_why",
        "instead",
        "reconciliation",
    )
    with writing(app.state.service.engine) as session:
        row = session.get(OrderListRow, "old")
        facts = {name: value for name, value in orjson.loads(row.facts).items() if name not in new}
        for line in facts["not_supplied"]:
            for name in ("reason", "offered", "gets", "for"):
                line.pop(name)
        row.facts = orjson.dumps(facts).decode()
    kept = await counter.get("/v1/order-lists/old", headers={"Accept": "application/json"})
    assert (kept.json()["complete"], kept.json()["not_bought"]) == (False, len(facts["not_supplied"]))
    assert "NOT bought" in kept.json()["headline"]
    for form in ("text/csv", "application/pdf"):
        assert (await counter.get("/v1/order-lists/old", headers={"Accept": form})).status_code == 200
    refused = await counter.post("/v1/order-lists/old/send", headers=match(kept))
    assert refused.json()["type"] == "/problems/incomplete"


async def test_a_quotation_says_what_its_sum_is_without(counter: httpx.AsyncClient) -> None:
    asked = DISCS | {"labour_rate": "50.00", "at_most_suppliers": 2}
    found = (await counter.post("/v1/quotations", json=asked)).json()
    assert (found["complete"], found["not_bought"]) == (False, len(found["not_in_it"]))
    assert f"{found['not_bought']} of {found['lines_needed']} lines are NOT bought" in found["sentence"]
    whole = (await counter.post("/v1/quotations", json=DISCS | {"labour_rate": "50.00"})).json()
    assert (whole["complete"], whole["not_bought"]) == (True, 0)
    assert "NOT" not in whole["sentence"]


@pytest.mark.parametrize(
    ("effort", "work"),
    [
        (Effort.direct, ""),
        (Effort.machining, "; it needs machining"),
        (Effort.cutting, "; it needs cutting or welding, and cannot be put back"),
    ],
)
def test_what_stands_in_its_place_says_what_work_it_takes(effort: Effort, work: str) -> None:
    shelf = Shelf(brake="drum disc vented").fits("vented", "brake", effort=effort)
    book, answer, instead = shelf.book(), shelf.ask("disc"), shelf.ask("vented").solution
    vehicle = VehicleOrdered("24L-500", SimpleNamespace(book=book), answer, answer.solution, {})  # type: ignore[arg-type]
    assert _substitute(vehicle, instead, "disc", {"vented"})["sentence"] == (
        f"Fit vented (part vented) instead{work}. Your wishes are fulfilled with it too."
    )


def test_one_number_that_is_not_bought_is_this_and_several_are_these() -> None:
    lines = [{"number": "QB-1", "reason": "no offer"}, {"number": "QB-2", "reason": "stock too small"}]
    told = groups_of([*lines, {"number": "QB-3", "reason": "stock too small"}])
    assert [(group["numbers"], group["sentence"]) for group in told] == [
        (["QB-1"], "Nobody sells this"),
        (["QB-2", "QB-3"], "The suppliers have too few of these"),
    ]
