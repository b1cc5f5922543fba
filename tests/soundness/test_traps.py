"""Each trap that was measured of our libraries, in words, and the test that nobody falls into it again.

Held elsewhere:
- a session held by a dependency deadlocks with the pool under a burst of 200 requests:
  `tests/api/test_safety.py`, the burst;
- two reads of a request see two states unless told otherwise: `tests/catalogue/test_database.py`;
- foreign keys are off on each new SQLite connection: the same file;
- both engines must sort alike: the same file, and names of constraints, and that models and
  migrations agree;
- the documents page that loads from a public server is off: `tests/api/test_openapi.py`.
"""

import re
import shutil
import sqlite3
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from alembic.script import ScriptDirectory
from fastapi import FastAPI
from pydantic import ValidationError
from sqlalchemy import JSON, Engine, Enum, make_url, text
from sqlalchemy.exc import IntegrityError
from sqlmodel import AutoString, SQLModel
from starlette.middleware.base import BaseHTTPMiddleware

import graftbook.access.tables
import graftbook.builds.stored.tables
import graftbook.catalogue.store.tables
import graftbook.idempotency.tables
from graftbook.builds.schemas import BuildCreateIn, SpecificationIn
from graftbook.builds.service import create_specification
from graftbook.builds.stored.documents import specification_document
from graftbook.builds.stored.tables import BuildRow
from graftbook.database import make_engine, migrate, migrations_folder, writing
from graftbook.rulebook.model import Origin, Supply
from tests.soundness.server import Served

REBUILD = """
from alembic import op

revision, down_revision, branch_labels, depends_on = "zz_rebuild", "{head}", None, None


def upgrade() -> None:
    with op.batch_alter_table("specification", recreate="always"):
        pass


def downgrade() -> None:
    pass
"""


@pytest.fixture
def one_more_migration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The migrations and one more, which rebuilds a table as a batch migration on SQLite does."""
    here, folder = migrations_folder(), tmp_path / "migrations"
    shutil.copytree(here, folder, ignore=shutil.ignore_patterns("__pycache__"))
    head = ScriptDirectory(str(here)).get_current_head()
    (folder / "versions" / "zz_rebuild.py").write_text(REBUILD.format(head=head))
    monkeypatch.setattr("graftbook.database.migrations_folder", lambda: folder)


def _children(engine: Engine) -> int:
    with engine.connect() as connection:
        return int(connection.execute(text("SELECT count(*) FROM specification_version")).scalar_one())


@pytest.mark.usefixtures("one_more_migration")
def test_a_batch_migration_on_sqlite_keeps_children_that_cascade(
    demo_copy: Callable[[], str], monkeypatch: pytest.MonkeyPatch
):
    """With foreign keys on, rebuilding a table drops the old one, and what refers to it cascades away."""
    left = []
    for careless in (True, False):
        engine = make_engine(demo_copy())
        create_specification(engine, "house", SpecificationIn(title="House"))
        with monkeypatch.context() as patch:
            if careless:
                patch.setattr("graftbook.database._foreign_keys", lambda *_: None)
            migrate(engine)
        left.append(_children(engine))
        engine.dispose()
    assert left == [0, 1], "the first shows that the trap is there still"


def test_a_read_that_turns_into_a_write_does_not_fail_at_once(demo_copy: Callable[[], str]):
    """A deferred transaction on SQLite that read before another wrote gets SQLITE_BUSY_SNAPSHOT at its own
    first write, however long it would wait. Writers begin as writers."""
    url = demo_copy()
    file = make_url(url).database or ""
    one, other = (sqlite3.connect(file, isolation_level=None, timeout=30) for _ in range(2))
    one.execute("BEGIN")
    one.execute("SELECT count(*) FROM specification").fetchone()
    other.execute("INSERT INTO specification (name, title, latest) VALUES ('a', 'A', 1)")
    with pytest.raises(sqlite3.OperationalError) as snapshot:
        one.execute("INSERT INTO specification (name, title, latest) VALUES ('b', 'B', 1)")
    assert snapshot.value.sqlite_errorname == "SQLITE_BUSY_SNAPSHOT", "the trap is there still"
    one.close()
    other.close()
    engine = make_engine(url)
    inside = threading.Event()

    def slow() -> None:
        with writing(engine) as session:
            _count_and_add(session.connection(), "c")
            inside.set()
            threading.Event().wait(0.3)

    worker = threading.Thread(target=slow)
    worker.start()
    inside.wait(10)
    with writing(engine) as session:
        assert _count_and_add(session.connection(), "d") == 2, "it waited, and saw what was written"
    worker.join()
    engine.dispose()


def _count_and_add(connection: Any, name: str) -> int:
    before = connection.execute(text("SELECT count(*) FROM specification")).scalar_one()
    connection.execute(text(f"INSERT INTO specification (name, title, latest) VALUES ('{name}', 'X', 1)"))
    return int(before)


def test_what_was_written_can_be_read_back_when_the_answer_is_there(served: Served):
    """Code after the `yield` of a dependency runs after the answer was sent: a commit there is too late."""
    with served.client() as writing_one, served.client() as reading_one:
        for number in range(20):
            body = {"name": f"b{number}", "chassis": "24PL-018412"}
            assert writing_one.post("/v1/builds", json=body).status_code == 201
            assert reading_one.get(f"/v1/builds/b{number}").status_code == 200


def test_table_models_check_nothing_so_schemas_and_the_database_do(engine: Engine):
    """`table=True` skips validation in the constructor."""
    assert BuildRow(name="x", chassis="y", variant="z", version="none").version == "none", "still so"
    with pytest.raises(ValidationError):
        BuildCreateIn(name="not a name!", chassis="24PL-018412")
    with pytest.raises(IntegrityError), engine.begin() as connection:
        connection.execute(text("INSERT INTO specification (name, title, latest) VALUES ('x', 'X', 0)"))


def test_choices_are_stored_as_their_words(demo: Engine):
    """An enum column stores the names of its members, not their values."""
    for name, table in SQLModel.metadata.tables.items():
        for column in table.columns:
            assert not isinstance(column.type, Enum), f"{name}.{column.name}"
    with demo.connect() as connection:
        origins = set(connection.execute(text("SELECT DISTINCT origin FROM component")).scalars())
        supplies = set(connection.execute(text("SELECT DISTINCT supply FROM component")).scalars())
    assert origins <= {origin.value for origin in Origin}
    assert "later-model" in origins
    assert supplies <= {supply.value for supply in Supply}


def test_instants_keep_their_zone(engine: Engine):
    """SQLite forgets the zone of a time."""
    before = datetime.now(UTC)
    made = create_specification(engine, "house", SpecificationIn(title="House"))
    read = specification_document(engine, "house")
    assert made["at"] == read["at"]
    at = datetime.fromisoformat(read["at"])
    assert at.utcoffset() is not None
    assert before <= at <= datetime.now(UTC)


@pytest.mark.anyio
async def test_every_instant_in_an_answer_has_its_zone(writer: httpx.AsyncClient):
    await writer.post("/v1/specifications", json={"name": "house", "title": "House"})
    found = []
    for path in ("/v1/specifications/house", "/v1/revisions", "/v1/records/component/QB-3310/history"):
        found += re.findall(r"\d{4}-\d\d-\d\dT[^\"]+", (await writer.get(path)).text)
    assert len(found) >= 2
    assert all(datetime.fromisoformat(instant).utcoffset() is not None for instant in found), found


def test_no_column_holds_json_that_could_be_changed_in_place():
    """A change inside the value of a JSON column is not noticed and lost; ours hold text, replaced whole."""
    for name, table in SQLModel.metadata.tables.items():
        assert not [column.name for column in table.columns if isinstance(column.type, JSON)], name


def test_a_migration_written_by_the_tool_needs_no_import_that_it_lacks():
    """It would write `sqlmodel.sql.sqltypes.AutoString` without importing it."""
    source = (migrations_folder() / "env.py").read_text("utf-8")
    namespace: dict[str, Any] = {}
    body = source[source.index("def _render") : source.index("def run(")]
    exec("from typing import Any\nfrom sqlmodel import AutoString\n" + body, namespace)
    render = namespace["_render"]
    assert render("type", AutoString(length=40), None) == "sa.String(length=40)"
    assert render("type", JSON(), None) is False
    for migration in (migrations_folder() / "versions").glob("*.py"):
        assert "sqlmodel" not in migration.read_text("utf-8"), migration.name


def test_every_check_has_a_name_from_the_convention():
    """A constraint without a name cannot be dropped later; the convention stands before the first table."""
    for name, table in SQLModel.metadata.tables.items():
        for constraint in table.constraints:
            assert constraint.name, f"{name}: {constraint}"


@pytest.mark.anyio
async def test_bytes_that_are_no_json_answer_400_and_the_document_lists_it(
    client: httpx.AsyncClient,
):
    """Malformed JSON answers 400, which OpenAPI does not list unless told."""
    paths = (await client.get("/openapi.json")).json()["paths"]
    taking = [
        (path, method, operation)
        for path, item in paths.items()
        for method, operation in item.items()
        if "application/json" in operation.get("requestBody", {}).get("content", {})
    ]
    assert len(taking) > 8
    for path, method, operation in taking:
        assert "400" in operation["responses"], f"{method} {path}"
    broken = await client.post("/v1/closures", content=b"{", headers={"Content-Type": "application/json"})
    assert (broken.status_code, broken.json()["type"]) == (400, "/problems/malformed-request")


def test_start_and_end_are_in_the_lifespan_and_layers_are_pure(app: FastAPI):
    """`on_event` is gone; one BaseHTTPMiddleware costs twenty times what a pure layer does."""
    assert not any(issubclass(layer.cls, BaseHTTPMiddleware) for layer in app.user_middleware)
    for source in Path(graftbook.access.tables.__file__).parents[1].rglob("*.py"):
        written = source.read_text("utf-8")
        assert "on_event" not in written, source
        assert "BaseHTTPMiddleware" not in written, source


@pytest.mark.anyio
async def test_no_page_loads_anything_from_elsewhere(client: httpx.AsyncClient):
    """The framework's own documents page loads its script from a public server."""
    for path in ("/docs", "/redoc"):
        assert (await client.get(path)).status_code == 404
    page = await client.get("/", headers={"Accept": "text/html"})
    assert page.status_code == 200
    assert not re.findall(r"(?:src|href)=[\"']?(?:https?:)?//", page.text)
