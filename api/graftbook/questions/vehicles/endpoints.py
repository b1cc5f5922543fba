"""What a chassis number says."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.http.errors import answers
from graftbook.http.fields import Day, Word
from graftbook.http.responses import answered, do_nothing, etag_of
from graftbook.http.values import json_bytes
from graftbook.process.state import ServiceDep
from graftbook.questions.lookup.schemas import VehiclePageOut
from graftbook.questions.vehicles.documents import vehicle_page
from graftbook.questions.vehicles.service import Names, find_with_book, of_one_revision
from graftbook.rulebook.model import Vehicle

router = APIRouter(prefix="/v1/vehicles", tags=["vehicles"], dependencies=[MayRead])


@router.get(
    "/{chassis}",
    operation_id="getVehicle",
    summary="Variant, day built, original equipment and known flaws of a chassis number",
    responses=answers(
        VehiclePageOut,
        problems.UnknownChassis,
        problems.UnknownOption,
        problems.InvalidRequest,
        unchanged="You have this answer",
    ),
)
def get_vehicle(
    request: Request,
    service: ServiceDep,
    chassis: Annotated[str, Path(max_length=120, examples=["24PL-018412"])],
    option: Annotated[list[Word], Query(max_length=100, description="an option it has")] = [],
    built: Annotated[Day | None, Query(description="the day it was built; else estimated")] = None,
) -> Response:
    """The chassis number is accepted as people type it."""
    found, book = of_one_revision(lambda: find_with_book(service, chassis, built))
    v = found.vehicle
    options = Names(service, book).options(option, "/option")
    vehicle = Vehicle(v.variant, v.chassis_prefix, v.chassis_serial, v.built, options)
    etag = etag_of(
        "vehicle",
        book.variant.name,
        book.epoch,
        book.revision,
        found.chassis,
        v.built.isoformat(),
        sorted(options),
        found.estimated,
    )
    return answered(
        request,
        service,
        etag,
        lambda: (json_bytes(vehicle_page(book, found, vehicle)), True),
        on_hit=do_nothing,
    )
