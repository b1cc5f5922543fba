"""The parts of the service as its routes ask for them."""

from typing import Annotated

from fastapi import Depends, Request

from graftbook.process.service import (
    AnswerCache,
    Made,
    Make,
    Service,
    make_service,
)

__all__ = ["AnswerCache", "Made", "Make", "Service", "ServiceDep", "make_service"]


def _service(request: Request) -> Service:
    found: Service = request.app.state.service
    return found


ServiceDep = Annotated[Service, Depends(_service)]
