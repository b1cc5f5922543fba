"""One release at work in a process of its own: it answers what it is asked on its standard input.

Run as a script, with the release's source root on the path. Every line that it reads is a JSON object with
`do`; every line that it writes is the answer, with what it took: `wall` and `cpu` (of every thread of this
process) in seconds. It imports the release and the two modules beside it, nothing else, so that it does the
same with a release whose package has another name.
"""

import asyncio
import gc
import importlib
import json
import os
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

import httpx
import rule_sets

Facts = dict[str, Any]

NOW = {
    "app": "graftbook.app",
    "answering": "graftbook.closure.answering",
    "books": "graftbook.catalogue.compiling.books",
    "checks": "graftbook.checks.set",
    "concede": "graftbook.closure.search.concede",
    "database": "graftbook.database",
    "documents": "graftbook.questions.closures.documents",
    "eliminate": "graftbook.closure.search.eliminate",
    "findings": "graftbook.questions.checks.documents",
    "imports": "graftbook.catalogue.loading.imports",
    "lookup": "graftbook.catalogue.store.lookup",
    "model": "graftbook.rulebook.model",
    "question": "graftbook.closure.question",
    "records": "graftbook.catalogue.format.records",
    "sent": "graftbook.http.values",
    "settings": "graftbook.settings",
    "solver": "graftbook.closure.search.constrain",
}
THEN = {
    "app": "api.app",
    "answering": "api.closure.answering",
    "books": "api.catalogue.books",
    "checks": "api.checks.set",
    "database": "api.database",
    "documents": "api.wire.answers",
    "findings": "api.wire.findings",
    "imports": "api.catalogue.imports",
    "lookup": "api.catalogue.lookup",
    "model": "api.rulebook.model",
    "question": "api.closure.question",
    "records": "api.catalogue.records",
    "sent": "api.wire.responses",
    "settings": "api.settings",
    "solver": "api.closure.solve",
}


class Release:
    """What one release knows at the moment: a catalogue, and the invented rule sets that it was asked for."""

    def __init__(self, names: dict[str, str], folder: str) -> None:
        self._names = names
        self._folder = folder
        self._books: Any = None
        self._engine: Any = None
        self._sets: dict[str, Any] = {}
        self._app: Any = None
        self.part("solver").warm_up()

    def part(self, name: str) -> Any:
        """The module of this release that does one thing."""
        return importlib.import_module(self._names[name])

    # What it may be asked ---------------------------------------------------------------------

    def columns(self) -> Facts:
        """The columns of each kind of record that it reads."""
        kinds = self.part("records").KIND_BY_WORD
        return {"columns": {word: sorted(kind.model_fields) for word, kind in kinds.items()}}

    def load(self, sheets: list[str]) -> Facts:
        """A new catalogue out of these sheets."""
        database = self.part("database")
        self._engine = database.make_engine(f"sqlite:///{Path(self._folder) / 'catalogue.sqlite3'}")
        database.migrate(self._engine)
        report = self.part("imports").load(self._engine, [Path(sheet) for sheet in sheets])
        self._books = self.part("books").Books(self._engine)
        return {"mistakes": [str(mistake) for mistake in report.mistakes[:20]]}

    def invent(self, name: str, shape: str, places: int, seed: int) -> Facts:
        """A rule set of the generator, kept under a name."""
        book = rule_sets.SHAPES[shape](self.part("model"), places, seed)
        self._sets[name] = book
        return {"positions": len(book.positions), "companions": len(book.companions)}

    def ask(self, question: Facts) -> Facts:
        """The whole answer, and what it took; then the document of it, and what that took more."""
        book, asked = self._question(question)
        _nothing_to_walk()
        with self._solver_alone() if question.get("solver_alone") else nullcontext():
            answer, took = _timed(lambda: self.part("answering").answer_question(book, asked))
        body, written = _timed(lambda: self._document(book, asked, answer))
        return {"took": took, "written": written, "bytes": len(body), **_told(answer)}

    def many(self, body: Facts, alone: bool = False) -> Facts:
        """The verdicts of compatibility questions in one call over ASGI, or each in a call of its own."""
        if self._app is None:
            settings = self.part("settings").Settings(database_url=str(self._engine.url))
            self._app = self.part("app").create_app(settings)
            # As the release's own service does before it answers; the older one leaves the collector alone.
            getattr(self.part("app"), "collect_seldom", gc.collect)()
        bodies = [body | {"questions": [one]} for one in body["questions"]] if alone else [body]
        _nothing_to_walk()
        sent, took = _timed(lambda: asyncio.run(self._posted("/v1/compatibility", bodies)))
        answers = [answer for each in sent for answer in json.loads(each)["answers"]]
        told = [[answer["verdict"], answer.get("number")] for answer in answers]
        return {"took": took, "bytes": sum(map(len, sent)), "verdicts": told}

    async def _posted(self, address: str, bodies: list[Facts]) -> list[bytes]:
        ours = httpx.ASGITransport(self._app)
        async with httpx.AsyncClient(transport=ours, base_url="http://127.0.0.1") as client:
            sent = [await client.post(address, json=body) for body in bodies]
        return [answer.raise_for_status().content for answer in sent]

    @contextmanager
    def _solver_alone(self) -> Iterator[None]:
        """Neither elimination nor concession: what propagation leaves goes to the solver."""
        eliminate, concede = self.part("eliminate"), self.part("concede")
        kept = eliminate.MOST_CELLS, concede.MOST_CONFLICTS
        eliminate.MOST_CELLS, concede.MOST_CONFLICTS = 0, -1
        try:
            yield
        finally:
            eliminate.MOST_CELLS, concede.MOST_CONFLICTS = kept

    # How --------------------------------------------------------------------------------------

    def _question(self, given: Facts) -> tuple[Any, Any]:
        words, model = self.part("question"), self.part("model")
        book, vehicle = self._vehicle(given)
        wishes = [words.FitComponent(*fit) for fit in given.get("fit", ())]
        if at_least := given.get("remedy"):
            wishes.append(words.RemedyFlaws(model.Severity[at_least]))
        limits = {
            name: frozenset(given[name]) for name in ("keep", "keep_sections", "refuse") if name in given
        }
        if "price_at_most" in given:
            limits["price_at_most"] = given["price_at_most"]
        asked = words.Question(vehicle, tuple(wishes), words.Limits(**limits), seconds=given["seconds"])
        return book, asked

    def _vehicle(self, given: Facts) -> tuple[Any, Any]:
        if "set" in given:
            return self._sets[given["set"]], rule_sets.vehicle(self.part("model"), given.get("serial", 500))
        with self.part("database").reading(self._engine) as session:
            vehicle = self.part("lookup").find_vehicle(session, given["chassis"]).vehicle
        return self._books.book(vehicle.variant), vehicle

    def _document(self, book: Any, asked: Any, answer: Any) -> bytes:
        """Checks, facts and sentences as the bytes that would be sent."""
        document = self.part("documents").answer_document(book, answer)
        if answer.solution is not None:
            set_ = answer.solution
            findings = self.part("checks").check_set(book, asked.vehicle, set_.today, set_.after)
            document = {**document, "checks": self.part("findings").findings_document(findings)}
        return bytes(self.part("sent").json_bytes(document))


def _told(answer: Any) -> Facts:
    """What two releases can be compared by."""
    told: Facts = {
        "outcome": answer.outcome.value,
        "engine": answer.engine,
        "reached": answer.reached,
        "cut_short": answer.cut_short,
        "contradictions": [
            {"parts": sorted(part.name for part in found.parts), "smallest": found.smallest}
            for found in answer.contradictions
        ],
        "ways_out": [
            {"gives_up": sorted(part.name for part in way.gives_up), "changes": way.totals.changes}
            for way in answer.ways_out
            if way.totals
        ],
        "next_bests": 0,
    }
    if (found := answer.solution) is None:
        return told
    totals = found.totals
    return told | {
        "next_bests": sum(len(change.others) for change in found.changes),
        "set": {change.position: change.component for change in found.changes},
        "loose": {part.component: part.quantity for part in found.loose},
        "cost": [
            totals.irreversible, totals.visible, totals.changes, totals.flaws,
            len(totals.unknown_prices), totals.price, totals.labour, totals.unconfirmed,
        ],
    }  # fmt: skip


def _nothing_to_walk() -> None:
    """Garbage is gone, and what stays is out of the collector's sight: walking all of it before each question
    would empty the processor's caches, which nothing does between two questions of a service."""
    gc.collect()
    gc.freeze()


def _timed(work: Callable[[], Any]) -> tuple[Any, Facts]:
    wall, cpu = time.perf_counter(), time.process_time()
    found = work()
    return found, {"wall": time.perf_counter() - wall, "cpu": time.process_time() - cpu}


def main(release: str) -> None:
    """Answer until there is nothing more to read; standard output carries answers alone."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    with tempfile.TemporaryDirectory() as folder:
        doing = Release(NOW if release == "graftbook" else THEN, folder)
        print(json.dumps({"ready": True}), file=answers, flush=True)
        for line in sys.stdin:
            given = json.loads(line)
            try:
                told = getattr(doing, given.pop("do"))(**given)
            except Exception:
                told = {"fault": traceback.format_exc()}
            print(json.dumps(told), file=answers, flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
