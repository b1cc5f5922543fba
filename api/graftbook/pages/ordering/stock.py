"""The shop's own store: looked through, put right number by number, and counted by a sheet."""

from dataclasses import dataclass
from hashlib import sha256
from urllib.parse import quote, urlencode

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.responses import Response

from graftbook.access.guard import MayOrder, MayRead, Orderer, form_of, upload_of
from graftbook.catalogue.store.lookup import find_components
from graftbook.database import reading
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.orders.forms import CSV
from graftbook.orders.stock import service as stock
from graftbook.orders.stock.sheet import MOST_PIECES, doubtful, is_count, place_in
from graftbook.pages.editing.sheet_form import MOST_LINES_SHOWN, field, lines_with_mistakes, sheet_in
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import (
    InvalidRequest,
    PreconditionFailed,
    PreconditionRequired,
    Unknown,
)
from graftbook.process.state import Service, ServiceDep

router = pages_router()

ON_A_PAGE = 100
ELSEWHERE = "Send it to /v1/stock, or use graftbook stock count."
MOST_DIFFERENCES = 200


@dataclass(slots=True)
class TypedNumber:
    """What the form of one number says, and what is wrong with it."""

    number: str = ""
    quantity: str = ""
    place: str = ""
    wrong: str = ""
    """The field that is wrong."""
    notice: str = ""
    etag: str = ""
    """Of what the form was opened on, while it is to be mended; else the present one is given out."""

    @property
    def said(self) -> str:
        """What was typed, in a sentence."""
        return f"You typed {self.quantity} {self.place}".rstrip() + "."


@router.get("/store", dependencies=[MayRead, takes("text", "after")])
def store(request: Request, service: ServiceDep) -> Response:
    """What lies in the store, and the form to put something in."""
    return _store_page(request, service, TypedNumber())


@router.get("/store.csv", dependencies=[MayRead])
def as_sheet(service: ServiceDep) -> Response:
    """All of it as the sheet that a count takes."""
    headers = {"Content-Disposition": 'attachment; filename="store.csv"', **KEEP_NOTHING}
    return Response(stock.whole_sheet(service.engine)[0], headers=headers, media_type=CSV)


@router.post("/store")
async def put_in(request: Request, service: ServiceDep, orderer: Orderer) -> Response:
    """A number that has no place yet."""
    return await run_in_threadpool(_put_in, request, service, _typed_in(await form_of(request)))


def _put_in(request: Request, service: Service, typed: TypedNumber) -> Response:
    try:
        typed.number = _number(service, typed.number)
        quantity, place = _lies(typed)
        stock.put(service.engine, typed.number, quantity, place, None)
    except (InvalidRequest, Unknown) as problem:
        typed.notice = problem.detail
        typed.wrong = typed.wrong or "number"
        return _store_page(request, service, typed, 422)
    except (PreconditionFailed, PreconditionRequired):
        typed.notice = f"{typed.number} has its place already: change it here. {typed.said}"
        return _number_page(request, service, typed, 409)
    return gone_to("/store?" + urlencode({"text": typed.number}))


@router.get("/store/at/{number:path}", dependencies=[MayOrder])
def one(request: Request, number: str, service: ServiceDep) -> Response:
    """The form of one number."""
    return _number_page(request, service, TypedNumber(number))


@router.post("/store/at/{number:path}")
async def put_right(request: Request, number: str, service: ServiceDep, orderer: Orderer) -> Response:
    """One number put right, or taken out."""
    form = await form_of(request)
    return await run_in_threadpool(_put_right, request, service, number, form)


def _put_right(request: Request, service: Service, number: str, form: dict[str, str]) -> Response:
    typed = _typed_in(form)
    typed.number = number
    etag = form.get("etag", "")
    try:
        if form.get("do") == "remove":
            stock.empty(service.engine, number, etag)
        else:
            quantity, place = _lies(typed)
            stock.put(service.engine, number, quantity, place, etag)
    except InvalidRequest as problem:
        typed.notice, typed.etag = problem.detail, etag
        return _number_page(request, service, typed, 422)
    except PreconditionFailed:
        typed.notice = (
            "Somebody changed it after you opened it, or an order took from it; nothing was stored. "
            f"{'' if form.get('do') == 'remove' else typed.said} This is how it stands now."
        )
        return _number_page(request, service, typed, 412)
    return gone_to("/store?" + urlencode({"text": number}))


def _typed_in(form: dict[str, str]) -> TypedNumber:
    return TypedNumber(*(form.get(name, "").strip() for name in ("number", "quantity", "place")))


def _number(service: Service, text: str) -> str:
    """The number that was meant. Raises Unknown, InvalidRequest."""
    if not text:
        raise InvalidRequest("Say which number")
    with reading(service.engine) as session:
        found = find_components(session, text)
    if len(found) > 1 and found[0] != text:
        raise InvalidRequest(doubtful(text, found))
    return found[0]


def _lies(typed: TypedNumber) -> tuple[int, str]:
    """Count and place. Raises InvalidRequest."""
    if not is_count(typed.quantity):
        typed.wrong = "quantity"
        raise InvalidRequest(f"How many is a whole number up to {MOST_PIECES:,}")
    try:
        return int(typed.quantity), place_in(typed.place)
    except ValueError as error:
        typed.wrong = "place"
        raise InvalidRequest(f"Place: {error}") from error


def _store_page(request: Request, service: Service, typed: TypedNumber, status: int = 200) -> Response:
    text, after = (request.query_params.get(name, "").strip()[:120] for name in ("text", "after"))
    lines = stock.found(service.engine, text, after, ON_A_PAGE + 1)
    following = lines[ON_A_PAGE - 1]["number"] if len(lines) > ON_A_PAGE else ""
    return page(
        request,
        "store.html",
        status=status,
        headers=KEEP_NOTHING if status != 200 else None,
        text=text,
        after=after,
        lines=[line | {"address": address_of(line["number"])} for line in lines[:ON_A_PAGE]],
        following="/store?" + urlencode({"text": text, "after": following}) if following else "",
        typed=typed,
    )


def address_of(number: str) -> str:
    """The form of one number in the store."""
    return "/store/at/" + quote(number, safe="")


def _number_page(request: Request, service: Service, typed: TypedNumber, status: int = 200) -> Response:
    facts = stock.holds(service.engine, typed.number)
    return page(
        request,
        "store_number.html",
        status=status,
        headers=KEEP_NOTHING,
        facts=facts,
        etag=typed.etag or stock.stock_etag(facts),
        typed=typed,
        action=address_of(typed.number),
    )


@dataclass(slots=True)
class SentCount:
    """A count as it was sent, and what is wrong with it before it is read."""

    text: str = ""
    whole: bool = False
    saves: bool = False
    looked: str = ""
    """The store's ETag and the digest of what was looked at, as the form carries them on."""
    refused: str = ""
    notice: str = ""

    def seen(self, etag: str) -> str:
        """What a look at this count on that store is known by."""
        return f"{etag} {sha256(f'{self.whole} {self.text}'.encode()).hexdigest()}"


@router.get("/store/count", dependencies=[MayOrder])
def count_form(request: Request) -> Response:
    """The empty form."""
    return _count_page(request, SentCount())


@router.post("/store/count")
async def count_sent(request: Request, service: ServiceDep, orderer: Orderer) -> Response:
    """A count looked at, or booked."""
    try:
        sent = await _count_in(await upload_of(request))
    finally:
        await request.close()
    return await run_in_threadpool(_book_count, request, service, sent)


async def _count_in(form: FormData) -> SentCount:
    text, refused = await sheet_in(form, ELSEWHERE)
    whole, saves = field(form, "whole") == "true", field(form, "do") == "save"
    return SentCount(text, whole, saves, field(form, "looked"), refused)


def _book_count(request: Request, service: Service, sent: SentCount) -> Response:
    if sent.refused:
        return _count_page(request, sent, status=422)
    etag = sent.looked.rpartition(" ")[0]
    if sent.saves and sent.looked != sent.seen(etag):
        sent.saves, sent.notice = (
            False,
            "This is not the sheet that was checked last. Check it, then book it.",
        )
    try:
        with service.gates["imports"].turn():
            report = stock.count(
                service.engine,
                sent.text,
                whole=sent.whole,
                dry_run=not sent.saves,
                if_match=etag if sent.saves else None,
            )
    except PreconditionFailed:
        sent.notice = "The store has changed since you checked. Nothing was booked; check the sheet again."
        return _count_page(request, sent, status=412)
    if not report.ok:
        return _count_page(request, sent, report, status=422)
    if sent.saves:
        return gone_to("/store")
    sent.looked = sent.seen(report.etag)
    return _count_page(request, sent, report)


def _count_page(
    request: Request, sent: SentCount, report: stock.CountReport | None = None, *, status: int = 200
) -> Response:
    lines = lines_with_mistakes(sent.text, report.mistakes) if report else []
    differences = report.differences if report else []
    return page(
        request,
        "store_count.html",
        status=status,
        headers=KEEP_NOTHING,
        sent=sent,
        report=report,
        lines=lines[:MOST_LINES_SHOWN],
        more_lines=len(lines) - MOST_LINES_SHOWN,
        differences=differences[:MOST_DIFFERENCES],
        more_differences=len(differences) - MOST_DIFFERENCES,
    )
