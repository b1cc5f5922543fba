"""What the program makes the same each time, made once: databases, rule books, answers, what an application
reads when it starts.

A change in what makes them has them made anew, in its own process.
"""

import asyncio
import contextlib
import hashlib
import importlib
import io
import json
import os
import pickle
import shutil
import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path
from types import MappingProxyType
from typing import Any

from tests.mutation.changes import ROOT, Change

REASONING = ("closure", "rulebook")
"""The rooms of which an answer is made: for a change in them nobody is told what was answered before."""
MOST_ANSWERS = 2_000

Lines = dict[str, list[int]]


class Made:
    """Databases, empty and with the demo range, its rule books, and the lines that made them."""

    def __init__(self, store: Path) -> None:
        self._folder = store / f"made-{program()}"
        self._warm = self._folder / "warm.json"
        self._books: dict[Any, Any] = {}
        self._answers: dict[Any, Any] = {}

    def make(self) -> None:
        """Makes what is not there for the program as it is. In a process of its own: coverage slows what
        follows."""
        if self._folder.exists():
            return
        folder = Path(tempfile.mkdtemp(dir=self._folder.parent))
        conftest = importlib.import_module("tests.conftest")
        databases = conftest._Databases(folder, None, folder)
        small = importlib.import_module("tests.access.conftest")._load_small
        fill = {"demo": conftest._load_demo, "small": small}
        lines = {"demo": _lines_of(lambda: [databases.once(*each) for each in fill.items()])}
        (folder / "shape").rename(folder / "empty")
        engine = conftest.make_engine(databases.copy(databases.once("demo", conftest._load_demo)))
        lines["books"] = _lines_of(lambda: self._compile(engine))
        engine.dispose()
        from tests import sparing

        (folder / "books.pickle").write_bytes(_written(sparing._books))
        (folder / "lines.json").write_text(json.dumps(lines))
        with contextlib.suppress(OSError):  # another one was faster
            folder.rename(self._folder)

    def note_warm(self) -> None:
        """Notes which lines run when a process is warmed; in one that has run nothing else."""
        if not self._warm.exists():
            _parts()
            self._warm.write_text(json.dumps(_lines_of(self.warm)))

    def is_warm(self, change: Change) -> bool:
        """Whether a process that was warmed may hold what the change would have made another."""
        return _is_among(change, json.loads(self._warm.read_text()))

    def warm(self) -> None:
        """Lets an application start here and answer, so that the processes that this one forks find routes
        read, statements put into SQL and templates compiled."""
        conftest, frame = _parts()
        with tempfile.TemporaryDirectory() as folder:
            shutil.copyfile(self._folder / "demo", Path(folder) / "demo")
            app = conftest.create_app(conftest.Settings(database_url=f"sqlite:///{folder}/demo"))

            async def ask() -> None:
                async with conftest.client_of(app) as client:
                    for address in ("/openapi.json", "/"):
                        await client.get(address)

            asyncio.run(ask())
            app.state.service.close()
        pages = frame._environment()
        for name in pages.list_templates(["html"]):
            pages.get_template(name)

    def _compile(self, engine: Any) -> None:
        from sqlmodel import Session, select

        from graftbook.catalogue.store.tables import VariantRow
        from tests import sparing

        sparing.know_copies_of(engine)
        with Session(engine) as session:
            for variant in session.exec(select(VariantRow.name)).all():
                sparing.shared_or_compiled(session, variant)

    def keep_answers(self, part: str) -> None:
        """Keeps what this process was answered about the demo range."""
        from tests import sparing

        keys = {id(book): key for key, book in sparing._books.items()}
        answers = {
            asked: (keys[id(book)], answer)
            for asked, (book, answer) in sparing._answers.items()
            if id(book) in keys
        }
        (self._folder / f"answers-{part}.pickle").write_bytes(_written(answers))

    def load(self) -> None:
        """Reads the books and the answers that are kept, for the processes that this one forks."""
        self._books = pickle.loads((self._folder / "books.pickle").read_bytes())
        for path in sorted(self._folder.glob("answers-*.pickle")):
            for asked, (key, answer) in pickle.loads(path.read_bytes()).items():
                self._answers[asked] = self._books[key], answer

    def use(self, change: Change | None) -> None:
        """Lets this process have them, but for those that the change could make others."""
        from tests import sparing

        lines: dict[str, Lines] = json.loads((self._folder / "lines.json").read_text())
        _clear(sparing)
        if change is not None and _is_among(change, lines["demo"]):
            return
        _lay_out(importlib.import_module("tests.conftest"), self._folder)
        if change is not None and _is_among(change, lines["books"]):
            return
        sparing._books.update(self._books)
        if change is None or change.room not in REASONING:
            sparing.MOST_ANSWERS = MOST_ANSWERS
            sparing._answers.update(self._answers)


def _parts() -> list[Any]:
    """The modules that an application is started and its pages are made with."""
    return [importlib.import_module(name) for name in ("tests.conftest", "graftbook.pages.frame")]


class _Pickler(pickle.Pickler):
    """Mappings that only read are written as well."""

    def reducer_override(self, value: Any) -> Any:
        return (_read_only, (dict(value),)) if type(value) is MappingProxyType else NotImplemented


def _read_only(held: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(held)


def _written(value: object) -> bytes:
    stream = io.BytesIO()
    _Pickler(stream, pickle.HIGHEST_PROTOCOL).dump(value)
    return stream.getvalue()


def _clear(sparing: Any) -> None:
    sparing._books.clear()
    sparing._answers.clear()


def _is_among(change: Change, lines: Lines) -> bool:
    """Whether lines that ran are those of the change; at module level, whether any of its module ran."""
    ran = lines.get(change.path, [])
    return bool({change.line, change.statement} & set(ran)) if change.function else bool(ran)


def _lines_of(work: Callable[[], object]) -> Lines:
    import coverage

    cover = coverage.Coverage(data_file=None, source=[str(ROOT / "api")], config_file=False)
    cover.start()
    work()
    cover.stop()
    data = cover.get_data()
    return {str(Path(file).relative_to(ROOT)): data.lines(file) or [] for file in data.measured_files()}


def program() -> str:
    """Which program this is: a digest of all that it is made of."""
    found = hashlib.sha256()
    folders = ("api", "migrations", "seed_data")
    for file in sorted(file for folder in folders for file in (ROOT / folder).rglob("*")):
        if file.is_file() and "__pycache__" not in file.parts:
            found.update(f"{file.relative_to(ROOT)}".encode() + file.read_bytes())
    return found.hexdigest()[:12]


def _lay_out(conftest: Any, made: Path) -> None:
    """Has the fixtures find the databases where they keep what they made themselves."""
    bare = conftest._Databases.__init__

    def begin(databases: Any, folder: Path, server: str | None, shared: Path | None = None) -> None:
        bare(databases, folder, server, shared)
        if shared is not None:
            for name, kept in (("shape", "empty"), ("demo", "demo"), ("small", "small")):
                shutil.copyfile(made / kept, shared / name)

    conftest._Databases.__init__ = begin


def apart(work: Callable[[], object]) -> None:
    """Does a work in a child of this process, and ends with it where it fails."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            os._exit(code)
    assert os.waitpid(child, 0)[1] == 0, "it did not end well"
