"""A reader who follows the feed misses nothing, whichever transaction began first or ends first."""

import random
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from sqlalchemy import Engine

from graftbook.builds.schemas import BuildIn
from graftbook.builds.service import create_build
from graftbook.catalogue.loading.imports import load
from graftbook.database import reading, writing
from graftbook.events import store
from graftbook.events.outbox import record_event
from graftbook.events.service import events_since

WRITERS, ROUNDS = 6, 12
BUILD = {"name": "red", "variant": "T2-L", "chassis": "", "version": 1}


def followed(engine: Engine, write: Callable[[], None]) -> list[str]:
    """The ids of all events that a reader sees who reads on without a pause while others write."""
    seen: list[str] = []
    over = threading.Event()

    def follow() -> None:
        since = ""
        while True:
            last_look = over.is_set()
            page = events_since(engine, since, (), 5)
            seen.extend(event["id"] for event in page.items)
            since = page.cursor
            if last_look and not page.more:
                return
            time.sleep(0.002)

    reader = threading.Thread(target=follow)
    reader.start()
    try:
        write()
    finally:
        over.set()
        reader.join(60)
    return seen


def kept(engine: Engine) -> list[str]:
    with reading(engine) as session:
        return [row.id for row in store.events_after(session, 0, (), 10_000)]


def test_the_slow_one_who_began_first_is_not_passed_by(engine: Engine) -> None:
    """Transactions that stay open for a while behind their event, beside quick ones."""
    draw = random.Random(1)
    waits = [[draw.choice((0, 0, 0.01, 0.04)) for _ in range(ROUNDS)] for _ in range(WRITERS)]

    def slow(mine: list[float]) -> None:
        for seconds in mine:
            with writing(engine) as session:
                record_event(session.connection(), "build.created", BUILD)
                time.sleep(seconds)
                if seconds == 0.01:
                    session.rollback()

    def write() -> None:
        with ThreadPoolExecutor(WRITERS) as pool:
            list(pool.map(slow, waits))

    seen = followed(engine, write)
    assert seen == kept(engine)
    assert len(seen) == 1 + sum(seconds != 0.01 for mine in waits for seconds in mine)


def test_editors_and_builders_at_once_are_all_followed(engine: Engine) -> None:
    def builder(name: str) -> None:
        for number in range(ROUNDS):
            create_build(engine, f"{name}-{number}", BuildIn(chassis="2L-0001", variant="T2-L"))

    def editor() -> None:
        for number in range(ROUNDS // 2):
            section = {"record": "section", "name": "new", "title": f"New {number}", "order": 5}
            assert load(engine, [section]).revision == number + 2

    def write() -> None:
        with ThreadPoolExecutor(WRITERS) as pool:
            work = [pool.submit(builder, name) for name in ("red", "blue", "green")]
            work.append(pool.submit(editor))
            for one in work:
                one.result()

    seen = followed(engine, write)
    assert seen == kept(engine)
    assert len(seen) == 1 + 3 * ROUNDS + ROUNDS // 2
