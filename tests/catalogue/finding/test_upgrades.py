"""Named upgrades: every one can be had where it holds, and the lint finds one that cannot."""

from dataclasses import replace
from typing import Any

import httpx
import pytest
from sqlalchemy import Engine

from graftbook.catalogue.lint.closure import Survey
from graftbook.catalogue.lint.finding import Wrong
from graftbook.catalogue.lint.rules import upgrade_findings, wishes_of
from graftbook.closure.answer import Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.question import Question
from tests.catalogue.sheet import book_of

VARIANTS = (
    "16E-17-R", "16P-17-L", "16P-17-R", "24C-21-R", "24E-21-4L", "24E-21-R", "24P-17-R", "24P-21-4L",
    "24P-21-4R", "24P-21-L", "32C-21-L", "32E-21-4L", "32P-21-4R", "32P-21-R",
)  # fmt: skip


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_upgrade_of_a_variant_gives_a_proved_set(sqlite_demo: Engine, variant: str) -> None:
    """On the first and on the last that was built, and none of them is so far from home that it takes
    another engine."""
    book = book_of(sqlite_demo, variant)
    assert book.upgrades
    scopes = [scope for scope in Survey(book).scopes if not scope.vehicle.options]
    for upgrade in book.upgrades:
        vehicles = [scope.vehicle for scope in scopes if scope.holds(upgrade)]
        assert vehicles, upgrade.name
        for vehicle in (vehicles[0], vehicles[-1]):
            answer = answer_question(book, Question(vehicle, wishes_of(upgrade)), next_bests=False)
            assert answer.outcome is Outcome.proved, (upgrade.name, vehicle, answer.contradictions)
            assert answer.solution
            changed = {change.position for change in answer.solution.changes}
            assert "engine.unit" not in changed, (upgrade.name, vehicle)


def test_the_lint_finds_an_upgrade_that_cannot_be_had(sqlite_demo: Engine) -> None:
    book = book_of(sqlite_demo, "24P-21-L")
    assert list(upgrade_findings(Survey(book))) == []
    front = next(each for each in book.upgrades if each.name == "front-discs")
    two_at_one_place = (("QB-3310", "brake.front.left"), ("QB-2012", "brake.front.left"))
    for fits in ((("QB-3310", "horn"),), two_at_one_place):
        bent = replace(book, upgrades=(replace(front, fits=fits),))
        assert [key for key, _ in upgrade_findings(Survey(bent))] == [(Wrong.idle_upgrade, ("front-discs",))]


@pytest.mark.anyio
async def test_an_unknown_upgrade_is_refused_with_names_near_it(client: httpx.AsyncClient) -> None:
    body = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"upgrade": "front-disks"}]}
    answer = await client.post("/v1/closures", json=body)
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("unknown-upgrade")
    assert "front-discs" in answer.text


@pytest.mark.anyio
@pytest.mark.one_engine
@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"wishes": [{"upgrade": "front-discs-16"}]}, "no upgrade 'front-discs-16' for this variant"),
        ({"limits": {"keep": ["diff.front"]}}, "no position 'diff.front' for this variant"),
        ({"vehicle": {"chassis": "24PL-018412", "options": ["postal"]}}, "no option 'postal' for this"),
    ],
)
async def test_what_other_variants_have_is_not_said_to_be_nowhere(
    client: httpx.AsyncClient, asked: dict[str, Any], told: str
) -> None:
    answer = await client.post("/v1/closures", json={"vehicle": {"chassis": "24PL-018412"}} | asked)
    assert answer.status_code == 422
    assert told in answer.json()["detail"]


@pytest.mark.anyio
async def test_an_upgrade_is_what_it_wishes(client: httpx.AsyncClient) -> None:
    vehicle = {"chassis": "24PL-018412"}
    named = await client.post(
        "/v1/closures", json={"vehicle": vehicle, "wishes": [{"upgrade": "front-discs"}]}
    )
    plain = await client.post("/v1/closures", json={"vehicle": vehicle, "wishes": [{"fit": "QB-3310"}]})
    assert named.status_code == plain.status_code == 200
    assert _set_of(named.json()) == _set_of(plain.json())


def _set_of(document: dict[str, Any]) -> list[tuple[str, str]]:
    changes = document["set"]["changes"]
    assert changes
    return [(change["position"], change["component"]) for change in changes]
