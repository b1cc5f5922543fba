"""The forms that an order comes in: JSON, CSV, XLSX, PDF; chosen by Accept (RFC 9110, 12.5.1)."""

from collections.abc import Callable, Mapping

from graftbook.http.responses import JSON
from graftbook.http.values import json_bytes
from graftbook.orders.lists.schemas import OrderListOut
from graftbook.orders.papers.csv import order_csv
from graftbook.orders.papers.pdf import order_pdf
from graftbook.orders.papers.xlsx import order_xlsx
from graftbook.orders.schemas import OrderOut
from graftbook.problems import NotAcceptable

Write = Callable[[OrderOut | OrderListOut], bytes]

CSV = "text/csv; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
PDF = "application/pdf"

FORMS: Mapping[str, tuple[str, Callable[[OrderOut | OrderListOut, str, str], bytes]]] = {
    "json": (JSON, lambda facts, part, house: json_bytes(facts)),
    "csv": (CSV, lambda facts, part, house: order_csv(facts, part)),
    "xlsx": (XLSX, lambda facts, part, house: order_xlsx(facts, part, house)),
    "pdf": (PDF, lambda facts, part, house: order_pdf(facts, part=part, house=house)),
}
"""Form → media type, and who writes it; the first one is given to whoever takes anything."""
MEDIA = {form: media for form, (media, _) in FORMS.items()}
DOCUMENTS = tuple(form for form in MEDIA if form != "json")
"""What is taken away as a file."""


def writer(form: str, house: str, part: str) -> Write:
    """How the facts of an order become the bytes of a form.

    `part`: `supplier:NAME` or `vehicle:LABEL`. JSON is always whole. Writers raise UnknownPart.
    """
    _, write = FORMS[form]
    return lambda facts: write(facts, part, house)


def form_of(accept: str, media: Mapping[str, str] = MEDIA) -> str:
    """The form that an Accept header prefers. Raises NotAcceptable."""
    weights: dict[str, float] = {}
    for part in accept.split(",") if accept.strip() else ["*/*"]:
        kind, *parameters = (piece.strip().lower() for piece in part.split(";"))
        weights[kind] = next((_weight(p[2:]) for p in parameters if p.startswith("q=")), 1.0)
    scores = {form: _score(weights, of.split(";")[0]) for form, of in media.items()}
    best = max(scores, key=lambda form: scores[form])
    if scores[best] <= 0:
        known = ", ".join(of.split(";")[0] for of in media.values())
        raise NotAcceptable(f"This comes as {known}")
    return best


def _score(weights: Mapping[str, float], media: str) -> float:
    kind = media.split("/")[0] + "/*"
    return next((weights[m] for m in (media, kind, "*/*") if m in weights), 0.0)


def _weight(text: str) -> float:
    try:
        return min(1.0, max(0.0, float(text)))
    except ValueError:
        return 0.0
