"""Invented facts of an order of any size, as the API gives them (see `graftbook/orders/papers`)."""

from datetime import date, timedelta
from decimal import Decimal
from random import Random
from typing import Any

SUPPLIERS = {
    "teasel": "Teasel Forge", "corvane": "Corvane Hydraulics", "bellmoor": "Bellmoor Castings & Sons",
    "hollin": "Hollin Trim and Weatherstrip", "pikeline": "Pikeline Electrical", "ashwick": "Ashwick Spares",
}  # fmt: skip

SECTIONS = {
    "brakes": "Brakes", "axles": "Axles and hubs", "cooling": "Cooling", "electrical": "Electrical",
    "fuel": "Fuel", "body": "Body and trim", "steering": "Steering",
}  # fmt: skip

NAMES = (
    "Wheel cylinder", "Brake hose", "Half-shaft", "Hub oil seal", "Radiator hose, lower", "Track rod end",
    "Alternator, three-phase, with regulator and mounting bracket for the later engine front cover",
    "Gasket", "Fuel lift pump", "Door seal", "Swivel pin housing", "Brake fluid", "Battery lead, earth",
)  # fmt: skip

REASONS = (
    "Remedies the flaw that the drum loses its grip when hot.",
    "The new half-shaft has 27 splines; the hub must have as many, and today's has 14.",
    "Needed once whenever the housing is opened, since the old gasket cannot be used again.",
    "You wished for it.",
    "The pair is changed together: one new spring beside a tired one makes the vehicle lean.",
)

GRADES = ("hearsay", "parts book", "workshop manual", "measured", "trial fitted", "built and driven")
CAUTION = "Brakes: bleed and test before the vehicle goes on a road; a second person checks the work."
DEFERS = (
    "These papers do not replace the codes and laws that hold where the vehicle is used, nor the judgement "
    "of a licensed or otherwise competent person, who checks the work before the vehicle goes on a road."
)

NASTY = (
    "=1+1", "+1", "-1+2", "@SUM(A1)", "\t=2", "\r=3", '=cmd|" /C calc"!A0', "＝1+1", "<b>bold</b> & <para>",
    "</para><font color='red'>x", "עברית", "العربية", "e\u0301a\u0308\u20dd", "日本語の部品", "a\x00b\x1bc",
    "\u202e321", "_x0041_", "https://elsewhere.invalid/x", "W" * 900, "word " * 700, "\ud800", "🔧",
    "\ufffe", "",
)  # fmt: skip


def money(value: Decimal) -> str:
    return f"{value:.2f}"


def taxed(value: Decimal, rate: Decimal) -> Decimal:
    return (value * rate / 100).quantize(Decimal("0.01"))


def made_order(lines: int = 40, *, vehicles: int = 2, seed: int = 1, nasty: bool = False) -> dict[str, Any]:
    """The facts of an order whose figures agree with each other.

    `nasty` puts text into it that a spreadsheet would run, that no XML holds, without a glyph, or long.
    """
    random = Random(f"{seed} {lines} {vehicles}")
    day = date(2026, 11, 25)
    labels = [f"Vehicle {chr(65 + index)}" for index in range(vehicles)]
    made = [_line(random, number, labels, day) for number in range(1, lines + 1)]
    made.sort(key=lambda line: list(SECTIONS).index(line["section"]))
    for number, line in enumerate(made, 1):
        line["line"] = number
    facts = {
        "name": "Two vans before spring",
        "state": "draft",
        "date": day.isoformat(),
        "catalogue_revision": 417,
        "currency": "GBP",
        "market": "home",
        "vehicles": [_vehicle(label, index) for index, label in enumerate(labels)],
        "lines": made,
        "suppliers": _suppliers(made),
        "from_stock": [{"number": "QL-7001", "name": "Split pin", "quantity": 8, "place": "drawer 14"}],
        "at_hand": [
            {"number": "QL-7002", "name": "Brake pedal rubber", "quantity": 1, "positions": ["Brake pedal"]}
        ],
        "not_supplied": _not_supplied(),
        "taken_off": _taken_off(made, labels),
        "totals": {},
        "unknown_prices": [line["number"] for line in made if line["unit_price"] is None],
        "cautions": [CAUTION, "Fuel: drain the tank and ventilate before any line is opened."],
        "defers": DEFERS,
        **_not_whole(lines),
        **_offered(),
    }
    facts["totals"] = {
        key: money(sum((Decimal(s[key]) for s in facts["suppliers"]), Decimal(0)))
        for key in ("parts", "carriage", "tax", "deposits", "total")
    }
    return _made_nasty(facts, random) if nasty else facts


def _offered() -> dict[str, Any]:
    """What the days cost, and how well the split is known."""
    return {
        "price_of_days": [
            {"by": "2026-12-02", "total": "9120.40", "extra": "310.25", "suppliers": ["Ashwick Spares"]},
            {
                "by": "2026-12-09",
                "total": "8810.15",
                "extra": "0.00",
                "suppliers": ["Teasel Forge", "Pikeline"],
            },
        ],
        "split": {
            "proved": False,
            "gap": "14.20",
            "sentence": "Time ran out before it was proved: a split may exist that costs up to 14.20 less.",
        },
    }


def _not_supplied() -> list[dict[str, Any]]:
    return [
        {
            "number": "QL-0450",
            "name": "Servo, early",
            "quantity": 1,
            **_lacking("No longer supplied, and no offer for it holds today.", "The later servo fits."),
            "substitute": {
                "number": "QL-0459",
                "name": "Servo, later",
                "sentence": "The later servo fits with the same bracket; the set stays complete.",
            },
        },
        {
            "number": "QL-0460",
            "name": "Cork seal",
            "quantity": 2,
            **_lacking("Nobody offers it.", None),
            "substitute": None,
        },
    ]


def _not_whole(lines: int) -> dict[str, Any]:
    """What an order says that buys not all that is needed."""
    return {
        "complete": False,
        "not_bought": 2,
        "lines_needed": lines + 2,
        "headline": f"So much for {lines} of {lines + 2} lines; 2 are NOT bought.",
        "not_bought_why": [
            {"reason": "no offer", "sentence": "Nobody sells these", "numbers": ["QL-0450", "QL-0460"]}
        ],
        "instead": [],
        "reconciliation": {
            "answer_parts": "30.00",
            "order_parts": "25.00",
            "differences": [
                {"cause": "not bought", "amount": "-5.00", "numbers": ["QL-0450"], "sentence": "1 line"}
            ],
            "sentence": "Two prices.",
        },
    }


def _lacking(why: str, gets: str | None) -> dict[str, Any]:
    return {
        "reason": "no offer", "why": why, "earliest": None, "offered": [], "gets": gets, "for": [],
    }  # fmt: skip


def _line(random: Random, serial: int, labels: list[str], day: date) -> dict[str, Any]:
    section = random.choice(list(SECTIONS))
    supplier = random.choice(list(SUPPLIERS))
    places = [
        {
            "vehicle": label,
            "positions": [
                f"{SECTIONS[section]} place {random.randint(1, 9)}, {hand}" for hand in ("left", "right")
            ],
            "quantity": random.choice((2, 2, 4)),
        }
        for label in random.sample(labels, random.randint(1, len(labels)))
    ]
    quantity = sum(place["quantity"] for place in places)
    pack = random.choice((1, 1, 1, 5, 10))
    packs = -(-quantity // pack)
    price = None if random.random() < 0.04 else Decimal(random.randint(45, 99999)).scaleb(-2)
    deposit = Decimal(random.choice((0, 0, 0, 2500, 12050))).scaleb(-2)
    total = None if price is None else price * pack * packs
    lead = random.randint(2, 40)
    number = f"QN-{serial:04d}{random.choice('-ABCD')}{random.randint(10, 99)}"
    older = [f"QL-{random.randint(1000, 9999)}" for _ in range(random.choice((0, 0, 1, 2)))]
    fluid = random.random() < 0.1
    return {
        "line": serial,
        "number": number,
        "name": random.choice(NAMES),
        "section": section,
        "section_title": SECTIONS[section],
        "asked_numbers": older[:1],
        "chain": [*older, number],
        "quantity": quantity,
        "amount": "1.2 l" if fluid else None,
        "pack": pack,
        "packs": packs,
        "pieces": pack * packs,
        "surplus": pack * packs - quantity,
        "hand": random.choice((None, None, "left", "right")),
        "pair": random.random() < 0.2,
        "supplier": supplier,
        "supplier_title": SUPPLIERS[supplier],
        "lead_days": lead,
        "arrives": (day + timedelta(days=lead)).isoformat(),
        "unit_price": None if price is None else money(price),
        "total": None if total is None else money(total),
        "tax_rate": "20.00",
        "tax": None if total is None else money(taxed(total, Decimal(20))),
        "deposit": money(deposit),
        "deposits": money(deposit * pack * packs),
        "for": places,
        "reasons": random.sample(REASONS, random.choice((1, 1, 2))),
        "evidence_grade": random.choice(GRADES),
        "cautions": [CAUTION] if section == "brakes" else [],
        "hazard": "flammable liquid" if fluid else "",
        "note": "With the bolts." if random.random() < 0.1 else "",
    }


def _vehicle(label: str, index: int) -> dict[str, Any]:
    return {
        "label": label,
        "chassis": f"24FL-00940{index}",
        "variant": "24P-21-4L",
        "title": "Van, second generation, left-hand drive",
        "built": f"19{64 + index % 9}-06-0{1 + index % 9}",
        "wishes": ["Remedy every known flaw that endangers.", "Keep it looking original."],
    }


def _suppliers(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    found = []
    for name, title in SUPPLIERS.items():
        mine = [line for line in lines if line["supplier"] == name]
        if not mine:
            continue
        sums = {
            key: sum((Decimal(line[key] or 0) for line in mine), Decimal(0))
            for key in ("total", "tax", "deposits")
        }
        carriage = Decimal("12.50")
        found.append(
            {
                "name": name,
                "title": title,
                "lines": len(mine),
                "parts": money(sums["total"]),
                "carriage": money(carriage),
                "deposits": money(sums["deposits"]),
                "tax": money(sums["tax"]),
                "total": money(sum(sums.values(), carriage)),
                "arrives": max(line["arrives"] for line in mine),
            }
        )
    return found


def _taken_off(lines: list[dict[str, Any]], labels: list[str]) -> list[dict[str, Any]]:
    whats = (
        ("keep with the vehicle", "It is original and may go back one day."),
        ("exchange", "The deposit comes back with it."),
        ("scrap", "Worn friction material is not used again."),
    )
    return [
        {
            "vehicle": labels[index % len(labels)],
            "position": f"{line['section_title']} place {index}",
            "number": f"QL-{8000 + index}",
            "name": f"{line['name']}, early",
            "quantity": 1,
            "replaced_by": line["number"],
            "what": whats[index % 3][0],
            "why": whats[index % 3][1],
        }
        for index, line in enumerate(lines[::2])
    ]


def _made_nasty(facts: dict[str, Any], random: Random) -> dict[str, Any]:
    """Nasty text wherever text is free; numbers, suppliers and vehicles stay what others refer to."""
    for index, line in enumerate(facts["lines"]):
        line["name"] = NASTY[index % len(NASTY)]
        line["note"] = random.choice(NASTY)
        line["reasons"] = [random.choice(NASTY) for _ in range(3)]
        line["cautions"] = [random.choice(NASTY)]
        line["asked_numbers"] = [random.choice(NASTY)]
        line["for"][0]["positions"] = [random.choice(NASTY)]
    facts["name"] = NASTY[5] + NASTY[8]
    facts["vehicles"][0]["wishes"] = list(NASTY)
    facts["cautions"] = list(NASTY)
    facts["taken_off"][0]["name"] = NASTY[9]
    facts["from_stock"][0]["place"] = NASTY[6]
    facts["not_supplied"][0]["why"] = NASTY[19]
    return facts
