"""The papers for the owner and the fitter: a quotation and a fitting sequence, as their makers fill them."""

import io
import re
from datetime import date
from decimal import Decimal

from pypdf import PdfReader

from graftbook.orders.documents import DEFERS
from graftbook.orders.fitting.schedule import earliest_finish
from graftbook.orders.fitting.sequence import Before, Job, LooseUse, Work, sequence
from graftbook.orders.fitting.service import sequence_facts
from graftbook.orders.papers.quotation import quotation_pdf
from graftbook.orders.papers.sequence import sequence_pdf
from graftbook.orders.papers.text import hours, shown
from graftbook.orders.quotation.quotation import Item, quote
from graftbook.orders.quotation.service import _sums_document

VEHICLE = {
    "label": "24FL-009401", "chassis": "24FL-009401", "variant": "24P-21-4L",
    "title": "Van, second generation", "built": "1964-06-01",
    "wishes": ["Remedy every known flaw that endangers."],
}  # fmt: skip

WHOLE = {"complete": True, "not_bought": 0, "lines_needed": 4}


def text_of(document: bytes) -> tuple[str, int]:
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(document)).pages]
    return re.sub(r"\s+", "", "".join(pages)), len(pages)


def made_quotation() -> dict:
    items = [
        Item("parts", 812_345, Decimal("20.00")), Item("parts", 4_050, None),
        Item("carriage", 2_500, Decimal("20.00")), Item("labour", 95_000, Decimal("5.50")),
    ]  # fmt: skip
    made = quote(items, 24_100, date(2026, 11, 30), Decimal(25), months=6)
    return {
        "date": "2026-11-30", "currency": "GBP", "market": "home", "catalogue_revision": 12,
        "vehicles": [VEHICLE], "labour_minutes": 1_140, "labour_rate": "50.00",
        **WHOLE, **_sums_document(made, WHOLE, ("QL-0450",)),
        "not_in_it": ["QL-0450: its price is not known."],
        "cautions": ["Brakes: a second person checks the work."], "defers": DEFERS,
    }  # fmt: skip


def made_sequence(jobs: int) -> dict:
    made = [
        Job(
            f"job {number}",
            f"Place {number}, left",
            f"s{number // 7}",
            removing=10 if number % 3 else None,
            fitting=15 + number % 40,
            place=number,
            section_title=f"Section {number // 7}",
            tools=(f"puller {number}",) if number % 5 == 0 else (),
            state="off" if number % 6 == 1 else "",
            opening="Mind the pipe." if number % 6 == 1 else "",
            untimed=frozenset(Work) if number % 6 == 1 else frozenset(),
            loose=(LooseUse(f"QX-{number}", "gasket", 2, "before"),) if number % 7 == 0 else (),
            tightenings=(f"stud nut {number}: 65 N m, then 30 degrees",) if number % 4 == 0 else (),
            cautions=("Never work under a vehicle that only a jack holds.",),
        )
        for number in range(jobs)
    ]
    befores = [
        Before(f"job {n}", f"job {n + 1}", Work.fitting, "It is behind it.", f"r{n}") for n in range(jobs - 1)
    ]
    found = sequence(made, befores)
    facts = sequence_facts(found, earliest_finish(found, 2, {}, 1.0), 2, {})
    return {"vehicle": VEHICLE, "wishes": VEHICLE["wishes"], "catalogue_revision": 12, **facts}


def test_a_quotation_shows_every_item_tax_and_payment() -> None:
    facts = made_quotation()
    text, _ = text_of(quotation_pdf(facts, house="Invented House"))
    for item in facts["items"]:
        assert shown(item["amount"]) in text
    for tax in facts["taxes"]:
        assert f"{shown(tax['on'])}{shown(tax['tax'])}" in text
    for payment in facts["payments"]:
        assert (
            re.sub(r"\s", "", f"{payment['on']}{payment['what'].capitalize()}{shown(payment['amount'])}")
            in text
        )
    assert shown(facts["total"]) in text
    assert "itspriceisnotknown" in text
    assert re.sub(r"\s", "", DEFERS) in text


def test_a_sequence_shows_every_step_in_order_with_tools_and_tightening_values() -> None:
    facts = made_sequence(120)
    text, pages = text_of(sequence_pdf(facts))
    assert pages > 3
    at = 0
    for step in facts["steps"]:
        minutes = {"recorded": step["minutes"], "with its fitting": "–", "not recorded": "?"}[step["time"]]
        at = text.find(re.sub(r"\s", "", f"{step['step']}{step['verb']}{step['title']}{minutes}"), at)
        assert at >= 0, step
        uses = [use["sentence"] for use in step["loose_parts"]]
        for said in (*step["tools"], *step["tightenings"], *step["instructions"], *uses):
            assert re.sub(r"\s", "", said) in text[at : at + 400]
    assert re.sub(r"\s", "", hours(facts["minutes"])) in text
    assert "Neverworkunderavehicle" in text
    for title in {step["section_title"] for step in facts["steps"]}:
        assert re.sub(r"\s", "", title) in text
    assert "Otherwork" not in text, "every step has a section"


def test_both_are_the_same_bytes_each_time() -> None:
    assert quotation_pdf(made_quotation()) == quotation_pdf(made_quotation())
    assert sequence_pdf(made_sequence(9)) == sequence_pdf(made_sequence(9))
