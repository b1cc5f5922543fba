"""A build's names settled before it is stored."""

from graftbook.builds.schemas import BuildIn
from graftbook.process.state import Service
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import name_vehicle


def settled(service: Service, build: BuildIn) -> BuildIn:
    """The build with every name as the catalogue writes it.

    Raises the problem of the first name that is not known, pointing at its field. Nobody who stores a build
    waits for a rule book to be compiled.
    """
    given = build.model_dump(include=set(VehicleIn.model_fields) - {"build"}, exclude_unset=True)
    asked = name_vehicle(service, VehicleIn(**given), pointer="")
    asked.names.wishes(build.decided, "/decided")
    return build.model_copy(
        update={
            "chassis": asked.chassis,
            "variant": asked.vehicle.variant,
            "options": sorted(asked.vehicle.options),
            "fitted": asked.fitted,
            "on_the_bench": sorted(asked.on_the_bench),
        }
    )
