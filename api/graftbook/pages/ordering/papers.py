"""Papers for the shop's own walk: the picking list of an order, labels for the store."""

from datetime import date
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.orders.forms import PDF
from graftbook.orders.lists import service as order_lists
from graftbook.orders.papers import barcode
from graftbook.orders.papers.labels import Label, labels_pdf
from graftbook.orders.papers.picking import by_place, picking_pdf
from graftbook.orders.papers.text import in_order
from graftbook.orders.stock import service as stock
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router
from graftbook.process.state import Service, ServiceDep

router = pages_router()

PLACES, NUMBERS = "places", "numbers"
MOST_LABELS = 600
"""Labels of one print; more are made by a narrower search."""


@router.get("/orders/{name}/picking", dependencies=[MayRead])
def picking(request: Request, name: str, service: ServiceDep) -> Response:
    """What a list takes from the store, by place."""
    facts = order_lists.list_document(service.engine, name)
    return page(request, "picking.html", list=facts, places=by_place(facts["from_stock"]))


@router.get("/orders/{name}/picking.pdf", dependencies=[MayRead])
def picking_paper(name: str, service: ServiceDep) -> Response:
    """The same as a PDF."""
    facts = order_lists.list_document(service.engine, name)
    return _pdf(picking_pdf(facts, service.settings.house), f"picking-{name}")


def _pdf(content: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}.pdf"', **KEEP_NOTHING}
    return Response(content, media_type=PDF, headers=headers)


@router.get("/store/labels", dependencies=[MayRead, takes("of", "text")])
def labels(request: Request, service: ServiceDep) -> Response:
    """Labels of the store's places, or of its numbers, with their bar codes."""
    of, text = _label_query(request)
    made, more = _labels(service, of, text)
    return page(
        request,
        "labels.html",
        of=of,
        text=text,
        more=more,
        labels=[_label_facts(label) for label in made],
        paper="/store/labels.pdf?" + urlencode({"of": of, "text": text}),
        others={one: "/store/labels?" + urlencode({"of": one, "text": text}) for one in (PLACES, NUMBERS)},
    )


@router.get("/store/labels.pdf", dependencies=[MayRead, takes("of", "text")])
def labels_paper(request: Request, service: ServiceDep) -> Response:
    """The same as sheets to print."""
    of, text = _label_query(request)
    return _pdf(labels_pdf(_labels(service, of, text)[0]), f"labels-{of}-{date.today()}")


def _label_query(request: Request) -> tuple[str, str]:
    asked = request.query_params
    return NUMBERS if asked.get("of") == NUMBERS else PLACES, asked.get("text", "").strip()[:120]


def _labels(service: Service, of: str, text: str) -> tuple[list[Label], bool]:
    """The labels, and whether there are more than one print takes."""
    lines = stock.found(service.engine, text, "", MOST_LABELS + 1)
    if of == NUMBERS:
        made = [
            Label(line["number"], " · ".join(filter(None, (line["name"], line["place"]))), line["number"])
            for line in lines
        ]
    else:
        held: dict[str, list[str]] = {}
        for line in lines:
            if line["place"]:
                held.setdefault(line["place"], []).append(line["number"])
        made = [
            Label(place, ", ".join(numbers), place)
            for place, numbers in sorted(held.items(), key=lambda one: in_order(one[0]))
        ]
    return made[:MOST_LABELS], len(lines) > MOST_LABELS


def _label_facts(label: Label) -> dict[str, Any]:
    """A label as the page draws it: its bars are one path, a unit a module."""
    bars = barcode.bars(label.coded) if label.has_bars else ()
    return {
        "large": label.large,
        "small": label.small,
        "coded": label.coded,
        "wide": barcode.modules(label.coded),
        "path": "".join(f"M{at} 0h{width}v40h-{width}z" for at, width in bars),
    }
