"""The main job on invented data, from an empty file to an order list."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

from graftbook.catalogue.loading.imports import load
from graftbook.database import migrate
from graftbook.http.plain_text import wrap
from graftbook.orders.plain_text import order_lines
from graftbook.orders.service import closure_and_order
from graftbook.problems import Problem
from graftbook.process.service import make_service
from graftbook.questions.closures.plain_text import answer_lines
from graftbook.questions.closures.query import ClosureQuery
from graftbook.settings import Settings


def demo_sheets() -> Path:
    """Where the demo range lies: inside an installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "_seed_data"
    return installed if installed.is_dir() else package.parents[1] / "seed_data"


def run(place: Path | None, chassis: str, fit: str, command: str) -> Iterator[str]:
    """The lines that the demo prints; `place` is the folder of its database, `command` how it was called.

    Raises Problem when the demo range or the question is refused.
    """
    folder = place or Path(tempfile.mkdtemp(prefix="graftbook-"))
    folder.mkdir(parents=True, exist_ok=True)
    address = f"sqlite:///{(folder / 'demo.sqlite3').resolve()}"
    service = make_service(Settings(database_url=address))
    try:
        migrate(service.engine)
        report = load(service.engine, demo_sheets(), who="demo", why="the demo range")
        if not report.ok:
            raise Problem(f"the demo range has mistakes: {report.mistakes[0]}")
        yield from wrap(
            f"Loaded {report.records.total()} records of the invented maker Quillan in "
            f"{report.seconds:.1f} s (revision {report.revision})."
        )
        yield ""
        document, order = closure_and_order(service, ClosureQuery(chassis=chassis, fit=[fit]).body())
        yield from answer_lines(document, full=False)
        if order:
            yield ""
            yield from order_lines(order, document["currency"])
    finally:
        service.engine.dispose()
    yield ""
    yield "Open the service on this catalogue, then look at http://127.0.0.1:8000/ :"
    yield f"  {command} serve --database {address}"
    yield "Make a key to sign in with, to keep orders and builds there:"
    yield f"  {command} keys create --database {address} --label counter --scope order"
    yield "Ask something else, or with limits; --full tells next bests, every flaw, claim and check too:"
    yield f"  {command} closure --database {address} --chassis {chassis} --remedy-all severe"
