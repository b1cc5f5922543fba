"""No answer takes more than half as long again as its deadline: `python -m tests.soundness.deadlines`.

A thousand questions of every kind, with deadlines from 1 ms to 10 s, to a real service on the demo range and
on catalogues made to be hard, one of them of 5,000 positions. Each is answered 200 or with a documented
problem. `--questions N` asks so many; `--processes 0` lets the service reason in itself.

How late an answer is, is counted beyond 1.5 times its deadline and the least that any answer may take
(`deadline.LEAST_SECONDS`). A look-up that needs no reasoning is asked beside all the time: what it takes at
worst is what this machine holds everybody up, and is told apart.
"""

import argparse
import json
import random
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx

from graftbook.catalogue.loading.imports import load
from graftbook.closure.search.deadline import LEAST_SECONDS, SHARE_TO_EXPLAIN
from graftbook.commands.demo import demo_sheets
from graftbook.database import make_engine, migrate
from tests.soundness.server import Served, serve
from tests.soundness.test_hostile_questions import tangle

SHORTEST, LONGEST = 0.001, 10.0
LARGE = 5_000
"""Positions of the largest catalogue."""
DEMO = ["24PL-018412", "24PR-012000", "16PR-005000", "32XL-012000"]
WISHES = [{"fit": n} for n in ("QB-3310", "QL-7075", "QW-3055", "QB-7093", "QB-2048")]
KINDS = {
    "/v1/closures": {"alternatives": 3},
    "/v1/closures/why-not": {"component": "QB-7050"},
    "/v1/closures/what-if": {"other_vehicle": {"chassis": "24PR-012000"}},
    "/v1/checks": {"components": ["QB-3310"]},
    "/v1/orders": {},
    "/v1/fitting-sequences": {"hands": 2},
    "/v1/quotations": {"labour_rate": "40.00"},
}


def large(positions: int = LARGE) -> Iterator[dict[str, Any]]:
    """A variant of so many positions more: a flawed original and two candidates in each, which ask
    for one another; invented data."""
    for_it = {"variants": ["LARGE"]}
    yield {
        "record": "variant", "name": "LARGE", "range": "quillan-forward", "title": "A large one",
        "generation": "one", "body": "one", "engine": "one", "drive": "rear",
        "steering": "left", "market": "home",
    }  # fmt: skip
    yield {
        "record": "chassis_span", "variant": "LARGE", "first": "LG-000001", "last": "LG-009999",
        "built_from": "1960-01-01", "built_to": "1969-12-31",
    }  # fmt: skip
    yield {"record": "section", "name": "l-section", "title": "Places of it", "order": 9_998}
    for p in range(positions):
        yield {
            "record": "position", "name": f"l{p}", "section": "l-section", "title": f"Place {p}", **for_it
        }  # fmt: skip
        for kind in range(3):
            number = f"L-{p}-{kind}"
            yield {
                "record": "component", "number": number, "name": "Clip", "section": "l-section",
                "origin": "modern", "price": f"{1 + (p * 7 + kind) % 90}.00",
            }  # fmt: skip
            yield {
                "record": "fitment", "component": number, "position": f"l{p}", "from_new": kind == 2, **for_it
            }  # fmt: skip
        yield {
            "record": "flaw", "name": f"l flaw {p}", "component": f"L-{p}-2", "severity": "severe",
            "symptom": "It breaks", **for_it,
        }  # fmt: skip
        yield {
            "record": "companion", "name": f"l {p}", "fit": f"L-{p}-0", "at": f"l{p}",
            "component": f"L-{(p + 7) % positions}-{p % 2}", "reason": "It needs one", **for_it,
        }  # fmt: skip


def questions(count: int, chance: random.Random) -> Iterator[tuple[str, dict[str, Any], float]]:
    """Address, body and deadline; deadlines evenly spread over their magnitudes."""
    for number in range(count):
        seconds = SHORTEST * (LONGEST / SHORTEST) ** chance.random()
        path = chance.choice(list(KINDS))
        body: dict[str, Any] = {"deadline_seconds": seconds} | KINDS[path]
        shape = chance.randrange(4)
        if shape == 0:  # the tangle, which no time is long enough for
            body |= {"vehicle": {"chassis": DEMO[0]}, "wishes": [{"remedy_all": "dangerous"}]}
        elif shape == 1 and path in ("/v1/closures", "/v1/orders", "/v1/fitting-sequences"):
            body |= {"vehicle": {"chassis": "LG-000500"}, "wishes": [{"remedy_all": "severe"}]}
        else:
            body |= {"vehicle": {"chassis": chance.choice(DEMO)}, "wishes": chance.sample(WISHES, 2)}
        yield path, body | {"limits": {"price_at_most": 900_000 - number}}, seconds


class Beside:
    """Looks one component up all the time; what that took at worst."""

    def __init__(self, served: Served) -> None:
        self.took: list[float] = []
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look_up, args=(served,))
        self._thread.start()

    def _look_up(self, served: Served) -> None:
        with served.client() as client:
            while not self._over.wait(0.02):
                began = time.monotonic()
                client.get("/v1/components/QB-3310").raise_for_status()
                self.took.append(time.monotonic() - began)

    def end(self) -> None:
        self._over.set()
        self._thread.join()


def _asked(client: httpx.Client, path: str, body: dict[str, Any]) -> tuple[httpx.Response, float]:
    began = time.monotonic()
    answer = client.post(path, json=body)
    return answer, time.monotonic() - began


def ask_all(served: Served, count: int, seed: int) -> bool:
    """Ask one after the other; whether each was in time, but for what held the look-ups up as well."""
    beside, lates, statuses = Beside(served), [], Counter[str]()
    with served.client(timeout=120) as client:
        for path, body, seconds in questions(count, random.Random(seed)):
            looked = len(beside.took)
            answer, took = _asked(client, path, body)
            held_up = max(beside.took[looked:], default=0.0)
            late = took - seconds * (1 + SHARE_TO_EXPLAIN) - LEAST_SECONDS
            statuses[_told(answer)] += 1
            lates.append((late, late - held_up, path, round(seconds, 4), _told(answer)))
    beside.end()
    return _judged(lates, statuses, beside.took, served)


def _told(answer: httpx.Response) -> str:
    document = answer.json()
    if answer.status_code == 200:
        return f"200 {document.get('outcome', '')}".strip()
    return f"{answer.status_code} {document['type']}"


def _judged(lates: list[Any], statuses: Counter[str], beside: list[float], served: Served) -> bool:
    lates.sort(reverse=True)
    print(f"{len(lates)} questions: {json.dumps(dict(sorted(statuses.items())))}")
    middle, most = statistics.median(beside) * 1000, max(beside) * 1000
    print(f"look-ups beside: median {middle:.0f} ms, most {most:.0f} ms")
    print(f"later than 1.5 times the deadline and {LEAST_SECONDS * 1000:.0f} ms: "
          f"{sum(late > 0 for late, *_ in lates)}, by {max(0.0, lates[0][0]):.2f} s at most; "
          f"more than the look-ups were held up: {sum(own > 0 for _, own, *_ in lates)}")  # fmt: skip
    for late, own, path, seconds, told in lates[:10]:
        print(f"  {late:+.2f} s ({own:+.2f} s) {path} within {seconds} s: {told}")
    wrong = [told for told in statuses if told.startswith("5") and not told.startswith("503")]
    faults = served.faults()
    print(*wrong, *faults[:10], sep="\n", end="\n" if wrong or faults else "")
    return not wrong and not faults and all(own <= 0 for _, own, *_ in lates)


def main() -> int:
    """Load, ask, judge."""
    parser = argparse.ArgumentParser(prog="python -m tests.soundness.deadlines")
    parser.add_argument("--questions", type=int, default=1_000)
    parser.add_argument("--processes", type=int, default=4)
    parser.add_argument("--positions", type=int, default=LARGE)
    parser.add_argument("--seed", type=int, default=412_012)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'deadlines.sqlite3'}"
        engine = make_engine(url)
        migrate(engine)
        report = load(engine, [demo_sheets(), tangle(240, 1022), list(large(asked.positions))])
        engine.dispose()
        if not report.ok:
            print(*report.mistakes[:5], sep="\n")
            return 2
        with serve(url, reasoning_processes=asked.processes, seconds_to_reason=None) as served:
            return 0 if ask_all(served, asked.questions, asked.seed) else 1


if __name__ == "__main__":
    sys.exit(main())
