"""The effect of an edit on a small catalogue: what was looked at, what was not, and finishing it later."""

import re
import threading
import time
from collections.abc import AsyncIterator, Iterator
from typing import Any

import anyio
import httpx
import pytest

from graftbook.catalogue.loading.imports import load
from graftbook.database import writing
from graftbook.editing import effect
from graftbook.process import background
from graftbook.process.background import Background, BackgroundJob, JobState
from tests.catalogue.sheet import small
from tests.conftest import application
from tests.pages.test_edit import OWN, Editor, editor_of, text_of, token_in

pytestmark = pytest.mark.anyio

ASKED = [f"/answer?chassis={chassis}&fit=TW-9" for chassis in ("2L-0700", "2L-0701", "2L-0600")]
WHEEL = "/edit/component/TW-9"


@pytest.fixture
def app(sqlite_databases: Any) -> Iterator[Any]:
    """The application on the small catalogue."""
    unpriced = "TW-9,disc wheel,wheels,modern,current,,"
    priced = small((unpriced, unpriced[:-1] + "13.00,"))
    with application(sqlite_databases.new()) as app:
        assert load(app.state.service.engine, priced, who="tests", why="the small catalogue").ok
        yield app


@pytest.fixture
async def editor(app: Any) -> AsyncIterator[Editor]:
    """An editor of the small catalogue, to which three questions were asked lately."""
    async with editor_of(app) as editor:
        for address in ASKED:
            assert "TW-9" in (await editor.get(address)).text
        yield editor


async def dearer(editor: Editor) -> httpx.Response:
    form = await editor.form(WHEEL)
    return await editor.post(WHEEL, {**form, "head.price": "14.00", "do": "effect"})


def job_in(page: httpx.Response) -> str:
    found = re.search(r'href="(/edit/effect/[\w-]+)" target', page.text)
    assert found, text_of(page)
    return found[1]


async def finished(editor: Editor, address: str) -> httpx.Response:
    for _ in range(200):
        page = await editor.get(address)
        if 'http-equiv="refresh"' not in page.text:
            return page
        await anyio.sleep(0.05)
    raise AssertionError("it does not end")


async def test_what_was_not_looked_at_is_said_and_not_called_unchanged(
    editor: Editor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(effect, "SECONDS_TO_ANSWER", 0.0)
    told = text_of(await dearer(editor))
    assert "0 of 3 questions looked at; 3 not looked at yet." in told
    assert "No change was found" not in told
    assert "No answer changes" not in told
    assert told.count("Asked lately: 2L-0") == 3, "those not looked at are named"


async def test_the_rest_is_finished_in_the_background_and_its_page_looks_again_by_itself(
    editor: Editor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(effect, "SECONDS_TO_ANSWER", 0.0)
    go_on = threading.Event()
    really = effect._compare_one
    monkeypatch.setattr(effect, "_compare_one", lambda *given: go_on.wait(20) and really(*given))
    address = job_in(await dearer(editor))
    begun = await editor.get(address)
    assert "0 of 3 questions looked at." in text_of(begun)
    assert '<meta http-equiv="refresh"' in begun.text
    assert f'<a href="{address}">Look again</a>' in begun.text
    with writing(editor.app.state.service.engine) as session:
        session.connection().exec_driver_sql("UPDATE component SET note = note")  # nobody holds the writer
    go_on.set()
    ended = text_of(await finished(editor, address))
    assert "The effect of an edit: component TW-9" in ended
    assert "Finished: 3 of 3 questions looked at." in ended
    assert "3 answers change. 3 of 3 questions looked at." in ended
    assert "The parts of 3 answers cost more." in ended
    assert ended.count("with the edit, 2.00 more than today.") == 3, ended
    assert str(editor.rows("component", "TW-9")[0]["price"]) == "13.00", "the edit itself was undone"


async def test_it_can_be_stopped_and_belongs_to_the_browser_that_began_it(
    editor: Editor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(effect, "SECONDS_TO_ANSWER", 0.0)
    go_on = threading.Event()
    really = effect._compare_one
    monkeypatch.setattr(effect, "_compare_one", lambda *given: go_on.wait(20) and really(*given))
    address = job_in(await dearer(editor))
    async with editor_of(editor.app) as somebody_else:
        theirs = await somebody_else.get(address)
        assert (theirs.status_code, "Nothing is known here" in theirs.text) == (404, True)
        token = token_in((await somebody_else.get("/edit")).text)
        await somebody_else.post(f"{address}/stop", {"form_token": token})
    assert 'http-equiv="refresh"' in (await editor.get(address)).text, "nobody else stops it"
    stopped = editor.client.post(f"{address}/stop", data={"form_token": await editor.token()}, headers=OWN)
    assert (await stopped).status_code == 200
    go_on.set()
    ended = text_of(await finished(editor, address))
    assert re.search(r"Stopped: [01] of 3 questions looked at\.", ended), ended
    assert "not looked at." in ended


async def test_why_an_answer_is_not_decided_is_said(editor: Editor, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(effect, "SECONDS_A_QUESTION", 1e-9)
    monkeypatch.setattr(effect, "SECONDS_A_QUESTION_LATER", 1e-9)
    told = text_of(await dearer(editor))
    assert "0 of 3 questions looked at; 3 not decided in time." in told
    assert "Today's answer was not proved in time." in told
    assert "The answer with the edit was not proved in time." in told


async def test_all_looked_at_and_nothing_different_is_one_plain_sentence(editor: Editor) -> None:
    form = await editor.form(WHEEL)
    told = text_of(await editor.post(WHEEL, {**form, "head.note": "weighed again", "do": "effect"}))
    assert "No answer changes. 3 of 3 questions looked at; 3 keep their answer." in told
    assert "See how far it is" not in told


# The machinery -------------------------------------------------------------------------------------


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def until(true: Any) -> None:
    end = time.monotonic() + 60
    while not true():
        assert time.monotonic() < end
        time.sleep(0.005)


def test_one_thread_few_jobs_and_the_owners_earlier_one_gives_way() -> None:
    go_on, at_work = threading.Event(), []

    def work(job: BackgroundJob) -> None:
        at_work.append(threading.current_thread().name)
        go_on.wait(10)

    jobs = Background()
    first = jobs.begin("one", None, work)
    until(lambda: at_work)
    waiting = [jobs.begin(f"other {n}", None, work) for n in range(background.MOST_WAITING)]
    assert all(waiting)
    assert jobs.begin("one too many", None, work) is None
    again = jobs.begin("other 0", None, work)
    assert again is not None, "the owner's earlier one gave its place up"
    assert waiting[0].state is JobState.stopped
    go_on.set()
    until(lambda: again.state is JobState.finished)
    assert first.state is JobState.finished
    assert len(at_work) == 1 + background.MOST_WAITING
    assert set(at_work) == {"background"}
    jobs.close()
    assert jobs.begin("late", None, work) is None


def test_a_job_is_forgotten_when_nobody_looks_and_shown_to_its_owner_only() -> None:
    clock, go_on = Clock(), threading.Event()
    jobs = Background(clock)
    job = jobs.begin("one", "found", lambda job: go_on.wait(10))
    clock.now = background.FORGOTTEN_AFTER - 1
    assert jobs.find(job.id, "two") is None
    assert jobs.find(job.id, "one") is job
    clock.now = 2 * background.FORGOTTEN_AFTER - 2
    assert jobs.find(job.id, "one") is job, "it was looked at"
    clock.now += background.FORGOTTEN_AFTER
    assert jobs.find(job.id, "one") is None
    assert job.to_stop
    go_on.set()
    jobs.close()


def test_what_breaks_off_is_told_and_the_next_is_done() -> None:
    jobs = Background()
    broken = jobs.begin("one", None, lambda job: 1 / 0)
    until(lambda: broken.state is JobState.failed)
    after = jobs.begin("two", None, lambda job: None)
    until(lambda: after.state is JobState.finished)
    jobs.close()


def test_never_more_are_kept_than_may_be() -> None:
    jobs = Background()
    made = []
    for number in range(background.MOST_JOBS + 5):
        made.append(jobs.begin(f"owner {number}", None, lambda job: None))
        until(lambda: made[-1].state is JobState.finished)
    kept = [job for n, job in enumerate(made) if jobs.find(job.id, f"owner {n}")]
    assert kept == made[-background.MOST_JOBS :]
    jobs.close()


async def test_a_number_that_can_be_bought_no_more_is_a_candidate_lost(editor: Editor) -> None:
    form = await editor.form(WHEEL)
    gone = {**form, "head.supply": "no longer supplied", "do": "effect"}
    told = text_of(await editor.post(WHEEL, gone))
    assert "Wheel, left: loses 1 (TW-9) Wheel, right: loses 1 (TW-9)" in " ".join(told.split())
