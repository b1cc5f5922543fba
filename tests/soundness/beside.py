"""Readers of every kind beside one writer, and whether the writer ever waits for them:

    python -m tests.soundness.beside --minutes 4 --engine sqlite
    python -m tests.soundness.beside --minutes 4 --engine postgresql
    python -m tests.soundness.beside --minutes 4 --engine sqlite --load 60000    # a large load comes too

Readers carry no key. Prints how often each kind asked and how long the writer's changes took, and ends with 1
when one of them took two seconds, when a change was refused, or when anything failed.
"""

import argparse
import os
import random
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count
from typing import Any, NamedTuple

import httpx

from graftbook.catalogue.history.revisions import wait_for_editors
from graftbook.database import writing
from tests.soundness.databases import ENGINES, databases_of, loaded_demo, opened
from tests.soundness.large_sheet import large_sheet
from tests.soundness.server import AS_IT_COMES, Served, serve

LONGEST = 2.0
"""Seconds that a change may take."""
CHASSIS = ("24PL-018412", "24PR-012000", "24PR-009401")
FITS = ("QB-3310", "QB-7093", "QW-7611", "QB-2010", "QB-9001", "QL-7075")
ANSWERED = (200, 304, 503)
"""What a reader may be told: 503 where too many ask at once."""
REFUSED = {"check": 422}
"""What a kind of question is told besides: it names numbers that there are not."""

Ask = Callable[[httpx.Client, random.Random, int], httpx.Response]


def _question(chance: random.Random, revision: int) -> dict[str, Any]:
    fit = {"fit": chance.choice(FITS)}
    as_of = chance.choice([None, 1, max(1, revision - 3), revision])
    return {"vehicle": {"chassis": chance.choice(CHASSIS)}, "wishes": [fit], "as_of": as_of}


def _posted(path: str, **more: Any) -> Ask:
    return lambda client, chance, at: client.post(path, json=_question(chance, at) | more)


def _unknown(chance: random.Random, many: int) -> list[str]:
    return [f"ZZ-{chance.randrange(10**6)}" for _ in range(many)]


def _checked(client: httpx.Client, chance: random.Random, at: int) -> httpx.Response:
    return client.post("/v1/checks", json=_question(chance, at) | {"components": _unknown(chance, 20)})


def _check_page(client: httpx.Client, chance: random.Random, _at: int) -> httpx.Response:
    text = "\n".join(_unknown(chance, 200))
    return client.post("/check", data={"chassis": CHASSIS[0], "list": text}, files={}, follow_redirects=True)


def _compatible(client: httpx.Client, chance: random.Random, at: int) -> httpx.Response:
    numbers = [*_unknown(chance, 100), *FITS]
    questions = [{"component": number, "chassis": chance.choice(CHASSIS)} for number in numbers]
    return client.post("/v1/compatibility", json={"questions": questions, "as_of": max(1, at - 1)})


def _page(client: httpx.Client, chance: random.Random, at: int) -> httpx.Response:
    search = {"chassis": chance.choice(CHASSIS), "fit": chance.choice(FITS), "as_of": max(1, at - 2)}
    return client.get(chance.choice(["/answer", "/order", "/fitting", "/quotation", "/ask"]), params=search)


def _looked_up(client: httpx.Client, chance: random.Random, _at: int) -> httpx.Response:
    listed = ("/v1/components?number=QB-3310", "/v1/revisions", "/v1/exports", "/v1/flaws")
    return client.get(chance.choice((*listed, "/look-up?text=disc")))


READERS: dict[str, Ask] = {
    "closure": _posted("/v1/closures"),
    "why not": _posted("/v1/closures/why-not", component="QB-2012"),
    "what if": _posted("/v1/closures/what-if", other_vehicle={"chassis": CHASSIS[1]}),
    "order": _posted("/v1/orders"),
    "quotation": _posted("/v1/quotations", labour_rate="40.00"),
    "fitting sequence": _posted("/v1/fitting-sequences"),
    "check": _checked,
    "check page": _check_page,
    "compatibility": _compatible,
    "page": _page,
    "look-up": _looked_up,
}


class Loaded(NamedTuple):
    """A large sheet, tried or stored: its seconds, those of changes beside it, those waited for the lock."""

    components: int
    what: str
    status: int
    seconds: float
    changes: list[float]
    waits: list[float]

    def __str__(self) -> str:
        return (
            f"{self.components} components, {self.what}: {self.status} in {self.seconds:.1f} s;"
            f" {len(self.changes)} changes beside it, slowest {max(self.changes, default=0.0):.2f} s;"
            f" the writers' lock, slowest {max(self.waits, default=0.0):.2f} s"
        )


@dataclass
class Figures:
    """What was seen: each change with its seconds, how long the writers' lock was waited for each time
    somebody tried it, and how often each kind of reader asked."""

    changes: list[float] = field(default_factory=list)
    waits: list[float] = field(default_factory=list)
    asked: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    loads: list[Loaded] = field(default_factory=list)

    @property
    def slowest(self) -> float:
        """Seconds of the slowest change."""
        return max(self.changes, default=0.0)

    @property
    def well(self) -> bool:
        """Whether no change was slow, none refused, and every kind of reader was answered."""
        every = self.asked.keys() >= READERS.keys()
        return bool(self.changes) and self.slowest < LONGEST and not self.wrong and every

    def __str__(self) -> str:
        middle = sorted(self.changes)[len(self.changes) // 2] if self.changes else 0.0
        lines = [
            f"the writers' lock, tried {len(self.waits)} times: slowest {max(self.waits, default=0.0):.2f} s",
            f"{len(self.changes)} changes: middle {middle:.2f} s, slowest {self.slowest:.2f} s",
            "asked: " + ", ".join(f"{count} {kind}" for kind, count in sorted(self.asked.items())),
            *map(str, self.loads),
            *self.wrong[:20],
        ]
        return "\n".join(lines)


_ROUNDS = count()


class Beside:
    """One run against a served demo, which others may have run against before."""

    def __init__(self, served: Served, database: str, seed: int = 1) -> None:
        self._served, self._database, self._seed = served, database, seed
        self._ending, self._ended = threading.Event(), threading.Event()
        self._lock = threading.Lock()
        self._revision = 1
        self._round = next(_ROUNDS)
        """What a run writes differs from what those before it wrote: the same again changes nothing."""
        self.figures = Figures()

    def run(
        self, seconds: float, load: int = 0, *, writer: bool = True, readers: Iterable[str] = READERS
    ) -> Figures:
        """Readers, a writer and, with `load`, a sheet of so many components, tried and then stored."""
        threads = [threading.Thread(target=self._read, args=(kind, READERS[kind])) for kind in readers]
        threads += [threading.Thread(target=self._write)] if writer else []
        lock = threading.Thread(target=self._try_the_lock)
        for thread in (*threads, lock):
            thread.start()
        until = time.monotonic() + seconds
        if load:
            self._load(load)
        time.sleep(max(0.0, until - time.monotonic()))
        self._ending.set()
        for thread in threads:
            thread.join()
        self._ended.set()  # whoever asks last holds the lock last
        lock.join()
        self.figures.wrong += self._served.faults()
        return self.figures

    def _read(self, kind: str, ask: Ask) -> None:
        chance = random.Random(f"{self._seed} {kind}")
        with self._served.client(headers={}) as client:
            while not self._ending.is_set():
                try:
                    answer = ask(client, chance, self._revision)
                except httpx.HTTPError as error:
                    with self._lock:
                        self.figures.wrong.append(f"{kind}: {error!r}")
                    continue
                with self._lock:
                    self.figures.asked[kind] += 1
                    if answer.status_code not in (*ANSWERED, REFUSED.get(kind)):
                        self.figures.wrong.append(f"{kind}: {answer.status_code} {answer.text[:200]}")

    def _write(self) -> None:
        with self._served.client() as client:
            number = self._round * 10_000
            while not self._ending.is_set():
                number += 1
                for change in (_dearer, _build, _sheet):
                    begun = time.monotonic()
                    answer = change(client, number)
                    self.figures.changes.append(time.monotonic() - begun)
                    if answer.status_code not in (200, 201):
                        self.figures.wrong.append(f"change: {answer.status_code} {answer.text[:200]}")
                    self._revision = answer.json().get("catalogue_revision") or self._revision
                time.sleep(0.1)

    def _try_the_lock(self) -> None:
        """Take what an editor takes, from beside the service, and let go at once."""
        with opened(self._database) as engine:
            while not self._ended.is_set():
                begun = time.monotonic()
                with writing(engine) as session:
                    wait_for_editors(session.connection())
                self.figures.waits.append(time.monotonic() - begun)
                time.sleep(0.05)

    def _load(self, components: int) -> None:
        with self._served.client(timeout=1_200) as client:
            for tried in ("true", "false"):
                begun, figures = time.monotonic(), self.figures
                changes, waits = len(figures.changes), len(figures.waits)
                answer = client.post(
                    f"/v1/imports?dry_run={tried}",
                    content=large_sheet(components, f"{12 + self._round}.00").read().encode(),
                    headers={"Content-Type": "text/csv"},
                )
                seconds, what = time.monotonic() - begun, f"dry_run={tried}"
                beside = figures.changes[changes:], figures.waits[waits:]
                figures.loads.append(Loaded(components, what, answer.status_code, seconds, *beside))
                if answer.status_code != 200:
                    self.figures.wrong.append(answer.text[:200])


def _dearer(client: httpx.Client, number: int) -> httpx.Response:
    path = "/v1/records/component/QB-3310"
    held = client.get(path)
    rows = [held.json()["rows"][0] | {"price": f"{100 + number % 900}.00"}]
    return client.put(path, json={"rows": rows}, headers={"If-Match": held.headers["etag"]})


def _build(client: httpx.Client, number: int) -> httpx.Response:
    return client.post("/v1/builds", json={"name": f"beside-{number}", "chassis": CHASSIS[0]})


def _sheet(client: httpx.Client, number: int) -> httpx.Response:
    text = f"[component]\nnumber,name,section,origin\nBS-{number},bracket,brakes,modern\n"
    return client.post("/v1/imports", content=text, headers={"Content-Type": "text/csv"})


@contextmanager
def beside_a_demo(engine: str, seed: int) -> Iterator[Beside]:
    """A run against a service on a demo of its own."""
    with databases_of(engine) as databases:
        url = loaded_demo(databases.new())
        with serve(url, **AS_IT_COMES) as served:
            yield Beside(served, url, seed)


def main(arguments: list[str]) -> int:
    """One run; 1 when something is not as it must be."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--minutes", type=float, default=4.0)
    parser.add_argument("--engine", choices=ENGINES, default="sqlite")
    parser.add_argument("--load", type=int, default=0, help="components of a large sheet, loaded beside")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    with beside_a_demo(asked.engine, asked.seed) as beside:
        figures = beside.run(60 * asked.minutes, asked.load)
    print(f"{asked.engine}, {asked.minutes:g} minutes, seed {asked.seed}; the machine's load was"
          f" {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")  # fmt: skip
    print(figures)
    return 0 if figures.well else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
