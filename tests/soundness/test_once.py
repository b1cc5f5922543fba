"""Idempotency-Key: one effect and one answer, however often, from wherever, and after whatever crash.

As the large payment APIs do it (common practice; from memory also the IETF draft
"The Idempotency-Key HTTP Header Field": 409 for a request still at work, 422 for another body).
"""

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from itertools import count as count_from
from typing import Any

import httpx
import pytest
from sqlalchemy import Engine, func, insert, select, update
from starlette.requests import Request

from graftbook.access.principal import Principal
from graftbook.access.scopes import Scope
from graftbook.builds import service as builds
from graftbook.builds.schemas import SpecificationIn
from graftbook.database import writing
from graftbook.idempotency.header import once_of
from graftbook.idempotency.service import (
    EACH_TIME,
    FORGOTTEN_AT_ONCE,
    AnsweredBefore,
    Once,
    StoredAnswer,
    forget,
)
from graftbook.idempotency.tables import AnsweredOnceRow
from graftbook.problems import AlreadyExists, KeyUsedOtherwise, StillAtWork
from tests.conftest import application
from tests.soundness.server import Served, serve

KEPT = AnsweredOnceRow.__table__
Keyed = Callable[..., dict[str, str]]
_NUMBERS = count_from(1)
CSV = {"Content-Type": "text/csv"}


@pytest.fixture(scope="module")
def shared(databases: Any, untouched_demo_url: str) -> Iterator[Served]:
    """One service for all tests that need no crash; each works under names of its own."""
    with serve(databases.copy(untouched_demo_url)) as served:
        yield served


@pytest.fixture
def client(shared: Served) -> Iterator[httpx.Client]:
    with shared.client() as client:
        yield client


@pytest.fixture
def name() -> str:
    """A name for builds, sections and keys that no other test uses."""
    return f"name-{next(_NUMBERS)}"


@pytest.fixture
def build(name: str) -> dict[str, str]:
    return {"name": name, "chassis": "24PL-018412"}


@pytest.fixture
def keyed(name: str) -> Keyed:
    """The headers of a request under a key: `keyed("one")`."""
    return lambda key, **more: {"Idempotency-Key": f"{name} {key}", **more}


@pytest.fixture
def section(name: str) -> str:
    return f"[section]\nname,title,order\n{name},Upholstery,99\n"


def test_the_same_request_is_answered_as_the_first_time(
    client: httpx.Client, build: dict[str, str], keyed: Keyed
):
    first = client.post("/v1/builds", json=build, headers=keyed("one"))
    again = client.post("/v1/builds", json=build, headers=keyed("one"))
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.content == again.content
    for header in ("etag", "location", "content-type"):
        assert first.headers[header] == again.headers[header]
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert first.headers["x-request-id"] != again.headers["x-request-id"]
    assert client.post("/v1/builds", json=build, headers=keyed("two")).status_code == 409
    assert client.post("/v1/builds", json=build).status_code == 409


def test_an_answer_comes_again_even_when_the_request_would_not_pass_any_more(
    client: httpx.Client, name: str, build: dict[str, str], keyed: Keyed
):
    """The build was changed since, and its name is taken: the answer is that of the effect."""
    first = client.post("/v1/builds", json=build, headers=keyed("one"))
    client.delete(f"/v1/builds/{name}", headers={"If-Match": first.headers["etag"]})
    again = client.post("/v1/builds", json=build, headers=keyed("one"))
    assert (again.status_code, again.content) == (201, first.content)
    assert client.get(f"/v1/builds/{name}").status_code == 404


def test_another_request_under_the_key_is_refused(
    client: httpx.Client, name: str, build: dict[str, str], section: str, keyed: Keyed
):
    assert client.post("/v1/builds", json=build, headers=keyed("one")).status_code == 201
    others = [
        client.post("/v1/builds", json=build | {"note": "x"}, headers=keyed("one")),
        client.post("/v1/specifications", json={"name": name, "title": "A"}, headers=keyed("one")),
        client.post("/v1/imports", content=section, headers=keyed("one", **CSV)),
        client.post("/v1/imports?dry_run=true", content=section, headers=keyed("one", **CSV)),
    ]
    assert [(o.status_code, o.json()["type"]) for o in others] == [
        (422, "/problems/idempotency-key-used")
    ] * 4
    assert client.get(f"/v1/specifications/{name}").status_code == 404


def test_one_key_and_one_body_to_two_addresses_are_two_requests(
    client: httpx.Client, name: str, section: str, keyed: Keyed
):
    """Sending the blue list under the key of the red one is refused, and the blue list stays a draft."""
    body = {
        "vehicle": {"chassis": "24PL-018412"},
        "wishes": [{"fit": "QB-3310"}],
        "deadline_seconds": 30.0,
    }
    etags = []
    for colour in ("red", "blue"):
        made = client.post("/v1/order-lists", json=body | {"name": f"{name}-{colour}"})
        assert made.status_code == 201, made.text
        etags.append(made.headers["etag"])
    red = client.post(f"/v1/order-lists/{name}-red/send", headers=keyed("send", **{"If-Match": etags[0]}))
    assert (red.status_code, red.json()["state"]) == (200, "sent")
    blue = client.post(f"/v1/order-lists/{name}-blue/send", headers=keyed("send", **{"If-Match": etags[1]}))
    assert (blue.status_code, blue.json()["type"]) == (422, "/problems/idempotency-key-used")
    assert client.get(f"/v1/order-lists/{name}-blue").json()["state"] == "draft"
    sheets = {"headers": keyed("sheet", **CSV), "content": section}
    assert client.post("/v1/imports?why=first", **sheets).status_code == 200
    for query in ("?dry_run=true&why=first", "?why=second", ""):
        other = client.post(f"/v1/imports{query}", **sheets)
        assert (other.status_code, other.json()["type"]) == (422, "/problems/idempotency-key-used"), query
    assert client.post("/v1/imports?why=first", **sheets).headers["idempotency-replayed"] == "true"


def test_each_key_of_access_has_idempotency_keys_of_its_own(
    client: httpx.Client, name: str, build: dict[str, str], keyed: Keyed
):
    made = client.post("/v1/keys", json={"label": "another house", "scope": "edit"})
    other = {"Authorization": f"Bearer {made.json()['key']}"}
    assert client.post("/v1/builds", json=build, headers=keyed("one")).status_code == 201
    blue = build | {"name": f"{name}-blue"}
    answer = client.post("/v1/builds", json=blue, headers=keyed("one", **other))
    assert answer.status_code == 201, answer.text
    assert "idempotency-replayed" not in answer.headers


def test_an_import_is_one_edit(client: httpx.Client, section: str, keyed: Keyed):
    def send() -> httpx.Response:
        return client.post("/v1/imports", content=section, headers=keyed("sheet", **CSV))

    before = client.get("/readyz").json()["catalogue_revision"]
    first, again = send(), send()
    assert first.json()["catalogue_revision"] == before + 1
    assert first.content == again.content
    assert again.headers["idempotency-replayed"] == "true"
    taken = f"/v1/revisions/{before + 1}/take-back"
    back = [client.post(taken, headers=keyed("back")) for _ in range(2)]
    assert [b.status_code for b in back] == [200, 200], back[0].text
    assert back[0].content == back[1].content
    assert client.get("/readyz").json()["catalogue_revision"] == before + 2


def test_a_request_that_failed_may_be_sent_again(
    client: httpx.Client, name: str, build: dict[str, str], section: str, keyed: Keyed
):
    wrong = "[section]\nname,title,order\nupholstery,Upholstery,many\n"
    assert client.post("/v1/imports", content=wrong, headers=keyed("one", **CSV)).status_code == 422
    assert client.post("/v1/builds", json={"name": name}, headers=keyed("one")).status_code == 422
    unknown = build | {"chassis": "ZZ-1"}
    assert client.post("/v1/builds", json=unknown, headers=keyed("one")).status_code == 422
    dry = client.post("/v1/imports?dry_run=true", content=section, headers=keyed("one", **CSV))
    assert dry.status_code == 200
    right = client.post("/v1/builds", json=build, headers=keyed("one"))
    assert (right.status_code, right.headers.get("idempotency-replayed")) == (201, None)


@pytest.mark.parametrize("key", ["", "x" * 256, "caf\u00e9", "a\tb"])
def test_a_key_is_1_to_255_printable_characters(
    client: httpx.Client, key: str, name: str, build: dict[str, str]
):
    answer = client.post("/v1/builds", json=build, headers=[("Idempotency-Key", key.encode("latin-1"))])
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/invalid-request")
    assert client.get(f"/v1/builds/{name}").status_code == 404
    longest = client.post("/v1/builds", json=build, headers={"Idempotency-Key": name.ljust(255, "~")})
    assert longest.status_code == 201


def test_of_many_at_once_in_two_processes_one_has_the_effect_and_its_end_changes_nothing(
    served: Served, own_demo_url: str, start: Callable[..., Served], build: dict[str, str], keyed: Keyed
):
    other = start(own_demo_url, key=served.key)
    begin = threading.Barrier(16)

    def send(number: int) -> httpx.Response:
        with (served, other)[number % 2].client() as client:
            begin.wait()
            for _ in range(50):
                answer = client.post("/v1/builds", json=build, headers=keyed("one"))
                if answer.status_code != 409:
                    return answer
                assert answer.json()["type"] == "/problems/still-at-work"
                assert int(answer.headers["retry-after"]) > 0
                time.sleep(0.05)
        raise AssertionError("it never ended")

    with ThreadPoolExecutor(16) as pool:
        answers = list(pool.map(send, range(16)))
    assert {a.status_code for a in answers} == {201}
    assert len({a.content for a in answers}) == 1
    assert sum("idempotency-replayed" not in a.headers for a in answers) == 1
    served.kill()
    with other.client() as client:
        again = client.post("/v1/builds", json=build, headers=keyed("one"))
    assert (again.status_code, again.content) == (201, answers[0].content)


def told(facts: Any) -> StoredAnswer:
    return StoredAnswer(201, {"Content-Type": "application/json"}, repr(facts).encode())


def once(key: str = "key", digest: str = "0" * 64) -> Once:
    return Once("principal", key, digest, told)


def make(engine: Engine, name: str, asked: Once = EACH_TIME) -> dict[str, Any]:
    return builds.create_specification(engine, name, SpecificationIn(title="A"), asked)


def count(engine: Engine) -> int:
    with engine.connect() as connection:
        return connection.execute(select(func.count()).select_from(KEPT)).scalar_one()


def test_what_is_at_work_elsewhere_is_waited_for_or_told(engine: Engine):
    """PostgreSQL says so at once; SQLite, which has one writer, waits and then finds the answer."""
    inside, go_on = threading.Event(), threading.Event()

    def slow() -> None:
        with writing(engine) as session:
            once().begin(session.connection())
            inside.set()
            go_on.wait(20)
            once().keep(session.connection(), "slow")

    worker = threading.Thread(target=slow)
    worker.start()
    inside.wait(20)
    if engine.dialect.name == "postgresql":
        with pytest.raises(StillAtWork), writing(engine) as session:
            once().begin(session.connection())
        with pytest.raises(StillAtWork):
            once().look(engine)
        make(engine, "of-another-key", once("other"))
    else:
        threading.Timer(0.3, go_on.set).start()
        with pytest.raises(AnsweredBefore), writing(engine) as session:
            once().begin(session.connection())
    go_on.set()
    worker.join()
    with pytest.raises(AnsweredBefore):
        once().look(engine)
    with pytest.raises(AnsweredBefore) as before:
        make(engine, "never", once())
    assert before.value.answer == StoredAnswer(201, {"Content-Type": "application/json"}, b"'slow'")


def test_what_is_answered_is_answered_while_the_same_is_asked_once_more(engine: Engine):
    """Of two that ask again at the same time neither is told that the other is at work."""
    make(engine, "house", once())
    with engine.connect() as connection:
        assert once()._first(connection)
        with pytest.raises(AnsweredBefore):
            once().look(engine)


def test_keys_are_known_apart_by_who_asks():
    who = [Principal(key, "", Scope.ORDER) for key in "ab"]
    asked = [Request({"type": "http", "state": {"principal": one}}) for one in who]
    assert [once_of(request, "key", "0").principal for request in asked] == ["a", "b"]
    assert once_of(Request({"type": "http", "state": {}}), "key", "0").principal == ""


def test_every_key_can_be_at_work(engine: Engine):
    """PostgreSQL knows a key at work by a signed number of 64 bits that is made of it."""
    with writing(engine) as session:
        for number in range(40):
            Once("tests", f"key {number}").begin(session.connection())


def test_the_answer_is_kept_with_the_effect_or_neither(engine: Engine):
    def fail(_facts: Any) -> StoredAnswer:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        make(engine, "house", once().told_by(fail))
    assert count(engine) == 0
    make(engine, "house", once())
    with pytest.raises(AlreadyExists):
        make(engine, "house", once("second"))
    assert count(engine) == 1
    with pytest.raises(KeyUsedOtherwise):
        make(engine, "other", once(digest="1" * 64))


def test_a_request_without_a_key_keeps_nothing(engine: Engine):
    make(engine, "house")
    assert count(engine) == 0


def test_after_a_day_the_key_is_as_good_as_new(engine: Engine):
    make(engine, "one", once())
    _age(engine, timedelta(hours=23, minutes=59))
    with pytest.raises(AnsweredBefore):
        make(engine, "two", once())
    _age(engine, timedelta(minutes=2))
    assert make(engine, "two", once(digest="2" * 64))["name"] == "two"
    assert count(engine) == 1


def test_old_answers_go_a_bounded_number_at_a_time(engine: Engine):
    old = datetime.now(UTC) - timedelta(days=3)
    row = {"principal": "p", "digest": "0" * 64, "status": 201, "headers": "{}", "body": b"", "at": old}
    with engine.begin() as connection:
        connection.execute(insert(KEPT), [row | {"key": f"k{i}"} for i in range(2 * FORGOTTEN_AT_ONCE + 5)])
    make(engine, "one", once())
    assert count(engine) == FORGOTTEN_AT_ONCE + 6
    with writing(engine) as session:
        young = datetime.now(UTC) - timedelta(hours=24)
        taken = [forget(session.connection(), young) for _ in range(3)]
    assert taken == [FORGOTTEN_AT_ONCE, 5, 0]
    assert count(engine) == 1


def _age(engine: Engine, by: timedelta) -> None:
    with writing(engine) as session:
        connection = session.connection()
        for row in connection.execute(select(KEPT)).all():
            older = update(KEPT).where(KEPT.c.key == row.key).values(at=row.at - by)
            connection.execute(older)


def test_every_post_that_changes_something_takes_the_header(tmp_path: Any):
    """But what needs If-Match, which a second one could not pass, what answers with a secret that must not be
    kept anywhere, what is there already when it comes again (a picture, a report), what only tries a change
    and undoes it, and what says the same twice: send again from here."""
    with application(f"sqlite:///{tmp_path / 'x.sqlite3'}") as app:
        paths = app.openapi()["paths"]
    changing, taking, guarded = set(), set(), set()
    for path, item in paths.items():
        post = item.get("post", {})
        scopes = {scope for needed in post.get("security", []) for scope in needed.get("key", [])}
        if scopes & {"order", "edit", "administer"}:
            changing.add(path)
        headers = {p["name"].lower() for p in post.get("parameters", [])}
        if "if-match" in headers:
            guarded.add(path)
        if "idempotency-key" in headers:
            taking.add(path)
            assert {"409", "422"} <= post["responses"].keys()
    assert taking >= {"/v1/builds", "/v1/specifications", "/v1/imports"}
    assert changing - taking - guarded == {
        "/v1/keys",
        "/v1/pictures/of/{kind}/{name}",
        "/v1/proposals/{number}/effect",
        "/v1/reports",
        "/v1/webhooks",
        "/v1/webhooks/{id}/secret",
        "/v1/webhooks/{id}/send-again",
    }
