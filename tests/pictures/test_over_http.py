"""Pictures over the API on both engines: attached, listed, shown as nothing but pictures, taken away."""

import hashlib
import threading
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from graftbook.backups.service import backup, restore
from graftbook.database import make_engine
from graftbook.pictures import service as pictures
from graftbook.pictures.image import kept_of
from graftbook.pictures.tables import MOST_OF_ONE
from graftbook.problems import InvalidRequest
from tests.conftest import application, client_of
from tests.pictures.drawn import SVG, photograph, sketch
from tests.soundness.databases import settings_of as settings

pytestmark = pytest.mark.anyio

OF_DISC = "/v1/pictures/of/component/QB-3302"
JPEG = {"Content-Type": "image/jpeg"}
PNG = {"Content-Type": "image/png"}


@pytest.fixture
def house(databases: Any, untouched_demo_url: str) -> Iterator[Engine]:
    engine = make_engine(databases.copy(untouched_demo_url))
    yield engine
    engine.dispose()


@pytest.fixture
def served(house: Engine) -> Iterator[FastAPI]:
    with application(house.url.render_as_string(hide_password=False)) as app:
        yield app


@pytest.fixture
async def editor(served: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(served, scope="edit") as client:
        yield client


async def test_a_picture_is_attached_listed_shown_and_taken_away(editor: httpx.AsyncClient):
    sent = photograph()
    answer = await editor.post(OF_DISC, params={"caption": " Seen from behind "}, content=sent, headers=JPEG)
    assert answer.status_code == 201, answer.text
    made = answer.json()
    assert (made["kind"], made["name"], made["caption"]) == ("component", "QB-3302", "Seen from behind")
    assert (made["media_type"], made["width"], made["height"]) == ("image/jpeg", 640, 480)
    assert made["who"].startswith("tests (")
    assert answer.headers["location"] == OF_DISC
    assert (await editor.get(OF_DISC)).json() == {"items": [made]}
    pixels = await editor.get(made["address"])
    assert hashlib.sha256(pixels.content).hexdigest() == made["digest"]
    assert made["address"] == f"/v1/pictures/{made['digest']}"
    assert len((await editor.get(made["small"])).content) < len(pixels.content)
    gone = f"{made['address']}/of/component/QB-3302"
    assert (await editor.delete(gone)).status_code == 204
    assert (await editor.get(OF_DISC)).json() == {"items": []}
    assert (await editor.get(made["address"])).status_code == 404
    assert (await editor.delete(gone)).status_code == 404


async def test_a_picture_is_served_as_nothing_but_a_picture(editor: httpx.AsyncClient):
    made = (await editor.post(OF_DISC, content=sketch(), headers=PNG)).json()
    answer = await editor.get(made["address"], headers={"Accept": "text/html"})
    assert answer.headers["content-type"] == "image/png"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in answer.headers["content-security-policy"]
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert "immutable" in answer.headers["cache-control"]
    assert "content-encoding" not in answer.headers
    again = await editor.get(made["address"], headers={"If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    small = await editor.get(made["small"], headers={"If-None-Match": answer.headers["etag"]})
    assert small.status_code == 200, "the small one is another picture"


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("content", "media_type", "status"),
    [
        (SVG, "image/svg+xml", 415),
        (SVG, "image/png", 415),
        (b"<html>", "text/html", 415),
        (b"", "image/jpeg", 415),
        (photograph(), "", 415),
        (b"\0" * 12_000_001, "image/jpeg", 413),
    ],
)
async def test_whatever_else_is_sent_is_refused(
    editor: httpx.AsyncClient, content: bytes, media_type: str, status: int
):
    answer = await editor.post(OF_DISC, content=content, headers={"Content-Type": media_type})
    assert answer.status_code == status, answer.text
    assert (await editor.get(OF_DISC)).json() == {"items": []}


@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/v1/pictures/of/component/NO-1", 404),
        ("/v1/pictures/of/build/no-such", 404),
        ("/v1/pictures/of/wheel/QB-3302", 422),
        (OF_DISC + "?caption=" + "x" * 201, 422),
        (OF_DISC + "?caption=%E2%80%AE", 422),
    ],
)
async def test_a_picture_is_of_something_that_there_is(editor: httpx.AsyncClient, path: str, status: int):
    answer = await editor.post(path, content=photograph(), headers=JPEG)
    assert answer.status_code == status, answer.text


@pytest.mark.one_engine
async def test_every_claim_can_have_one(editor: httpx.AsyncClient):
    rows = (await editor.get("/v1/components/QB-3302")).json()
    names = [("fitment", rows["fitments"][0]), ("companion", rows["needs"][0])]
    for kind, row in names:
        name = row.get("name") or f"{row['component']}@{row['position']}"
        answer = await editor.post(f"/v1/pictures/of/{kind}/{name}", content=sketch(), headers=PNG)
        assert answer.status_code == 201, (kind, row, answer.text)


async def test_the_same_picture_again_takes_the_new_words(editor: httpx.AsyncClient):
    first = await editor.post(OF_DISC, content=photograph(), headers=JPEG)
    again = await editor.post(OF_DISC + "?caption=better", content=photograph(), headers=JPEG)
    assert (first.status_code, again.status_code) == (201, 200)
    (only,) = (await editor.get(OF_DISC)).json()["items"]
    assert only["caption"] == "better"


async def test_the_same_picture_of_two_things_stays_with_the_other(editor: httpx.AsyncClient):
    made = (await editor.post(OF_DISC, content=photograph(), headers=JPEG)).json()
    await editor.post("/v1/pictures/of/component/QB-3310", content=photograph(), headers=JPEG)
    await editor.delete(f"{made['address']}/of/component/QB-3302")
    assert (await editor.get(made["address"])).status_code == 200


async def test_who_did_it_stands_in_the_trail(editor: httpx.AsyncClient, served: FastAPI):
    made = (await editor.post(OF_DISC, content=photograph(), headers=JPEG)).json()
    await editor.delete(f"{made['address']}/of/component/QB-3302")
    async with client_of(served, scope="administer") as administrator:
        events = (await administrator.get("/v1/audit")).json()["items"]
    done = {event["what"]: event for event in events}
    assert done[f"POST {OF_DISC}"]["outcome"] == "done"
    assert f"DELETE {made['address']}/of/component/QB-3302" in done


async def test_a_build_takes_its_pictures_with_it(editor: httpx.AsyncClient):
    """The next vehicle of that name is another one."""
    build = {"name": "red", "chassis": "24PL-018412"}
    made = await editor.post("/v1/builds", json=build)
    assert (
        await editor.post("/v1/pictures/of/build/red", content=photograph(), headers=JPEG)
    ).status_code == 201
    await editor.delete("/v1/builds/red", headers={"If-Match": made.headers["etag"]})
    await editor.post("/v1/builds", json=build)
    assert (await editor.get("/v1/pictures/of/build/red")).json() == {"items": []}


def shade(number: int) -> bytes:
    return photograph((40 + number, 40))


def test_there_is_an_end_also_when_several_attach_at_once(house: Engine):
    thing, outcomes = ("component", "QB-3302"), []

    def attach(number: int) -> None:
        try:
            outcomes.append(pictures.attach(house, thing, kept_of(shade(number)), "", "tests")[1])
        except InvalidRequest as problem:
            outcomes.append(problem.detail)

    threads = [threading.Thread(target=attach, args=(number,)) for number in range(MOST_OF_ONE + 3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert outcomes.count(True) == MOST_OF_ONE
    assert sum("12 pictures already" in str(outcome) for outcome in outcomes) == 3
    assert len(pictures.pictures_of(house, *thing)) == MOST_OF_ONE
    first = pictures.pictures_of(house, *thing)[0]
    pictures.take_away(house, thing, first["digest"])
    assert pictures.attach(house, thing, kept_of(shade(99)), "", "tests")[1], "there is room again"


def test_a_backup_holds_the_pictures(house: Engine, databases: Any, untouched_demo_url: str, tmp_path: Path):
    kept = kept_of(photograph())
    pictures.attach(house, ("component", "QB-3302"), kept, "the disc", "tests")
    url = house.url.render_as_string(hide_password=False)
    house.dispose()
    backup(settings(url), tmp_path / "copy")
    with_pictures = pictures.pictures_of(house, "component", "QB-3302")
    pictures.take_away(house, ("component", "QB-3302"), kept.digest)
    house.dispose()
    restore(settings(url), tmp_path / "copy", replace=True)
    assert pictures.pictures_of(house, "component", "QB-3302") == with_pictures
    assert pictures.pixels_of(house, kept.digest, "whole") == ("image/jpeg", kept.content)
