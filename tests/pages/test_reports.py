"""The pages of reports: sent by a form, refused in words, told on the component's page and beside a set."""

import httpx
import pytest

from tests.pages.conftest import BROWSER, text_of

pytestmark = pytest.mark.anyio

SENT = {
    "workshop": "Mill Lane", "on": "2026-03-02", "chassis": "24pl 18412", "component": "qb3310",
    "outcome": "did not fit", "measured": "piston_area 25.4 cm2", "note": "the hub fouls",
}  # fmt: skip


async def test_a_report_is_sent_by_the_form_and_told_where_it_counts(writer: httpx.AsyncClient) -> None:
    form = await writer.get("/report?component=QB-3310&chassis=24PL-018412", headers=BROWSER)
    assert 'value="24PL-018412"' in form.text
    assert '<option value="brake.front.left">front brake, left</option>' in form.text
    taken = text_of(await writer.post("/report", data=SENT, headers=BROWSER))
    assert "Thank you: the report is kept" in taken
    assert "from built and driven to measured" in taken
    told = text_of(await writer.get("/component/QB-3310", headers=BROWSER))
    assert "How far it is proved" in told
    assert "1 did not fit, by 1 workshop: that lowers it from built and driven to measured." in told
    listed = text_of(await writer.get("/reports", headers=BROWSER))
    assert "Claims in doubt" in listed
    assert "the hub fouls" in listed
    answer = text_of(
        await writer.get("/answer?chassis=24PL-018412&fit=QB-3310", headers=BROWSER, follow_redirects=True)
    )
    assert "Claims that a workshop found otherwise" in answer


async def test_a_part_of_two_places_is_asked_where_by_what_they_are_called(writer: httpx.AsyncClient) -> None:
    asked = await writer.post(
        "/report", data=SENT | {"component": "QW-3055", "measured": ""}, headers=BROWSER
    )
    assert asked.status_code == 422
    assert "it goes at road wheels (wheel.road), spare wheel (wheel.spare)" in text_of(asked)
    assert '<option value="wheel.spare">spare wheel</option>' in asked.text
    chosen = SENT | {"component": "QW-3055", "measured": "", "position": "wheel.spare"}
    assert "QW-3055 at the spare wheel" in text_of(await writer.post("/report", data=chosen, headers=BROWSER))


async def test_one_that_says_otherwise_has_a_way_to_the_one_there_is(writer: httpx.AsyncClient) -> None:
    await writer.post("/report", data=SENT, headers=BROWSER)
    again = await writer.post("/report", data=SENT | {"outcome": "fitted"}, headers=BROWSER)
    assert again.status_code == 409
    link = '<a href="/edit/report/Mill%20Lane%202026-03-02%2024PL-018412%20QB-3310%40brake.front.left">'
    assert link in again.text
    assert "/edit/" not in text_of(again), "nobody types an address of the program"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"chassis": "99ZZ-1"}, "no vehicle with the chassis number '99ZZ-1'"),
        ({"chassis": ""}, "Give the chassis number, or the name of the build"),
        ({"component": ""}, "Say what was fitted"),
        ({"component": "QQ-1"}, "QQ-1"),
        ({"outcome": ""}, "Outcome: A value is needed here."),
        ({"measured": "piston_aria 25 cm2"}, "'piston_aria'; did you mean 'piston_area'? "),
        ({"on": "yesterday"}, "day is written"),
        ({"note": "a\x07b"}, "cannot be stored"),
        ({"workshop": ""}, "Workshop: A value is needed here."),
        ({"claim": "QB-3310@brake.front.left/earlier"}, "Say what was fitted (`component`), or"),
    ],
)
async def test_what_cannot_be_reported_is_told_and_stays_in_the_form(
    writer: httpx.AsyncClient, changes: dict[str, str], words: str
) -> None:
    answer = await writer.post("/report", data=SENT | changes, headers=BROWSER)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert text_of(answer).count(words) == 1, "said once"
    assert 'value="24pl 18412"' in answer.text or "chassis" in changes
    assert (await writer.get("/v1/reports")).json()["items"] == []


async def test_a_range_without_reports_says_so(browser: httpx.AsyncClient) -> None:
    assert "Nobody has reported yet" in text_of(await browser.get("/reports"))
    assert "How far it is proved" not in text_of(await browser.get("/component/QB-3310"))


async def test_a_least_grade_is_chosen_on_the_bench(browser: httpx.AsyncClient) -> None:
    asked = "/answer?chassis=24PL-018412&remedy_all=moderate&evidence_at_least=measured"
    page = await browser.get(asked)
    assert '<option value="measured" selected>' in page.text
    assert "worth less than measured" in text_of(page)
