"""House specifications over HTTP: the table over all variants, two versions compared, the present one."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import Editor, MayRead
from graftbook.builds.specification_endpoints import BODY, Name, Version
from graftbook.builds.standards import schemas as s
from graftbook.builds.standards import service as standards
from graftbook.builds.stored.documents import specification_document
from graftbook.http.errors import answers, documented
from graftbook.http.responses import json_answer, read_answer
from graftbook.problems import UnknownSpecification, pointing_at
from graftbook.process.state import ServiceDep
from graftbook.questions.closures.endpoints import PROBLEMS

router = APIRouter(prefix="/v1", tags=["specifications"], dependencies=[MayRead])

READ = documented(problems.UnknownSpecification, problems.InvalidRequest)


@router.get(
    "/house-specification",
    operation_id="getHouseSpecification",
    summary="The version that the house builds to at present",
    responses={200: {"model": s.HouseSpecificationOut}, **READ},
)
def get_present(request: Request, service: ServiceDep) -> Response:
    """One version of one specification, or none yet: then 404."""
    found = standards.present(service.engine)
    if found is None:
        raise UnknownSpecification("", detail="The house builds to no specification yet; PUT names one here")
    return read_answer(request, found)


@router.put(
    "/house-specification",
    operation_id="setHouseSpecification",
    summary="Say which version the house builds to from now on",
    responses=answers(s.HouseSpecificationOut, *BODY, UnknownSpecification),
)
def put_present(body: s.HouseSpecificationIn, service: ServiceDep, editor: Editor) -> Response:
    """It takes the place of the one before; builds say themselves what they were built to."""
    with pointing_at("/specification"):
        return json_answer(standards.make_present(service.engine, body.specification, editor.who))


@router.get(
    "/specifications/{name}/variants",
    operation_id="getSpecificationOverVariants",
    summary="What a version makes of every variant it is for",
    responses={200: {"model": s.VariantTableOut}, **PROBLEMS, **READ},
)
def over_variants(
    request: Request, name: Name, service: ServiceDep, version: Version | None = None
) -> Response:
    """One row a variant: whether there is a set, what it costs, what shows, what is left, what fails."""
    specification = specification_document(service.engine, name, version)
    return read_answer(request, standards.table(service, specification))


@router.get(
    "/specifications/{name}/comparison/effects",
    operation_id="compareSpecificationEffects",
    summary="What a later version changes on each variant, and on the vehicles built to the earlier one",
    responses={200: {"model": s.VersionsComparedOut}, **PROBLEMS, **READ},
)
def compare_effects(
    request: Request,
    name: Name,
    service: ServiceDep,
    from_version: Annotated[int, Query(ge=1, le=1_000_000, alias="from")],
    to_version: Annotated[int, Query(ge=1, le=1_000_000, alias="to")],
) -> Response:
    """For a build it is told from how it stands, half done or not."""
    before = specification_document(service.engine, name, from_version)
    after = specification_document(service.engine, name, to_version)
    return read_answer(request, standards.compare(service, before, after))
