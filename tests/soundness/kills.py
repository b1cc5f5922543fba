"""kill -9 at random moments: afterwards the database is exactly as before, or exactly as after.

    python -m tests.soundness.kills --kills 300          # the long form, on both engines
    python -m tests.soundness.kills --kills 50 --engine sqlite --case import --seed 7

A case is one thing that a process is killed in. To add one, write a `Case` and put it into `CASES`:

- `prepare(url)` brings a copy of the demo range to where the case begins, once: each kill is in a copy of
  that; what the work is to know of it goes into the environment, under names that begin with `KILLED_`;
- `work(url, begin)` runs in the process that is killed: it makes ready, calls `begin`, does the thing once;
- `state(url)` tells everything that the thing may change, as text, the same whenever it was done;
- `afterwards(url, outcome)` shows that the next start works and that doing it again ends as it should.

The processes are forked from one that has loaded the program already, so that a kill costs no second.
"""

import argparse
import asyncio
import atexit
import json
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import uvicorn
from sqlalchemy import inspect, text

from graftbook.access.principal import Caller
from graftbook.access.scopes import Scope
from graftbook.access.service import create_key
from graftbook.app import create_app
from graftbook.backups.service import backup, restore
from graftbook.catalogue.loading.imports import SMALL, load
from graftbook.database import migrate
from graftbook.settings import Settings
from tests.catalogue.sheet import sheet
from tests.conftest import _Databases as Databases
from tests.soundness.databases import (
    ENGINES,
    beside,
    contents,
    databases_of,
    knows,
    loaded_demo,
    opened,
    settings_of,
)
from tests.soundness.forked import LOADED

OLD_SHAPE = "2026_11_25_builds"
COMPONENTS = SMALL + 200
"""So many are worked out in a copy and handed over, as a large sheet is."""
SHEET = "".join(
    (
        "[section]\nname,title,order\nkilled,Killed,98\n",
        "[component]\nnumber,name,section,origin,price\n",
        *(f"KILL-{number:05d},Part {number},killed,modern,{number}\n" for number in range(COMPONENTS)),
    )
)
BUILD = {"name": "killed", "chassis": "24PL-018412", "fitted": {"brake.front.left": "QB-2012"}}
ORDER = {
    "name": "killed",
    "vehicle": {"chassis": "24PL-018412"},
    "wishes": [{"fit": "QB-3310"}],
    "deadline_seconds": 30.0,
}
ONCE = "killed once"
SECONDS = 120

Begin = Callable[[], None]


@dataclass(frozen=True)
class Prepared:
    """Where a case begins on an engine: a database to copy, its state, and what the work is to know of it."""

    url: str
    state: str
    known: dict[str, str]


@dataclass
class Case:
    """One thing that is killed. `prepared`: where it begins on an engine. `alone`: about how long it takes
    there, in seconds, and the state that it leaves when nobody kills it."""

    name: str
    work: Callable[[str, Begin], None]
    state: Callable[[str], str]
    afterwards: Callable[[str, str], None]
    prepare: Callable[[str], None] = lambda _url: None
    prepared: dict[str, Prepared] = field(default_factory=dict)
    alone: dict[str, tuple[float, str]] = field(default_factory=dict)


def whole(url: str) -> str:
    """The catalogue, its history, and all that stands beside it; an event's id is drawn each time."""
    return str(contents(url, ("epoch", "event.id")))


def import_sheet(url: str, begin: Begin) -> None:
    """An import that is just large enough to be worked out in a copy."""
    with opened(url) as engine:
        engine.connect().close()
        begin()
        assert load(engine, sheet(SHEET)).ok


def _import_again(url: str, _outcome: str) -> None:
    with opened(url) as engine:
        assert load(engine, sheet(SHEET)).ok
    assert knows(url, f"KILL-{COMPONENTS - 1:05d}")


def to_old_shape(url: str) -> None:
    """Take the database back to a shape that a migration starts from."""
    with opened(url) as engine:
        migrate(engine, OLD_SHAPE)


def migrate_up(url: str, begin: Begin) -> None:
    """A migration through several revisions of the shape, with data in the tables."""
    with opened(url) as engine:
        engine.connect().close()
        begin()
        migrate(engine)


def shape(url: str) -> str:
    """Tables, columns, level of migration, and whether every reference holds."""
    with opened(url) as engine, engine.connect() as connection:
        found = inspect(connection)
        tables = {
            name: sorted(column["name"] for column in found.get_columns(name))
            for name in sorted(found.get_table_names())
        }
        level = connection.execute(text("SELECT version_num FROM alembic_version")).scalars().all()
        rows = connection.execute(text("SELECT count(*) FROM component")).scalar_one()
        stray = []
        if engine.dialect.name == "sqlite":
            stray = connection.execute(text("PRAGMA foreign_key_check")).all()
        return f"{level} {rows} {stray} {tables}"


def _migrate_again(url: str, _outcome: str) -> None:
    with opened(url) as engine:
        migrate(engine)
    assert knows(url, "QB-3310")


def _with_key(url: str) -> None:
    with opened(url) as engine:
        key = create_key(engine, "kills", Scope.EDIT, None, Caller(who="tests"))
    os.environ["KILLED_KEY"] = key.text


def create_once(url: str, begin: Begin) -> None:
    """A service that is asked over HTTP to store a build under an Idempotency-Key."""
    _ask_once(url, begin, "/v1/builds", 201, json=BUILD)


def send_order(url: str, begin: Begin) -> None:
    """A service that is asked over HTTP to send an order list; parts leave the shop's store with it."""
    as_read = {"If-Match": os.environ["KILLED_ETAG"]}
    _ask_once(url, begin, f"/v1/order-lists/{ORDER['name']}/send", 200, headers=as_read)


def book_delivery(url: str, begin: Begin) -> None:
    """A service that is asked over HTTP to book a delivery, with all that came on every line."""
    as_read = {"If-Match": os.environ["KILLED_ETAG"]}
    path, body = f"/v1/order-lists/{ORDER['name']}/receive", json.loads(os.environ["KILLED_BODY"])
    _ask_once(url, begin, path, 200, headers=as_read, json=body)


def _ask_once(url: str, begin: Begin, path: str, status: int, **sent: Any) -> None:
    app = create_app(Settings(database_url=url))
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="critical"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    headers = {"Authorization": f"Bearer {os.environ['KILLED_KEY']}", "Idempotency-Key": ONCE}
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60) as client:
        client.get("/v1/vehicles/24PL-018412")
        begin()
        answer = client.post(path, **sent | {"headers": headers | sent.get("headers", {})})
        assert answer.status_code == status, answer.text


def builds(url: str) -> str:
    """Every build with its parts, and what was answered under an Idempotency-Key."""
    with opened(url) as engine, engine.connect() as connection:
        made = connection.execute(text("SELECT name, version FROM build")).all()
        parts = connection.execute(text("SELECT build, position, component FROM build_fitting")).all()
        kept = connection.execute(text("SELECT key, status FROM answered_once")).all()
    return f"{made} {parts} {kept}"


def _create_again(url: str, outcome: str) -> None:
    answer = asyncio.run(_asked_again(url, outcome, "POST", "/v1/builds", json=BUILD))
    assert answer.status_code == 201, answer.text
    assert answer.json()["fitted"] == BUILD["fitted"]
    with opened(url) as engine, engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM build")).scalar_one() == 1


async def _asked_again(
    url: str, outcome: str, method: str, path: str, headers: dict[str, str] | None = None, **sent: Any
) -> httpx.Response:
    """The next start of the service, and the same request once more under the same key."""
    app = create_app(Settings(database_url=url))
    own = {"Authorization": f"Bearer {os.environ['KILLED_KEY']}", "Idempotency-Key": ONCE} | (headers or {})
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1", timeout=60) as client:
        answer = await client.request(method, path, headers=own, **sent)
    app.state.service.close()
    assert ("idempotency-replayed" in answer.headers) == (outcome == "after"), answer.text
    return answer


def _with_draft(url: str) -> None:
    """A draft of an order list, for which a part lies in the shop's store."""
    _with_key(url)
    asyncio.run(_drafted(url))


async def _drafted(url: str) -> None:
    app = create_app(Settings(database_url=url))
    own = {"Authorization": f"Bearer {os.environ['KILLED_KEY']}"}
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1", timeout=60) as client:
        stored = await client.put("/v1/stock/QB-3310", json={"quantity": 5, "place": "A1"}, headers=own)
        assert stored.status_code in (200, 201), stored.text
        drafted = await client.post("/v1/order-lists", json=ORDER, headers=own)
        assert drafted.status_code == 201, drafted.text
    os.environ["KILLED_ETAG"] = drafted.headers["etag"]
    app.state.service.close()


def _with_sent(url: str) -> None:
    """A list that was sent, and a delivery of all its lines."""
    _with_draft(url)
    asyncio.run(_sent(url))


async def _sent(url: str) -> None:
    app = create_app(Settings(database_url=url))
    own = {"Authorization": f"Bearer {os.environ['KILLED_KEY']}", "If-Match": os.environ["KILLED_ETAG"]}
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1", timeout=60) as client:
        sent = await client.post(f"/v1/order-lists/{ORDER['name']}/send", headers=own)
        assert sent.status_code == 200, sent.text
    rows = [{"line": line["line"], "received": line["pieces"]} for line in sent.json()["lines"]]
    os.environ["KILLED_BODY"] = json.dumps({"lines": rows})
    os.environ["KILLED_ETAG"] = sent.headers["etag"]
    app.state.service.close()


def _book_again(url: str, outcome: str) -> None:
    path, body = f"/v1/order-lists/{ORDER['name']}/receive", json.loads(os.environ["KILLED_BODY"])
    as_read = {"If-Match": os.environ["KILLED_ETAG"]}
    answer = asyncio.run(_asked_again(url, outcome, "POST", path, as_read, json=body))
    assert (answer.status_code, answer.json()["state"]) == (200, "received"), answer.text
    assert all(line["received"] == line["pieces"] for line in answer.json()["lines"])
    assert answer.json()["newest_booking"] == 1


def orders(url: str) -> str:
    """Order lists with their steps and bookings, the shop's store, and what was answered under a key."""
    asked = (
        "SELECT name, state, version FROM order_list",
        "SELECT list, booking, supplier FROM order_booking ORDER BY 1, 2",
        "SELECT * FROM order_booking_line ORDER BY 1, 2, 3",
        "SELECT * FROM shop_stock ORDER BY component",
        "SELECT list, what FROM order_event ORDER BY 1, 2",
        "SELECT key, status FROM answered_once",
    )
    with opened(url) as engine, engine.connect() as connection:
        return "\n".join(str(connection.execute(text(query)).all()) for query in asked)


def _send_again(url: str, outcome: str) -> None:
    path = f"/v1/order-lists/{ORDER['name']}/send"
    answer = asyncio.run(_asked_again(url, outcome, "POST", path, {"If-Match": os.environ["KILLED_ETAG"]}))
    assert (answer.status_code, answer.json()["state"]) == (200, "sent"), answer.text


def _backed_up(url: str) -> None:
    """A backup of the database, and an edit after it, which a restore takes back."""
    folder = tempfile.mkdtemp(prefix="graftbook-kills-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    kept = Path(folder) / "saved"
    backup(settings_of(url), kept)
    os.environ["KILLED_BACKUP"] = str(kept)
    with opened(url) as engine:
        assert load(engine, sheet(SHEET)).ok


def restore_whole(url: str, begin: Begin) -> None:
    """A restore in the place of what is there."""
    with opened(url) as engine:
        engine.connect().close()
    begin()
    restore(settings_of(url), Path(os.environ["KILLED_BACKUP"]), replace=True)


def _restore_again(url: str, _outcome: str) -> None:
    """What the killed one left goes with the next."""
    restore(settings_of(url), Path(os.environ["KILLED_BACKUP"]), replace=True)
    assert not knows(url, "KILL-00000")
    assert not beside(url)


CASES = (
    Case("import", import_sheet, whole, _import_again),
    Case("migration", migrate_up, shape, _migrate_again, to_old_shape),
    Case("create once", create_once, builds, _create_again, _with_key),
    Case("order sent", send_order, orders, _send_again, _with_draft),
    Case("delivery booked", book_delivery, orders, _book_again, _with_sent),
    Case("restore", restore_whole, whole, _restore_again, _backed_up),
)


def _prepared(case: Case, url: str) -> Prepared:
    case.prepare(url)
    known = {name: value for name, value in os.environ.items() if name.startswith("KILLED_")}
    return Prepared(url, case.state(url), known)


def kill_once(case: Case, copy: Callable[[str], str], demo: str, chance: random.Random) -> str:
    """Kill the case once, on a fresh database. "before" or "after"; AssertionError for anything else.

    The first time on an engine it is left alone, to learn how long it takes and what it leaves.
    """
    engine = demo.split(":", 1)[0]
    if engine not in case.prepared:
        case.prepared[engine] = _prepared(case, copy(demo))
    begins = case.prepared[engine]
    os.environ.update(begins.known)
    url, before = copy(begins.url), begins.state
    process, seconds = _run(case, url, None if engine not in case.alone else _moment(case, engine, chance))
    _wait_for_server(url)
    after = case.state(url)
    if engine not in case.alone:
        assert process.exitcode == 0, f"{case.name} does not work even when nobody kills it"
        assert after != before
        case.alone[engine] = seconds, after
    seconds, expected = case.alone[engine]
    assert after in (before, expected), (
        f"{case.name} on {engine} was left half done: {_half(before, after, expected)}"
    )
    outcome = "before" if after == before else "after"
    # So the moments draw near to the one at which before turns into after.
    case.alone[engine] = seconds * (1.15 if outcome == "before" else 0.87), expected
    case.afterwards(url, outcome)
    return outcome


def _half(before: str, after: str, expected: str) -> str:
    """Where a state is neither the one nor the other."""
    parts = zip(before.split("', '"), after.split("', '"), expected.split("', '"), strict=False)
    return "\n".join(
        f"{was} -> {now}, not {done}" for was, now, done in parts if now not in (was, done) or was != done
    )


def _moment(case: Case, engine: str, chance: random.Random) -> float:
    """Anywhere in it, and every other time near its end, where what was done is made to last."""
    return chance.uniform(chance.choice((0, 0.7)), 1.2) * case.alone[engine][0]


def _run(case: Case, url: str, killed_after: float | None) -> tuple[multiprocessing.Process, float]:
    """The process, ended, and how long it worked. `killed_after`: seconds from its beginning."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(LOADED)
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_child, args=(case.name, url, there, dict(os.environ)))
    process.start()
    there.close()
    assert here.poll(SECONDS), f"{case.name} did not begin"
    here.recv()
    began = time.monotonic()
    if killed_after is None:
        assert here.poll(SECONDS), f"{case.name} did not end"
    else:
        time.sleep(killed_after)
        process.kill()
    seconds = time.monotonic() - began
    process.join(SECONDS)
    here.close()
    return process, seconds


def _child(name: str, url: str, there: Any, environment: dict[str, str]) -> None:
    os.environ.update(environment)
    (case,) = (case for case in CASES if case.name == name)
    case.work(url, lambda: there.send("go"))
    there.send("done")
    # At once, past whatever still runs beside: there is nothing left to be killed in.
    os._exit(0)


def _wait_for_server(url: str) -> None:
    """A PostgreSQL server undoes what a dead client began once it notices."""
    if not url.startswith("postgresql"):
        return
    others = text(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
        " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
    )
    until = time.monotonic() + SECONDS
    with opened(url) as engine, engine.connect() as connection:
        while connection.execute(others).scalar_one():
            assert time.monotonic() < until, "the server keeps the dead client's session"
            connection.rollback()
            time.sleep(0.02)


def kill(
    cases: list[Case], copy: Callable[[str], str], demo: str, kills: int, seed: int
) -> dict[str, Counter[str]]:
    """Kill the cases in turn, so many times in all, in copies. How often each ended before and after."""
    chance = random.Random(seed)
    seen: dict[str, Counter[str]] = {case.name: Counter() for case in cases}
    for case in cases:
        kill_once(case, copy, demo, chance)
    for number in range(kills):
        case = cases[number % len(cases)]
        seen[case.name][kill_once(case, copy, demo, chance)] += 1
    return seen


def main(arguments: list[str]) -> int:
    """The long form."""
    parser = argparse.ArgumentParser(prog="python -m tests.soundness.kills")
    parser.add_argument("--kills", type=int, default=300, help="on each engine")
    parser.add_argument("--engine", choices=ENGINES, action="append")
    parser.add_argument("--case", choices=[case.name for case in CASES], action="append")
    parser.add_argument("--seed", type=int, default=random.randrange(1_000_000))
    asked = parser.parse_args(arguments)
    cases = [case for case in CASES if not asked.case or case.name in asked.case]
    print(f"seed {asked.seed}", flush=True)
    for engine in asked.engine or ENGINES:
        with databases_of(engine) as databases:
            _kill_on(engine, databases, cases, asked.kills, asked.seed)
    return 0


def _kill_on(engine: str, databases: Databases, cases: list[Case], kills: int, seed: int) -> None:
    demo = loaded_demo(databases.new())
    started = time.monotonic()
    for name, outcomes in kill(cases, databases.copy, demo, kills, seed).items():
        print(f"{engine}: {name}: killed {outcomes.total()} times, {dict(outcomes)}", flush=True)
    print(f"{engine}: {time.monotonic() - started:.0f} s, nothing half done", flush=True)


if __name__ == "__main__":
    from tests.soundness import kills

    # The forked processes would each import the main module once more: the cases are in `kills`.
    this = sys.modules["__main__"]
    this.__spec__ = this.__file__ = None
    sys.exit(kills.main(sys.argv[1:]))
