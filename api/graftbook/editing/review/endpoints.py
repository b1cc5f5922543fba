"""Proposals of changes: made, listed, looked at, accepted, refused, withdrawn."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import Editor, MayEdit, MayRead, Orderer
from graftbook.catalogue.store.cursors import read_number
from graftbook.editing.review import service as review
from graftbook.editing.review.documents import effect_document
from graftbook.editing.review.problems import AlreadyDecided, OwnProposal, UnknownProposal
from graftbook.editing.review.schemas import (
    DecidedOut,
    DecisionIn,
    EffectOut,
    ProposalIn,
    ProposalOut,
    ProposalsOut,
    Sentence,
    StateWord,
)
from graftbook.http.errors import answers
from graftbook.http.parameters import Cursor, Limit, page_of
from graftbook.http.responses import ASK_AGAIN, json_answer, read_answer
from graftbook.idempotency.header import ONCE, OnceAsked, json_told, response_of
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1", tags=["records"], dependencies=[MayRead])

Number = Annotated[int, Path(ge=1, le=2_000_000_000, description="number of the proposal", examples=[3])]
BODY = (problems.MalformedRequest, problems.InvalidRequest, problems.TooLarge, problems.UnsupportedMedia)
DECIDING = (*BODY, UnknownProposal, AlreadyDecided, *ONCE)

_made = json_told(201, lambda document: {"Location": f"/v1/proposals/{document['number']}"})
_decided = json_told(200)


@router.post(
    "/proposals",
    operation_id="proposeChange",
    summary="Propose a change of the catalogue",
    status_code=201,
    responses=answers(ProposalOut, *BODY, problems.ImportRefused, *ONCE, status=201),
)
def propose(body: ProposalIn, service: ServiceDep, orderer: Orderer, once: OnceAsked) -> Response:
    """It is tried first: with any mistake nothing is kept and every mistake is listed."""
    return response_of(_made(review.propose(service, body, orderer, once.told_by(_made))))


@router.get(
    "/proposals",
    operation_id="listProposals",
    summary="Proposed changes, the newest first",
    responses=answers(ProposalsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_proposals(
    request: Request,
    service: ServiceDep,
    state: Annotated[StateWord | None, Query(description="only those in this state")] = None,
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """Without their changes."""
    size = limit or service.settings.page_size
    search = {"list": "proposals", "state": state or ""}
    rows = review.proposals(service, read_number(cursor, search), size + 1, [state] if state else [])
    return page_of(request, rows, size, search, by="number")


@router.get(
    "/proposals/{number}",
    operation_id="getProposal",
    summary="One proposed change: each record before and after",
    responses=answers(ProposalOut, UnknownProposal, problems.InvalidRequest),
)
def get_proposal(request: Request, number: Number, service: ServiceDep) -> Response:
    """`overtaken` records say something else by now."""
    return read_answer(request, review.proposal(service, number))


@router.post(
    "/proposals/{number}/effect",
    operation_id="getProposalEffect",
    summary="What a proposed change would do to builds, specifications, open orders and answers",
    dependencies=[MayEdit],
    responses=answers(
        EffectOut, UnknownProposal, problems.ImportRefused, problems.InvalidRequest, problems.Busy
    ),
)
def effect(number: Number, service: ServiceDep) -> Response:
    """Tried, compared with today and undone, within some seconds."""
    look, report = review.look_at_effect(service, number)
    return json_answer(effect_document(look.compare(), report.changed), headers=ASK_AGAIN)


@router.post(
    "/proposal-decisions/accept",
    operation_id="acceptProposals",
    summary="Accept proposed changes: one edit of all of them, or none",
    responses=answers(DecidedOut, *DECIDING, OwnProposal, problems.ChangedAgain, problems.ImportRefused),
)
def accept(body: DecisionIn, service: ServiceDep, editor: Editor, once: OnceAsked) -> Response:
    """Refused when a record says something else than when the change was proposed."""
    decided = review.accept(service, body.proposals, body.reason, editor, once.told_by(_decided))
    return response_of(_decided(decided))


@router.post(
    "/proposal-decisions/refuse",
    operation_id="refuseProposals",
    summary="Refuse proposed changes",
    responses=answers(DecidedOut, *DECIDING),
)
def refuse(body: DecisionIn, service: ServiceDep, editor: Editor, once: OnceAsked) -> Response:
    """They stay on record with the reason."""
    return response_of(
        _decided(review.refuse(service, body.proposals, body.reason, editor, once.told_by(_decided)))
    )


@router.post(
    "/proposals/{number}/withdraw",
    operation_id="withdrawProposal",
    summary="Withdraw one's own proposal",
    responses=answers(DecidedOut, *DECIDING, OwnProposal),
)
def withdraw(
    number: Number,
    service: ServiceDep,
    orderer: Orderer,
    once: OnceAsked,
    why: Annotated[Sentence, Query(description="why")] = "withdrawn",
) -> Response:
    """It stays on record."""
    return response_of(_decided(review.withdraw(service, number, why, orderer, once.told_by(_decided))))
