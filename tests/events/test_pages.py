"""The pages of webhooks, as an administrator uses them without script."""

import re
from collections.abc import AsyncIterator

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from graftbook.events.delivering import next_parcel, note, take
from graftbook.events.sending import Answered
from tests.access.conftest import signed_in
from tests.events.conftest import build_made

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]
HTML = {"Accept": "text/html"}
OWN = {"Origin": "http://127.0.0.1"}


@pytest.fixture
async def browser(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    async with signed_in(app, "administer") as browser:
        browser.headers.update(HTML)
        yield browser


def hidden(text: str) -> dict[str, str]:
    """The hidden fields of a page's forms: the token, the ETag."""
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', text))


def plain(answer: httpx.Response) -> str:
    """A page with plain blanks."""
    return answer.text.replace("\u00a0", " ")


async def pressed(browser: httpx.AsyncClient, address: str, **fields: str) -> httpx.Response:
    """A form of the page sent, with what is hidden in it."""
    page = await browser.get(address)
    etag = hidden(page.text).get("etag", "").replace("&#34;", '"')
    form = {**hidden(page.text), "etag": etag, "next": "", **fields}
    return await browser.post(address, data=form, headers=OWN, follow_redirects=True)


async def test_one_is_made_paused_changed_and_removed(browser: httpx.AsyncClient):
    page = await browser.get("/webhooks")
    assert "No program is called yet" in page.text
    made = await pressed(
        browser, "/webhooks", url="https://stock.example/hook", note="stock", **{"order_list.sent": "yes"}
    )
    assert made.status_code == 200
    (secret,) = re.findall(r"whsec_[A-Za-z0-9+/=]+", made.text)
    assert made.headers["cache-control"] == "no-store"
    listed = (await browser.get("/webhooks")).text
    assert "order_list.sent</td>" in listed
    (address,) = re.findall(r'href="(/webhooks/wh_\w+)"', listed)
    shown = (await browser.get(address)).text
    assert secret not in shown
    assert "whsec_" not in shown
    assert "Nothing waits" in shown
    paused = await pressed(browser, address, do="pause")
    assert ">paused<" in paused.text
    assert "order_list.sent" in paused.text
    changed = await pressed(browser, address, do="change", url="https://stock.example/other", note="stock")
    assert "https://stock.example/other" in changed.text
    assert ">paused<" in changed.text
    assert ">active<" in (await pressed(browser, address, do="activate")).text
    assert re.findall(r"whsec_\S+", (await pressed(browser, address, do="secret")).text) != [secret]
    assert "Another one ends it at once" in plain(await browser.get(address))
    refused = await pressed(browser, address, do="secret")
    assert (refused.status_code, re.findall(r"whsec_\S+", refused.text)) == (409, [])
    assert re.findall(r"whsec_\S+", (await pressed(browser, address, do="secret", end_old="yes")).text)
    gone = await pressed(browser, address, do="remove")
    assert "No program is called yet" in gone.text
    assert (await browser.get(address)).status_code == 404


async def test_a_page_with_a_secret_that_is_loaded_again_does_nothing_again(browser: httpx.AsyncClient):
    """A browser sends such a page's form anew: else a second webhook is made, and a receiver that was given
    the second secret of two is refused."""
    form = {"url": "https://stock.example/hook", "note": "stock"}
    await pressed(browser, "/webhooks", **form)
    again = await pressed(browser, "/webhooks", **form)
    assert again.status_code == 422
    assert "is called already" in plain(again)
    (address,) = re.findall(r'href="(/webhooks/wh_\w+)"', (await browser.get("/webhooks")).text)
    sent = hidden((await browser.get(address)).text)
    sent = {**sent, "etag": sent["etag"].replace("&#34;", '"'), "do": "secret"}
    first = await browser.post(address, data=sent, headers=OWN)
    assert re.findall(r"whsec_\S+", first.text)
    second = await browser.post(address, data=sent, headers=OWN)
    assert second.status_code == 412
    assert not re.findall(r"whsec_\S+", second.text)


async def test_what_is_mistyped_stays_typed_and_is_told(browser: httpx.AsyncClient):
    fields = {"url": "https://10.0.0.1/hook", "note": "<stock>", "build.created": "yes"}
    page = await pressed(browser, "/webhooks", **fields)
    assert page.status_code == 422
    assert "10.0.0.1 is no public address" in page.text
    assert 'value="https://10.0.0.1/hook"' in page.text
    assert "&lt;stock&gt;" in page.text
    assert 'name="build.created" value="yes" checked' in page.text


async def test_deliveries_are_shown_and_sent_again(
    browser: httpx.AsyncClient, house: httpx.AsyncClient, engine: Engine
):
    webhook = (await house.post("/v1/webhooks", json={"url": "http://127.0.0.1:9/"})).json()
    address = f"/webhooks/{webhook['id']}"
    for name in ("red", "blue"):
        await build_made(house, name)
    for status in (204, 500):
        take(engine, "mine", 10)
        parcel = next_parcel(engine, webhook["id"], "mine")
        assert parcel is not None
        note(engine, webhook["id"], "mine", parcel.number, Answered(status))
    page = plain(await browser.get(address))
    assert page.count("A build was stored") == 3, "two deliveries, and the form"
    assert "Answered 204" in page
    assert "red (" in page
    assert "Answered 500" in page
    assert "1 attempt at the next one failed" in page
    assert "1 event waits to be sent" in page
    assert '<span class="chip care">active, not getting through</span>' in page
    assert (
        '<span class="chip care">active, not getting through</span>' in (await browser.get("/webhooks")).text
    )
    tried = await pressed(browser, address, do="try")
    assert "failed" not in plain(tried)
    assert f'1 event waits to be sent. It is being tried. <a href="{address}">Look again</a>' in plain(tried)
    assert '<span class="chip good">active</span>' in tried.text
    again = await pressed(browser, address, do="again", since=webhook["cursor"])
    assert "2 events wait to be sent" in plain(again)
    wrong = await pressed(browser, address, do="again", since="nothing")
    assert (wrong.status_code, "Take the cursor" in wrong.text) == (400, True)
    late = await browser.post(
        address, data={**hidden(page), "etag": '"old"', "do": "pause"}, headers=OWN, follow_redirects=True
    )
    assert (late.status_code, "Somebody changed it" in late.text) == (412, True)


async def test_nobody_but_an_administrator_sees_them(app: FastAPI):
    async with signed_in(app, "edit") as editor:
        answer = await editor.get("/webhooks", headers=HTML)
        assert answer.status_code == 403
        assert "/webhooks" not in (await editor.get("/edit", headers=HTML)).text
    async with signed_in(app, "administer") as administrator:
        assert 'href="/webhooks"' in (await administrator.get("/edit", headers=HTML)).text
        answer = await administrator.post("/webhooks", data={"url": "https://stock.example/"}, headers=OWN)
        assert answer.status_code == 403, "without the form's token"
