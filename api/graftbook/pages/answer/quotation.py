"""What an answer's set costs its owner, as a page and as PDF."""

import re
from http import HTTPStatus

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.format.as_written import number_typed
from graftbook.http.errors import validated
from graftbook.http.responses import KEEP_NOTHING
from graftbook.orders.forms import PDF
from graftbook.orders.papers.quotation import quotation_pdf
from graftbook.orders.question_schemas import QuotationIn
from graftbook.orders.quotation.service import quotation_facts
from graftbook.orders.schemas import QuotationOut
from graftbook.pages.asking.question import PageQuestion, question_of, takes_question
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import InvalidRequest, NoSet
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.reading import present_revision

router = pages_router()

USUAL = {"labour_rate": "50.00", "allowance": "10", "first_part": "30", "months": "0"}
"""What the form begins with."""
_A_FEW = re.compile("-?[0-9]{1,4}")


@router.get("/quotation", dependencies=[MayRead, takes_question(*USUAL)])
def quotation(request: Request, service: ServiceDep) -> Response:
    """The quotation of the address's question. An impossible question goes to its answer."""
    question, terms = question_of(request.query_params), _terms(request)
    if not question.value("as_of"):
        question = question.adding("as_of", present_revision(service))
        return gone_to(question.address("/quotation", terms))
    wrong: dict[str, str] = {}
    stand = terms
    try:
        try:
            found = quoted(service, question, terms)
        except InvalidRequest as problem:
            wrong = _wrong_terms(problem)
            stand = terms | {name: USUAL[name] for name in wrong}
            found = quoted(service, question, stand)
    except NoSet:
        return gone_to(question.address())
    return page(
        request,
        "quotation.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
        headers=KEEP_NOTHING if wrong else None,
        question=question,
        terms=terms,
        wrong=wrong,
        stand=stand,
        found=found,
        pdf=question.address("/quotation.pdf", stand),
    )


def _wrong_terms(problem: InvalidRequest) -> dict[str, str]:
    """What is wrong with each of the terms. Raises the problem again where it is about something else."""
    wrong = {one["pointer"].lstrip("/"): one["message"] for one in problem.fields.get("errors", ())}
    if not wrong or wrong.keys() - USUAL.keys():
        raise problem
    return wrong


@router.get("/quotation.pdf", dependencies=[MayRead, takes_question(*USUAL)])
def as_pdf(request: Request, service: ServiceDep) -> Response:
    """The same as PDF."""
    found = quoted(service, question_of(request.query_params), _terms(request))
    headers = {"Content-Disposition": 'attachment; filename="quotation.pdf"', **KEEP_NOTHING}
    return Response(quotation_pdf(found, house=service.settings.house), headers=headers, media_type=PDF)


def _terms(request: Request) -> dict[str, str]:
    given = request.query_params
    return {name: number_typed(given.get(name, "")) or usual for name, usual in USUAL.items()}


def quoted(service: Service, question: PageQuestion, terms: dict[str, str]) -> QuotationOut:
    """The quotation's facts. Raises InvalidRequest, NoSet, and what asking raises."""
    body = question.body().model_dump(mode="json", exclude_unset=True)
    months = terms["months"]
    whole = int(months) if _A_FEW.fullmatch(months) else months
    return quotation_facts(service, validated(QuotationIn, {**body, **terms, "months": whole}))
