"""A service does not listen beyond its machine by accident: it needs a key first, or to be told in words."""

from sqlalchemy import Engine

from graftbook.access.service import any_usable_key
from graftbook.problems import Problem
from graftbook.settings import Settings


class Exposed(Problem):
    """The service would listen beyond this machine though no key exists."""

    status = 409
    type = "/problems/exposed"
    title = "The service does not listen beyond this machine while no key exists"


def require_keys_beyond_this_machine(settings: Settings, engine: Engine) -> None:
    """Raises Exposed unless the service listens here only, has a usable key, or was told in words."""
    if settings.here_only or settings.without_keys or any_usable_key(engine):
        return
    raise Exposed(
        f"no key exists, so nothing is served at {settings.host}: make one with `graftbook keys create"
        " --label NAME --scope administer`, or set GRAFTBOOK_WITHOUT_KEYS='anyone may read'"
    )
