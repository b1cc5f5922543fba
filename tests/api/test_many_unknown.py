"""Lists of numbers that nobody has: told at once, and like ones looked for a bounded number of times."""

import time
from typing import Any

import httpx
import pytest

from graftbook.questions.vehicles import service

pytestmark = pytest.mark.anyio

CHASSIS = "24PL-018412"
FIVE_THOUSAND = [f"ZZ-{n:05d}" for n in range(5_000)]


@pytest.fixture
def looked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The numbers for which near ones were looked for."""
    found: list[str] = []

    def noting(session: Any, number: str) -> list[str]:
        found.append(number)
        return real(session, number)

    real = service.numbers_near
    monkeypatch.setattr(service, "numbers_near", noting)
    return found


async def test_a_check_tells_every_unknown_number_in_one_answer(
    client: httpx.AsyncClient, looked: list[str]
) -> None:
    await client.post("/v1/checks", json={"vehicle": {"chassis": CHASSIS}})
    begun = time.process_time()
    body = {"vehicle": {"chassis": CHASSIS}, "components": ["QB-3310", *FIVE_THOUSAND[:999]]}
    answer = await client.post("/v1/checks", json=body)
    assert time.process_time() - begun < 1
    problem = answer.json()
    assert answer.status_code == 422
    assert problem["pointer"] == "/components/1"
    assert "There is no component 'ZZ-00000'" in problem["detail"]
    assert "(and 998 more)" in problem["detail"]
    assert "with the first 20 of 999 only" in problem["detail"]
    assert [error["pointer"] for error in problem["errors"][:2]] == ["/components/1", "/components/2"]
    assert len(looked) == service.MOST_NEAR


async def test_five_thousand_numbers_are_refused_at_once(client: httpx.AsyncClient) -> None:
    begun = time.process_time()
    body = {"vehicle": {"chassis": CHASSIS}, "components": FIVE_THOUSAND}
    answer = await client.post("/v1/checks", json=body)
    assert time.process_time() - begun < 1
    assert answer.status_code == 422
    assert "1000" in answer.json()["detail"]


async def test_the_page_answers_five_thousand_numbers_within_a_second(
    client: httpx.AsyncClient, looked: list[str]
) -> None:
    await client.post("/v1/checks", json={"vehicle": {"chassis": CHASSIS}})
    begun = time.process_time()
    form = {"chassis": CHASSIS, "list": "\n".join(FIVE_THOUSAND)}
    page = await client.post("/check", data=form, files={}, headers={"Accept": "text/html"})
    assert time.process_time() - begun < 1
    assert page.status_code == 200
    assert "was looked for with the first 20 of 200 only." in page.text
    assert "a list has at most 200 numbers" in page.text
    assert len(looked) == service.MOST_NEAR


@pytest.mark.parametrize("field", ["fitted", "on_the_bench"])
async def test_a_vehicle_of_unknown_numbers_costs_no_more(
    client: httpx.AsyncClient, looked: list[str], field: str
) -> None:
    numbers = FIVE_THOUSAND[:1_000]
    sits = dict.fromkeys(("brake.front.left", "brake.front.right"), numbers[0])
    vehicle = {"chassis": CHASSIS, field: sits if field == "fitted" else numbers}
    answer = await client.post("/v1/closures", json={"vehicle": vehicle})
    assert answer.status_code == 422
    assert len(looked) == 1
