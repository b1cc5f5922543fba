"""Many editors and askers at once, over several processes on one database, and what must be true afterwards.

Every editor writes a token of its own into what it changes, so the end shows which changes are there.
Every import gives a pair of brakes one mark, in two names and two prices; an answer that shows two
marks was made of two revisions.
"""

import hashlib
import random
import re
import tempfile
import threading
from collections import Counter, defaultdict
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import httpx

from tests.soundness.server import Served, graftbook

QUESTION = {
    "vehicle": {"chassis": "24PL-018412"},
    "wishes": [{"fit": "QB-3310"}],
    "deadline_seconds": 30.0,
}
LEFT, RIGHT = "QB-3310", "QB-3311"
BUILDS = ("first", "second")
NOTE = "evidence/contest"
REFUSALS = (409, 412, 503)
_MARK = re.compile(r"mark (\d+)")


def component(number: str, mark: int, **changes: Any) -> dict[str, Any]:
    """The left or right brake as a record that carries a mark in its name and its price."""
    side, twin = ("left", RIGHT) if number == LEFT else ("right", LEFT)
    return {
        "record": "component", "number": number, "name": f"front brake caliper, {side}, mark {mark}",
        "section": "brakes", "origin": "later-model", "price": price_of(mark), "twin": twin,
    } | changes  # fmt: skip


def price_of(mark: int) -> str:
    """The price that goes with a mark."""
    return f"{148 + mark // 100}.{mark % 100:02d}"


class Contest:
    """`threads` editors and askers, `rounds` doings each, spread over the services by chance."""

    def __init__(self, services: list[Served], database: str, threads: int, rounds: int, seed: int) -> None:
        self.services, self.database = services, database
        self.threads, self.rounds, self.seed = threads, rounds, seed
        self.lock = threading.Lock()
        self.marks, self.numbers = count(1), count(1)
        self.statuses: Counter[tuple[str, int]] = Counter()
        self.accepted: dict[str, list[str]] = defaultdict(list)
        self.refused: dict[str, list[str]] = defaultdict(list)
        self.edits: dict[int, int | tuple[str, int]] = {}
        self.never: set[int] = set()
        self.bodies: dict[tuple[str, str], str] = {}
        self.repeated: list[tuple[str, str]] = []
        self.answers: list[tuple[int, frozenset[int]]] = []
        self.faults: list[str] = []

    def prepare(self) -> None:
        """What the editors will compete for."""
        with self.services[0].client() as client:
            for name in BUILDS:
                self._must(client.post("/v1/builds", json={"name": name, "chassis": "24PL-018412"}), 201)
            wishes = [{"fit": "QB-3310"}]
            house = {"name": "house", "title": "House", "wishes": wishes, "note": ""}
            self._must(client.post("/v1/specifications", json=house), 201)
            records = [
                {"record": "evidence", "name": "contest", "grade": "measured", "reference": "bench"},
                component(LEFT, 0), component(RIGHT, 0),
            ]  # fmt: skip
            stored = self._must(client.post("/v1/imports", json=records), 200)
            self.first = stored.json()["catalogue_revision"]
            self.edits[self.first] = 0

    def run(self) -> None:
        """Everybody at once; raises what went wrong in any thread."""
        threads = [threading.Thread(target=self._work, args=(number,)) for number in range(self.threads)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert not self.faults, "\n".join(self.faults[:20])

    def load_by_command(self) -> None:
        """An editor at the command line, in a process of its own."""
        mark = next(self.marks)
        with tempfile.TemporaryDirectory() as folder:
            sheet = Path(folder) / "pair.csv"
            rows = [component(number, mark) for number in (LEFT, RIGHT)]
            columns = [name for name in rows[0] if name != "record"]
            lines = ["[component]", ",".join(columns)]
            lines += [",".join(f'"{row[name]}"' for name in columns) for row in rows]
            sheet.write_text("\n".join(lines), "utf-8")
            done = graftbook("load", str(sheet), database=self.database)
        with self.lock:
            if done.returncode == 0:
                self.edits[int(re.findall(r"revision (\d+)", done.stderr)[0])] = mark
            else:
                assert done.returncode == 3, done.stderr
                self.never.add(mark)

    # One doing each.

    def edit_build(self, client: httpx.Client, dice: random.Random) -> None:
        name = dice.choice(BUILDS)
        read = self._seen(client.get(f"/v1/builds/{name}"))
        token = self._token()
        body = {k: v for k, v in read.json().items() if k not in ("name", "version")}
        body["note"] += f" {token}"
        answer = client.put(f"/v1/builds/{name}", json=body, headers={"If-Match": read.headers["etag"]})
        self._count(f"builds/{name}", token, answer, 200)

    def edit_specification(self, client: httpx.Client, dice: random.Random) -> None:
        read = self._seen(client.get("/v1/specifications/house"))
        token = self._token()
        body = {"title": "House", "wishes": [{"fit": "QB-3310"}], "note": token}
        answer = client.put("/v1/specifications/house", json=body, headers={"If-Match": read.headers["etag"]})
        self._count("house", token, answer, 200)

    def edit_record(self, client: httpx.Client, dice: random.Random) -> None:
        read = self._seen(client.get(f"/v1/records/{NOTE}"))
        token = self._token()
        row = read.json()["rows"][0]
        row |= {"note": f"{row.get('note', '')} {token}", "fitted": row.get("fitted", 0) + 1}
        answer = client.put(
            f"/v1/records/{NOTE}", json={"rows": [row]}, headers={"If-Match": read.headers["etag"]}
        )
        if self._count("evidence", token, answer, 200):
            with self.lock:
                self.edits[answer.json()["catalogue_revision"]] = ("nothing", 0)

    def import_pair(self, client: httpx.Client, dice: random.Random) -> None:
        mark = next(self.marks)
        answer = client.post("/v1/imports", json=[component(LEFT, mark), component(RIGHT, mark)])
        if self._count("imports", str(mark), answer, 200):
            revision = answer.json()["catalogue_revision"]
            with self.lock:
                self.edits[revision] = mark
            self.ask(client, dice, at_least=revision)
            if dice.random() < 0.3:
                self.take_back(client, revision)
        else:
            self.never.add(mark)

    def take_back(self, client: httpx.Client, revision: int) -> None:
        answer = client.post(f"/v1/revisions/{revision}/take-back")
        if self._count("taken back", str(revision), answer, 200):
            with self.lock:
                self.edits[answer.json()["catalogue_revision"]] = ("taken back", revision)

    def import_in_vain(self, client: httpx.Client, dice: random.Random) -> None:
        mark = next(self.marks)
        self.never.add(mark)
        wrong = component(RIGHT, mark, section="no-such-section")
        records = [component(LEFT, mark), dice.choice([wrong, component(RIGHT, mark)])]
        dry = "?dry_run=true" if records[1]["section"] == "brakes" else ""
        answer = client.post(f"/v1/imports{dry}", json=records)
        self._status("import in vain", answer, 200 if dry else 422, 503)

    def ask(self, client: httpx.Client, dice: random.Random, at_least: int = 0) -> None:
        answer = self._seen(client.post("/v1/closures", json=QUESTION))
        if answer.status_code != 200:
            return
        document = answer.json()
        marks = marks_in(document)
        with self.lock:
            self.answers.append((document["catalogue_revision"], marks))
        assert document["catalogue_revision"] >= at_least, "what was stored was not seen by its editor"

    def look_up(self, client: httpx.Client, dice: random.Random) -> None:
        found = self._seen(client.get("/v1/components", params={"number": "QB-331"}))
        marks = {mark for line in found.json()["items"] for mark in _MARK.findall(line["name"])}
        assert len(marks) == 1, f"a list of two revisions: {marks}"

    def create(self, client: httpx.Client, dice: random.Random) -> None:
        name = f"new-{dice.randrange(self.rounds)}"
        token = self._token()
        body = {"name": name, "chassis": "24PL-018412", "note": token}
        self._count(f"builds/{name}", token, client.post("/v1/builds", json=body), 201)

    DOINGS: tuple[Callable[..., None], ...] = (
        edit_build, edit_build, edit_specification, edit_record, import_pair, import_in_vain, ask, ask,
        look_up, create,
    )  # fmt: skip

    def _work(self, number: int) -> None:
        dice = random.Random(f"{self.seed} {number}")
        # A connection that lay idle may be closed by the server just as a change is sent on it.
        short = httpx.Limits(keepalive_expiry=1)
        clients = [service.client(limits=short) for service in self.services]
        try:
            for _ in range(self.rounds):
                dice.choice(self.DOINGS)(self, dice.choice(clients), dice)
        except Exception as error:
            with self.lock:
                self.faults.append(f"{type(error).__name__}: {error}")
        finally:
            for client in clients:
                client.close()

    def _token(self) -> str:
        return f"t{next(self.numbers)}"

    def _must(self, answer: httpx.Response, status: int) -> httpx.Response:
        assert answer.status_code == status, answer.text
        return answer

    def _status(self, what: str, answer: httpx.Response, *allowed: int) -> None:
        with self.lock:
            self.statuses[what, answer.status_code] += 1
        assert answer.status_code in allowed, f"{what}: {answer.status_code} {answer.text[:500]}"
        if answer.status_code == 503:
            assert answer.headers["retry-after"]

    def _count(self, what: str, token: str, answer: httpx.Response, accepted: int) -> bool:
        self._status(what.split("/")[0], answer, accepted, *REFUSALS)
        done = answer.status_code == accepted
        with self.lock:
            (self.accepted if done else self.refused)[what].append(token)
        return done

    def _seen(self, answer: httpx.Response) -> httpx.Response:
        """Remember what an ETag stood for."""
        self._status("read", answer, 200)
        if "etag" in answer.headers:
            key = (str(answer.request.url.copy_with(host="any", port=None)), answer.headers["etag"])
            digest = hashlib.sha256(answer.content).hexdigest()
            with self.lock:
                if self.bodies.setdefault(key, digest) != digest:
                    self.repeated.append(key)
        return answer

    # What must be true afterwards.

    def judge(self) -> None:
        """Every accepted change is there once, no refused one is, every answer is of one revision."""
        assert not self.repeated, f"one ETag, two contents: {self.repeated[:3]}"
        with self.services[-1].client() as client:
            self._judge_builds(client)
            self._judge_specification(client)
            self._judge_evidence(client)
            self._judge_revisions(client)
            self._judge_answers(client)

    def _same(self, stored: list[str], what: str) -> None:
        accepted = Counter(self.accepted[what])
        lost, doubtful = accepted - Counter(stored), Counter(stored) - accepted
        refused = {token: token in self.refused[what] for token in doubtful}
        assert lost == doubtful == Counter(), f"{what}: lost {dict(lost)}; there, and refused: {refused}"

    def _judge_builds(self, client: httpx.Client) -> None:
        for what in {w for w in (*self.accepted, *self.refused) if w.startswith("builds/")}:
            build = self._must(client.get(f"/v1/{what}"), 200).json()
            self._same(build["note"].split(), what)
            born = 0 if what.removeprefix("builds/") in BUILDS else 1
            assert build["version"] == 1 + len(self.accepted[what]) - born

    def _judge_specification(self, client: httpx.Client) -> None:
        latest = client.get("/v1/specifications/house").json()["latest"]
        assert latest == 1 + len(self.accepted["house"])
        notes = [
            client.get(f"/v1/specifications/house?version={version}").json()["note"]
            for version in range(2, latest + 1)
        ]
        self._same(notes, "house")

    def _judge_evidence(self, client: httpx.Client) -> None:
        (row,) = client.get(f"/v1/records/{NOTE}").json()["rows"]
        self._same(row.get("note", "").split(), "evidence")
        assert row.get("fitted", 0) == len(self.accepted["evidence"])

    def _judge_revisions(self, client: httpx.Client) -> None:
        numbers, address = [], "/v1/revisions?limit=500"
        while address:
            page = client.get(address)
            numbers += [edit["revision"] for edit in page.json()["items"]]
            address = page.links.get("next", {}).get("url", "")
        assert numbers == list(range(numbers[0], 0, -1))
        assert sorted(self.edits) == list(range(self.first, numbers[0] + 1)), (
            "an edit that nobody was told of"
        )

    def states(self) -> dict[int, int]:
        """The mark that the pair of brakes had as of each revision."""
        states: dict[int, int] = {}
        for revision in sorted(self.edits):
            match self.edits[revision]:
                case ("taken back", number):
                    states[revision] = states[number - 1]
                case ("nothing", _):
                    states[revision] = states[revision - 1]
                case mark:
                    states[revision] = mark
        return states

    def _judge_answers(self, client: httpx.Client) -> None:
        states = self.states()
        assert self.answers
        for revision, marks in self.answers:
            assert marks == {states[revision]}, f"as of {revision}: {marks}, stored {states[revision]}"
            assert not marks & self.never
        dice = random.Random(self.seed)
        for revision, marks in dice.sample(self.answers, min(4, len(self.answers))):
            again = self._must(client.post("/v1/closures", json=QUESTION | {"as_of": revision}), 200)
            assert marks_in(again.json()) == marks
        present = marks_in(client.post("/v1/closures", json=QUESTION).json())
        assert present == {states[max(states)]}


def marks_in(document: dict[str, Any]) -> frozenset[int]:
    """Every mark that shows in a closure: in the names and in the prices of both brakes."""
    pair = [change for change in document["set"]["changes"] if change["component"] in (LEFT, RIGHT)]
    assert len(pair) == 2
    marks = {int(mark) for mark in _MARK.findall(str(document["set"]))}
    for change in pair:
        (mark,) = (int(found) for found in _MARK.findall(change["name"]))
        assert change["price"] == price_of(mark), "a name and a price of two revisions"
    return frozenset(marks)
