"""Both clients on a running service, and on one that is killed while it is asked to change something."""

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from typing import Any

import httpx
import pytest

from graftbook.client import AsyncClient, Client, ProblemAnswer, Unreachable
from graftbook.client.attempts import Patience
from tests.soundness.server import Served, serve

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]

VAN = "24PL-018412"
PATIENT: Any = {"wishes": [{"fit": "QL-7075"}], "deadline_seconds": 30.0}


@pytest.fixture(scope="module")
def served(sqlite_databases: Any, sqlite_demo_url: str) -> Iterator[Served]:
    with serve(sqlite_databases.copy(sqlite_demo_url)) as running:
        yield running


class Watched(httpx.HTTPTransport):
    """A connection to the service that keeps what it answered."""

    def __init__(self) -> None:
        super().__init__()
        self.answers: list[httpx.Response] = []

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        self.answers.append(super().handle_request(request))
        return self.answers[-1]


def test_the_counter_s_day(served: Served):
    with Client(served.address, key=served.key, transport=(seen := Watched())) as shop:
        assert shop.ready()["status"] == "ready"
        answer = shop.closure(VAN, **PATIENT)
        assert answer["set"] is not None
        assert "QL-7075" in {change["component"] for change in answer["set"]["changes"]}
        brief = shop.closure_summary(VAN, **PATIENT)
        assert brief["set"] is not None
        assert brief["set"]["totals"] == answer["set"]["totals"]
        assert shop.fits("qb 3310", VAN)["number"] == "QB-3310"
        assert shop.check(VAN, ["QL-7075"])["catalogue_revision"] == answer["catalogue_revision"]
        assert shop.order_paper("pdf", VAN, wishes=[{"fit": "QL-7075"}]).startswith(b"%PDF")
        assert shop.vehicle(VAN)["variant"] == "24P-21-L"
        assert shop.search("front discs", chassis=VAN)["items"]
        severe = list(shop.flaws(at_least="severe", limit=5))
        assert len(severe) > 5, "more than a page"
        assert len({flaw["name"] for flaw in severe}) == len(severe)

        first, again = shop.component("QB-3310"), shop.component("QB-3310")
        assert first == again
        assert [seen.answers[n].status_code for n in (-2, -1)] == [200, 304]


def test_what_is_wrong_is_a_problem_document(served: Served):
    with Client(served.address, key=served.key) as shop:
        with pytest.raises(ProblemAnswer, match="QB-331") as told:
            shop.component("QB-331")
        assert (told.value.status, told.value.type) == (404, "/problems/unknown-component")
        assert told.value.near
        assert told.value.request_id
        with pytest.raises(ProblemAnswer) as told:
            shop.closure(VAN, wishes=[{"fit": "nonsuch"}])
        assert (told.value.status, told.value.pointer) == (422, "/wishes/0/fit")
    with Client(served.address, key="graftbook_wrong") as stranger, pytest.raises(ProblemAnswer) as told:
        stranger.create_build("blue-van", {"chassis": VAN})
    assert told.value.type == "/problems/key-needed"


def test_nobody_is_overwritten(served: Served):
    with Client(served.address, key=served.key) as one, Client(served.address, key=served.key) as other:
        one.create_build("shared", {"chassis": VAN})
        other.build("shared")
        assert one.replace_build("shared", {"chassis": VAN, "note": "one"})["version"] == 2
        with pytest.raises(ProblemAnswer) as told:
            other.replace_build("shared", {"chassis": VAN, "note": "other"})
        assert told.value.type == "/problems/changed-meanwhile"
        assert other.build("shared")["note"] == "one"
        assert other.replace_build("shared", {"chassis": VAN, "note": "both"})["version"] == 3
        with pytest.raises(ProblemAnswer) as told, Client(served.address, key=served.key) as blind:
            blind.delete_build("shared")
        assert told.value.type == "/problems/if-match-needed"
        other.delete_build("shared")


def test_as_of_a_revision_the_answer_is_that_of_then(served: Served):
    with Client(served.address, key=served.key) as shop:
        before = shop.closure(VAN, **PATIENT)
        record = shop.record("component", "QL-7075")
        price = {"price": "999.00"}
        assert shop.patch_record("component", "QL-7075", price, dry_run=True)["dry_run"]
        edit = shop.patch_record("component", "QL-7075", price, why="dearer")
        assert edit["catalogue_revision"] == before["catalogue_revision"] + 1
        now = shop.closure(VAN, **PATIENT)
        then = shop.closure(VAN, **PATIENT, as_of=before["catalogue_revision"])
        assert now != before == then
        shop.put_record("component", "QL-7075", record["rows"], why="back again")
        assert next(shop.record_history("component", "QL-7075"))["edit"]["why"] == "back again"


async def test_the_same_awaited(served: Served):
    async with AsyncClient(served.address, key=served.key) as shop:
        answer = await shop.closure(VAN, wishes=[{"fit": "QL-7075"}], deadline_seconds=30.0)
        assert answer["proved"]
        names = [flaw["name"] async for flaw in shop.flaws(at_least="severe", limit=5)]
        assert len(set(names)) == len(names) > 5
        made = await shop.create_build("awaited", {"chassis": VAN})
        assert await shop.build("awaited") == made
        await shop.delete_build("awaited")
        with pytest.raises(ProblemAnswer):
            await shop.build("awaited")


def test_what_changed_is_read_on_from_a_cursor_and_waited_for(served: Served):
    with Client(served.address, key=served.key) as shop:
        from_here = shop.events_page(since="now")["cursor"]
        for name in ("one", "two", "three"):
            shop.create_build(name, {"chassis": VAN})
        told = list(shop.events(since=from_here, limit=2))
        assert [one["data"]["name"] for one in told] == ["one", "two", "three"], "more than a page"
        assert [one["type"] for one in shop.events(since=from_here, kinds=["build.removed"])] == []
        with ThreadPoolExecutor() as others:
            others.submit(_later, served, "four")
            onward = shop.events(since=told[-1]["cursor"], wait=20)
            assert next(onward)["data"]["name"] == "four"
        assert shop.events_page(since="now")["items"] == []


def _later(served: Served, name: str) -> None:
    with Client(served.address, key=served.key) as other:
        time.sleep(0.5)
        other.create_build(name, {"chassis": VAN})


def test_what_workshops_found_and_what_is_proposed(served: Served):
    with Client(served.address, key=served.key) as shop:
        tried = {"chassis": VAN, "component": "QB-3310", "position": "brake.front.left"}
        sent = shop.report("North Road", "did not fit", **tried)
        assert sent["bears_on"]
        assert [one["name"] for one in shop.reports(workshop="North Road")] == [sent["name"]]
        claim = sent["bears_on"][0]["claim"]
        assert [one["contradicted"] for one in shop.grades(claim=claim)] == [True]

        (row,) = shop.record("component", "QB-3310")["rows"]
        dearer = {"record": "component", **row, "price": "777.00"}
        made = shop.propose("dearer from May", [dearer], once="proposal 1")
        assert shop.propose("dearer from May", [dearer], once="proposal 1") == made
        assert shop.proposal_effect(made["number"])["changed_records"] == 1
        told = shop.accept_proposals([made["number"]], "as they say")
        assert [one["state"] for one in shop.proposals()] == ["accepted"]
        revision = told["catalogue_revision"]
        assert revision is not None
        assert [one["name"] for one in shop.revision_changes(revision)] == ["QB-3310"]
        shop.take_back_revision(revision, why="a slip")
        assert shop.record("component", "QB-3310")["rows"] == [row]
        other = shop.propose("dearer from June", [dearer])
        assert shop.withdraw_proposal(other["number"])["proposals"][0]["state"] == "withdrawn"


def test_a_delivery_is_taken_back_and_papers_come_as_bytes(served: Served):
    with Client(served.address, key=served.key) as shop:
        made = shop.create_order_list("lamps", VAN, wishes=[{"fit": "QL-7075"}])
        shop.note_order_list("lamps", "before Easter")
        shop.send_order_list("lamps", incomplete=True)
        line = made["lines"][0]["line"]
        shop.receive_order_list("lamps", [{"line": line, "received": 1}])
        back = shop.take_back_booking("lamps", 1, "the wrong list")
        assert [one["received"] for one in back["lines"] if one["line"] == line] == [0]
        assert next(iter(shop.order_list_bookings("lamps")))["taken_back"]
        assert shop.order_list("lamps")["version"] == back["version"]
        assert shop.order_list_paper("lamps", "pdf").startswith(b"%PDF")
        counted = shop.count_stock(b"number,quantity,place\nQB-9001,4,drawer 14\n", once="Monday")
        assert counted["changed"] == 1
        assert shop.stock_of("QB-9001")["quantity"] == 4
        assert b"QB-9001,4,drawer 14" in shop.stock_sheet()
        shop.put_stock("QB-9001", 3)
        shop.empty_stock("QB-9001")


async def test_webhooks_flat_lists_and_what_stands_behind_them_awaited(served: Served):
    async with AsyncClient(served.address, key=served.key) as shop:
        made = await shop.create_webhook("https://stock.example/hook", kinds=["build.removed"])
        assert made["secret"]
        assert [one["id"] async for one in shop.webhooks()] == [made["id"]]
        read = await shop.webhook(made["id"])
        paused = await shop.change_webhook(made["id"], {"url": read["url"], "state": "paused"})
        assert (paused["state"], paused["version"]) == ("paused", read["version"] + 1)
        assert [one async for one in shop.webhook_deliveries(made["id"])] == []
        await shop.remove_webhook(made["id"])

        await shop.put_flat_list("works", {"columns": {"number": "No", "description": "What"}})
        await shop.put_flat_issue("works", b"No;What\nFL-1;filter\n", file="march.csv")
        issue = await shop.flat_issue("works")
        assert issue["numbers"] == 1
        if issue["question_count"]:
            await shop.decide_flat_list("works", {f"{issue['questions'][0]['kind']}:*": "engine"})
        assert (await shop.take_flat_issue("works", dry_run=True))["dry_run"]
        await shop.remove_flat_list("works")
        assert [one["kind"] async for one in shop.lint()]


async def test_nobody_there_is_told_as_that():
    nobody = "http://127.0.0.1:9"
    with Client(nobody, patience=Patience(seconds=0.2)) as shop, pytest.raises(Unreachable):
        shop.ready()
    async with AsyncClient(nobody, patience=Patience(seconds=0.2)) as later:
        with pytest.raises(Unreachable):
            await later.ready()


class Fragile(httpx.BaseTransport):
    """The way to a service that is killed once it has done what it was asked, before its answer comes; nobody
    is there at the next attempt, and then a service is started anew on the same database."""

    def __init__(self, database: str, services: ExitStack) -> None:
        self.database, self.services = database, services
        self.served = services.enter_context(serve(database))
        self.ways: list[str] = []
        self.armed = False

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        if self.served.process.returncode is not None:
            self.ways.append("nobody there" if "nobody there" not in self.ways else "started anew")
            if self.ways[-1] == "nobody there":
                raise httpx.ConnectError("refused", request=request)
            self.served = self.services.enter_context(serve(self.database, key=self.served.key))
        answer = self._of_service(request)
        if self.armed and request.method == "POST":
            self.armed = False
            self.ways.append(f"killed after {answer.status_code}")
            self.served.kill()
            raise httpx.ReadError("the connection ended", request=request)
        return answer

    def _of_service(self, request: httpx.Request) -> httpx.Response:
        with self.served.client() as client:
            answer = client.request(
                request.method, request.url.raw_path.decode(), content=request.read(), headers=request.headers
            )
        kept = [(n, v) for n, v in answer.headers.items() if n not in ("content-encoding", "content-length")]
        return httpx.Response(answer.status_code, headers=kept, content=answer.content)


def test_a_delivery_is_booked_once_though_the_service_is_killed_before_it_can_say_so(
    sqlite_databases: Any, sqlite_demo_url: str
):
    with ExitStack() as services:
        way = Fragile(sqlite_databases.copy(sqlite_demo_url), services)
        shop = services.enter_context(Client("http://shop", key=way.served.key, transport=way))
        made = shop.create_order_list("brakes", VAN, wishes=[{"fit": "QL-7075"}])
        shop.send_order_list("brakes", incomplete=True)
        line = made["lines"][0]
        way.armed = True
        booked = shop.receive_order_list(
            "brakes", [{"line": line["line"], "received": line["pieces"]}], delivery_note="L-1"
        )
        assert way.ways == ["killed after 200", "nobody there", "started anew"]
        came = next(one for one in booked["lines"] if one["line"] == line["line"])
        assert (came["received"], came["too_many"]) == (line["pieces"], 0)
        assert [one["delivery_note"] for one in shop.order_list_bookings("brakes")] == ["L-1"]
        assert shop.order_list("brakes")["version"] == booked["version"]
