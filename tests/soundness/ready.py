"""What the process that the tests' services are forked from has done, so that none does it anew.

The framework reads the routes of each application (half a second of the processor), the collector walks the
whole program, and the solvers are loaded. `tests/process/test_served_app.py` holds that a process of its own
has done all of it before anybody asks.
"""

from fastapi.routing import iter_route_contexts

from graftbook.app import collect_seldom, create_app
from graftbook.closure.search import constrain
from graftbook.closure.search.satisfy import pysat
from graftbook.settings import Settings

_app = create_app(Settings(database_url="sqlite://"))
assert list(iter_route_contexts(_app.routes))
_app.state.service.close()
constrain.cp()
pysat("pysat.solvers")
collect_seldom()
