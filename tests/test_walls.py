"""Imports run one way: the reasoning knows no web and no database, and SQL stays in its rooms."""

import ast
import os
import subprocess
import sys
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import pytest

API = Path(__file__).resolve().parent.parent / "api" / "graftbook"

PURE = ("rulebook", "closure", "checks")
"""Rooms that know values only."""

NOT_IN_PURE = {
    "fastapi",
    "starlette",
    "sqlmodel",
    "sqlalchemy",
    "alembic",
    "psycopg",
    "sqlite3",
    "uvicorn",
    "httpx",
}

ROOMS = {
    "problems": "",
    "settings": "",
    "database": "",
    "database_faults": "",
    "temporary_files": "",
    "document": "",
    "rulebook": "",
    "closure": "rulebook",
    "checks": "rulebook",
    "events.outbox": "database",
    "catalogue": "events.outbox checks closure rulebook database document problems temporary_files",
    "builds.stored": "catalogue rulebook database document problems",
    "guide": "checks catalogue rulebook problems settings",
    "telemetry": "closure",
    "process": "telemetry catalogue closure rulebook database problems settings temporary_files",
    "http": "process telemetry catalogue closure rulebook document problems",
    "backups": "process catalogue database problems settings temporary_files",
    "access": "http process catalogue database document problems settings",
    "idempotency": "access http catalogue database problems",
    "questions": "access http process telemetry builds.stored catalogue checks closure rulebook database "
    "document problems",
    "builds": "questions idempotency access http process builds.stored events.outbox catalogue database "
    "document problems",
    "orders": "questions idempotency builds access http process telemetry events.outbox catalogue closure "
    "rulebook database document problems",
    "builds.life": "orders questions idempotency builds builds.stored access http process "
    "catalogue closure rulebook database document problems",
    "builds.standards": "builds.life questions builds builds.stored access http process telemetry catalogue "
    "closure rulebook database document problems",
    "events": "orders builds access http process telemetry events.outbox catalogue database document "
    "problems settings",
    "editing": "orders questions idempotency builds builds.stored access http process catalogue checks "
    "closure rulebook database document problems",
    "reports": "editing questions access http process catalogue rulebook database document problems",
    "pictures": "access http process builds.stored catalogue database document problems",
    "health": "access http process telemetry catalogue database document problems",
    "pages": "pictures guide events events.outbox orders reports editing builds builds.life builds.standards "
    "builds.stored questions access http process catalogue checks rulebook database problems",
    "app": "pages pictures events orders reports editing builds builds.life builds.standards questions "
    "idempotency access http process telemetry health closure rulebook database_faults problems settings",
    "client": "pictures reports events health editing builds.standards builds.life orders builds questions "
    "access builds.stored catalogue",
    "commands": "client guide orders editing builds builds.life builds.standards builds.stored questions "
    "backups access http process catalogue closure rulebook database_faults database problems settings",
}
"""Room → the rooms that it may import, each named above it: so no arrow runs back, and there is no circle."""

WEB = {"fastapi", "starlette", "uvicorn"}
SQL = {"sqlalchemy", "sqlmodel", "psycopg", "sqlite3"}


def modules(*rooms: str) -> list[Path]:
    return sorted(path for room in rooms for path in (API / room).rglob("*.py"))


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imports(path: Path) -> frozenset[str]:
    """Every dotted name that a module imports, wherever in it."""
    found: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: import by full name"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(found)


@cache
def room_of(name: str) -> str:
    """The room of a module by its dotted name in the package: `orders.lists.store` is of `orders`."""
    return next((room for room in ROOMS if "." in room and name.startswith(room)), name.split(".")[0])


def in_package(path: Path) -> str:
    return ".".join(path.relative_to(API).with_suffix("").parts)


def test_there_is_something_to_guard() -> None:
    for room in (*PURE, "catalogue"):
        assert len(modules(room)) > 2, room


@pytest.mark.parametrize("room", PURE)
def test_pure_rooms_know_neither_web_nor_database(room: str) -> None:
    for path in modules(room):
        outside = {name.split(".")[0] for name in imports(path)}
        assert not outside & NOT_IN_PURE, path


@pytest.mark.parametrize("room", PURE)
def test_importing_a_pure_room_loads_neither_web_nor_database(room: str) -> None:
    """Also not by way of something else that it imports."""
    names = [
        ".".join(path.relative_to(API.parent).with_suffix("").parts)
        for path in modules(room)
        if path.stem != "__init__"
    ]
    loaded = loaded_with(names)
    assert not {name.split(".")[0] for name in loaded} & (NOT_IN_PURE - {"sqlite3"})
    assert not {name for name in loaded if name.startswith(("graftbook.catalogue", "graftbook.database"))}


def loaded_with(names: Iterable[str]) -> set[str]:
    """The modules that a process has once it has imported these."""
    code = f"import importlib, sys\nfor n in {[*names]!r}: importlib.import_module(n)\nprint(*sys.modules)"
    shown = subprocess.run(
        [sys.executable, "-c", code], cwd=API.parent, capture_output=True, text=True, check=True
    )
    return set(shown.stdout.split())


REASONED = (
    "graftbook.process.reasoning.worker",
    "graftbook.questions.closures.reasoning",
    "graftbook.orders.buying.buying",
    "graftbook.orders.fitting.jobs",
)
"""The process that reasons, and what it is given to do."""


def test_a_reasoning_process_loads_no_forms() -> None:
    """What describes a document is for the OpenAPI document and the checker; each process would hold it."""
    loaded = {name.split(".")[0] for name in loaded_with(REASONED)}
    assert "numpy" in loaded
    assert not loaded & {"pydantic", *NOT_IN_PURE}


def test_what_is_told_in_groups_names_its_documents_for_the_checker_alone() -> None:
    """A class that holds documents is made when its module is loaded: the name stays a text there."""
    code = (
        "import sys\nfrom graftbook.questions.checks.documents import FindingsGroup\n"
        "print(FindingsGroup.__annotations__['findings'].__forward_arg__)\n"
        "print('pydantic' in sys.modules or 'graftbook.questions.closures.schemas' in sys.modules)"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], cwd=API.parent, capture_output=True, text=True, check=True
    )
    assert shown.stdout.splitlines() == ["list[FindingOut]", "False"]


_WEB_AND_REASONING = {
    "fastapi", "starlette", "uvicorn", "alembic", "numpy", "pandas", "ortools", "pysat", "reportlab",
    "xlsxwriter", "rich", "prometheus_client", "graftbook.process.service", "graftbook.closure.answering",
}  # fmt: skip
_NO_DATABASE = _WEB_AND_REASONING | {"pydantic", "sqlalchemy", "sqlmodel", "psycopg", "graftbook.database"}
COMMANDS = {
    "": _NO_DATABASE,
    "--help": _NO_DATABASE,
    "--version": _NO_DATABASE,
    "new --help": _NO_DATABASE - {"pydantic"},  # the framework's own, for what a path is
    "keys list": _WEB_AND_REASONING | {"graftbook.catalogue.store.tables", "graftbook.closure"},
    "find front discs": _WEB_AND_REASONING,
    "find qb3310": _WEB_AND_REASONING,
    "history": _WEB_AND_REASONING,
    "history component QB-3310": _WEB_AND_REASONING,
    "compare 1": _WEB_AND_REASONING,
    "fits 24PL-018412 QB-3310": {
        "uvicorn",
        "alembic",
        "pandas",
        "ortools",
        "reportlab",
        "xlsxwriter",
        "rich",
    },
}
"""What a command leaves alone: most of a process's first second goes into what is loaded, used or not."""


@pytest.mark.parametrize("asked", COMMANDS)
def test_a_command_loads_what_it_uses_and_no_more(asked: str, sqlite_demo_url: str) -> None:
    code = (
        "import atexit, sys\natexit.register(lambda: print('\\n', *sys.modules))\n"
        f"sys.argv[1:] = {asked.split()!r}\nfrom graftbook.commands.entry import main; main()"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], cwd=API.parent, capture_output=True, text=True, check=False,
        env=os.environ | {"GRAFTBOOK_DATABASE_URL": sqlite_demo_url},
    )  # fmt: skip
    loaded = shown.stdout.splitlines()[-1].split()
    assert "graftbook.commands.console" in loaded, shown.stderr
    assert not COMMANDS[asked] & set(loaded)
    assert "Usage" in shown.stderr or not {line for line in shown.stderr.splitlines() if "say " not in line}


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_what_the_table_says_and_no_more(room: str) -> None:
    used = set()
    for path in API.rglob("*.py"):
        if room_of(in_package(path)) != room:
            continue
        for name in imports(path):
            if name.startswith("graftbook."):
                other = room_of(name.removeprefix("graftbook."))
                assert other == room or other in ROOMS[room].split(), f"{path} imports {name}"
                used.add(other)
    assert used - {room} == set(ROOMS[room].split()), "the table says more than there is"


def test_the_table_names_every_room_and_only_rooms_above() -> None:
    assert {room_of(in_package(path)) for path in API.rglob("*.py")} - {"__init__"} == set(ROOMS)
    above: set[str] = set()
    for room, imported in ROOMS.items():
        assert set(imported.split()) <= above, room
        above.add(room)


def reasoning() -> list[Path]:
    """Every module of the closure but those whose work it is to make sentences."""
    return [path for path in modules("closure") if path.parent.name != "words"]


def test_reasoning_carries_values_and_imports_no_words() -> None:
    assert {path.parent.name for path in reasoning()} == {"closure", "search", "explain"}
    for path in reasoning():
        assert not {name for name in imports(path) if name.startswith("graftbook.closure.words")}, path


def test_reasoning_makes_no_sentence_of_its_own() -> None:
    """No text in it ends as a sentence does, but what describes the code and what a raised error says."""
    for path in reasoning():
        tree = tree_of(path)
        described = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        raised = {part for node in ast.walk(tree) if isinstance(node, ast.Raise) for part in ast.walk(node)}
        told = {node for node in ast.walk(tree) if isinstance(node, ast.Constant)} - described - raised
        sentences = [n.value for n in told if isinstance(n.value, str) and n.value.rstrip().endswith(".")]
        assert not sentences, path


def test_of_the_catalogue_only_the_lint_asks_the_closure() -> None:
    for path in modules("catalogue"):
        asks = any(name.startswith("graftbook.closure") for name in imports(path))
        assert not asks or path.parent.name == "lint", path


DOCUMENTS = {"documents", "schemas", "compared_schemas", "summary_schemas", "lists", "listing", "endpoints"}
"""Modules that say what a document looks like."""


def test_the_client_knows_of_the_service_what_its_documents_look_like() -> None:
    """By name, for the checker; running, it loads nothing of the service."""
    for path in modules("client"):
        names = {name for name in imports(path) if name.startswith("graftbook.")}
        of_service = {name for name in names if not name.startswith("graftbook.client")}
        assert all(name.split(".")[-2] in DOCUMENTS and name.endswith("Out") for name in of_service), path
    loaded = loaded_with(["graftbook.client"])
    assert "httpx" in loaded
    assert {name for name in loaded if name.startswith("graftbook.")} == {
        f"graftbook.{'.'.join(path.relative_to(API).with_suffix('').parts)}"
        for path in modules("client")
        if path.stem != "__init__"
    } | {"graftbook.client"}
    assert not {name.split(".")[0] for name in loaded} & (NOT_IN_PURE - {"httpx"})


def test_the_catalogue_knows_no_web() -> None:
    for path in modules("catalogue"):
        assert not {name.split(".")[0] for name in imports(path)} & WEB, path


def test_endpoints_and_pages_write_no_sql() -> None:
    """They may hold an engine or a session to hand on, and know the errors; nothing else of the database."""
    handed_on = {"sqlalchemy.Engine", "sqlmodel.Session", "sqlalchemy.exc.DBAPIError"}
    for path in (*modules("pages"), *API.rglob("*endpoints.py")):
        names = {name for name in imports(path) if name.split(".")[0] in SQL}
        assert names <= handed_on, f"{path}: {names - handed_on}"


def test_a_tab_waits_for_no_library() -> None:
    """Names that begin as somebody typed are asked of the driver: a library takes longer to load."""
    code = "import sys, graftbook.catalogue.store.completions\nprint(*sys.modules)"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"pydantic", "sqlalchemy", "fastapi"} & set(shown.stdout.split())


TWO_OF_A_NAME = {"Scope"}
"""What keys allow, a word of the API; and what a vehicle sees of its rule book, all through the reasoning."""


def test_a_class_has_its_name_for_itself() -> None:
    """Who searches for a name finds one thing. What is private to its module is seen beside its use."""
    homes: dict[str, list[str]] = {}
    for path in API.rglob("*.py"):
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes.setdefault(node.name, []).append(in_package(path))
    assert {name: found for name, found in homes.items() if len(found) > 1}.keys() == TWO_OF_A_NAME


def test_no_module_grows_beyond_its_subject() -> None:
    for path in API.rglob("*.py"):
        lines = path.read_text(encoding="utf-8").count("\n")
        assert lines <= 500, f"{path} has {lines} lines; it has two subjects"


MOST_LINES_OF_A_FUNCTION = 60
MOST_LINES_OF_A_MODULE = 499


def test_no_function_is_longer_than_a_screen_and_no_module_than_one_sitting() -> None:
    """A long one hides what it does; what belongs together is easier found in two places with a name each."""
    too_long = []
    for path in API.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if (lines := text.count("\n")) > MOST_LINES_OF_A_MODULE:
            too_long.append(f"{in_package(path)}: {lines} lines")
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                if lines > MOST_LINES_OF_A_FUNCTION:
                    too_long.append(f"{in_package(path)}.{node.name}: {lines} lines")
    assert too_long == []
