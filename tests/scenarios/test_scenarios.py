"""Real jobs over the demo range, asked of the whole service and compared with what is expected."""

from collections.abc import Iterator

import httpx
import pytest
from fastapi import FastAPI

from tests.conftest import application
from tests.scenarios.reading import (
    EXPECTATIONS,
    Scenario,
    begins_well,
    places_of,
    scenarios,
    sentences_of,
    text_of,
)

CASES = list(scenarios())


@pytest.fixture(scope="module")
def service(sqlite_demo_url: str) -> Iterator[FastAPI]:
    """The application on the demo range."""
    with application(sqlite_demo_url, seconds_to_reason=30) as app:
        yield app


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.file.removesuffix(".toml"))
async def test_scenario(case: Scenario, service: FastAPI) -> None:
    transport = httpx.ASGITransport(service)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        response = await client.post(case.path, json=case.ask)
    assert response.status_code == 200, response.text
    answer = response.json()
    for key, wanted in case.expect.items():
        found = EXPECTATIONS[key](answer)
        if key == "verdicts":  # a case names the verdicts that it is about
            found = {check: found.get(check) for check in wanted}
        assert found == wanted, f"{case.name}: {key}"
    badly = [sentence for sentence in sentences_of(answer) if not begins_well(sentence)]
    assert not badly, f"{case.name}: a sentence begins small: {badly[0]}"
    places = {place for place in places_of(answer) if "." in place}
    named = [said for said in sentences_of(answer) if any(place in said for place in places)]
    assert not named, f"{case.name}: a position is called by its name and not by its title: {named[0]}"
    words = "\n".join(text_of(answer))
    for sentence in case.sentences:
        assert sentence in words, f"{case.name}: this sentence is missing: {sentence}"


def test_there_are_enough_cases() -> None:
    assert len(CASES) >= 40
    assert len({case.name for case in CASES}) == len(CASES), "each case has a name of its own"
    assert all(case.expect for case in CASES), "each case expects something"
