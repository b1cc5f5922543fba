"""A wish to remedy a flaw that is recorded for other variants is met already, and every answer says so."""

import httpx
import pytest
from typer.testing import CliRunner

from graftbook.commands.cli import app as command
from tests.pages.conftest import text_of

pytestmark = pytest.mark.anyio

HERE, THERE = "32PR-000500", "24PL-018412"
OURS, THEIRS = "single-circuit-32", "gearing-busy-24"
"""The one is on the vehicle here, the other is recorded for the 24 alone."""
ASKED = {"vehicle": {"chassis": HERE}, "wishes": [{"remedy": OURS}, {"remedy": THEIRS}]}
NOT_KNOWN = f"You wish the flaw {THEIRS} remedied; it is not known of this variant, so nothing is to be done."


async def asked(client: httpx.AsyncClient, path: str, body: dict) -> dict:
    answer = await client.post(path, json=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


async def test_it_asks_for_no_change_and_the_answer_says_why(client: httpx.AsyncClient):
    alone = ASKED | {"wishes": [{"remedy": THEIRS}]}
    found = await asked(client, "/v1/closures", alone)
    assert (found["outcome"], found["set"]["changes"]) == ("proved", [])
    (wish,) = found["wishes"]
    assert wish == {
        "name": f"wish: remedy {THEIRS}",
        "sentence": NOT_KNOWN,
        "met_already": "flaw not known of this variant",
    }
    by_address = await client.get("/v1/closures", params={"chassis": HERE, "remedy": THEIRS})
    assert by_address.json() == found


async def test_beside_a_wish_of_its_own_it_changes_nothing(client: httpx.AsyncClient):
    both = await asked(client, "/v1/closures", ASKED)
    one = await asked(client, "/v1/closures", ASKED | {"wishes": [{"remedy": OURS}]})
    assert both["set"] == one["set"]
    assert both["set"]["changes"]
    assert [wish["met_already"] for wish in both["wishes"]] == [None, "flaw not known of this variant"]


async def test_a_flaw_that_the_vehicle_has_not_is_told_apart(client: httpx.AsyncClient):
    """What sits there today instead has no such flaw; what nobody wished remedied is not spoken of."""
    mended = (await asked(client, "/v1/closures", ASKED | {"wishes": [{"remedy": OURS}]}))["set"]
    fitted = {change["position"]: change["component"] for change in mended["changes"]}
    body = {
        "vehicle": {"chassis": HERE, "fitted": fitted},
        "wishes": [{"remedy": OURS}, {"clear": "brake.servo"}],
    }
    flaw, clear = (await asked(client, "/v1/closures", body))["wishes"]
    assert flaw["met_already"] == "flaw not on this vehicle"
    assert flaw["sentence"].startswith(
        "You wish this flaw remedied: All four wheels hang on one column of fluid"
    )
    assert flaw["sentence"].endswith("; this vehicle does not have it, so nothing is to be done.")
    assert clear["met_already"] is None


async def test_a_severity_of_which_there_is_nothing_says_so(client: httpx.AsyncClient):
    body = {"vehicle": {"chassis": HERE}, "wishes": [{"remedy_all": "dangerous", "section": "wheels"}]}
    (wish,) = (await asked(client, "/v1/closures", body))["wishes"]
    assert wish["met_already"] == "flaw not on this vehicle"
    assert wish["sentence"] == (
        "You wish every dangerous flaw remedied in Wheels and tyres; this vehicle has none that is known, "
        "so nothing is to be done."
    )


@pytest.mark.parametrize("typed", [THEIRS.upper(), THEIRS.replace("-", " "), THEIRS.replace("-", "_")])
async def test_it_may_be_typed_as_people_type_names(client: httpx.AsyncClient, typed: str):
    found = await asked(client, "/v1/closures", ASKED | {"wishes": [{"remedy": typed}]})
    assert found["wishes"][0]["name"] == f"wish: remedy {THEIRS}"


@pytest.mark.parametrize("chassis", [HERE, THERE])
async def test_one_specification_serves_several_variants(writer: httpx.AsyncClient, chassis: str):
    house = {"name": "house", "title": "House standard", "variants": [], "wishes": ASKED["wishes"]}
    assert (await writer.post("/v1/specifications", json=house)).status_code == 201
    body = {"vehicle": {"chassis": chassis}, "specification": "house"}
    found = await asked(writer, "/v1/closures", body)
    met = {wish["name"]: wish["met_already"] for wish in found["wishes"]}
    elsewhere = THEIRS if chassis == HERE else OURS
    assert [name for name, why in met.items() if why] == [f"wish: remedy {elsewhere}"]
    assert found["set"]["changes"], "the flaw that it has is remedied"


async def test_every_door_takes_it(client: httpx.AsyncClient):
    why_not = await asked(client, "/v1/closures/why-not", ASKED | {"component": "QB-2050"})
    assert [wish["met_already"] is not None for wish in why_not["asked"]["wishes"]] == [False, True]
    what_if = await asked(client, "/v1/closures/what-if", ASKED | {"other_vehicle": {"chassis": THERE}})
    assert [
        [w["met_already"] is not None for w in what_if[side]["wishes"]] for side in ("asked", "instead")
    ] == [
        [False, True],
        [True, False],
    ]
    closure = await asked(client, "/v1/closures", ASKED)
    positions = {change["position"]: change["component"] for change in closure["set"]["changes"]}
    loose = [part["component"] for part in closure["set"]["loose_parts"] for _ in range(part["quantity"])]
    check = await asked(client, "/v1/checks", ASKED | {"positions": positions, "components": loose})
    assert (check["complete"], check["missing"]) == (True, [])
    order = await asked(client, "/v1/orders", ASKED)
    assert NOT_KNOWN in order["vehicles"][0]["wishes"]
    text = await client.post("/v1/closures", json=ASKED, headers={"Accept": "text/plain"})
    assert "it is not known of this variant" in " ".join(text.text.split())


@pytest.mark.parametrize("path", ["/answer", "/ask", "/order", "/fitting", "/quotation", "/picture"])
async def test_the_pages_take_it(client: httpx.AsyncClient, path: str):
    params = {"chassis": HERE, "remedy": [OURS, THEIRS]}
    page = await client.get(path, params=params, headers={"Accept": "text/html"}, follow_redirects=True)
    assert page.status_code == 200, text_of(page)
    if path == "/ask":
        assert f'name="remedy" value="{THEIRS}" checked' in page.text, "the form keeps what was wished"
    elif path != "/fitting":  # which tells the work, not the wishes
        assert "it is not known of this variant" in text_of(page)


def test_the_command_takes_it(sqlite_demo_url: str):
    told = CliRunner().invoke(
        command,
        ["closure", "--database", sqlite_demo_url, "--chassis", HERE, "--remedy", OURS, "--remedy", THEIRS],
    )
    assert told.exit_code == 0, told.output
    assert "it is not known of this variant" in " ".join(told.output.split())


async def test_a_name_that_no_flaw_has_is_still_refused(client: httpx.AsyncClient):
    answer = await client.post("/v1/closures", json=ASKED | {"wishes": [{"remedy": "single-circuit-61"}]})
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/unknown-flaw")
    assert answer.json()["pointer"] == "/wishes/0/remedy"
    other_kind = await client.post("/v1/closures", json=ASKED | {"wishes": [{"remedy": "brakes-manual-24"}]})
    assert other_kind.status_code == 422, "evidence, and no flaw"


async def test_in_a_catalogue_that_had_no_such_flaw_yet_it_is_unknown(writer: httpx.AsyncClient):
    before = (await writer.get("/readyz")).json()["catalogue_revision"]
    flaw = {
        "record": "flaw", "name": "late-found", "component": "QL-2022", "severity": "minor",
        "symptom": "The brush gear squeals.", "generations": ["24"],
    }  # fmt: skip
    assert (await writer.post("/v1/imports", json=[flaw])).status_code == 200
    body = ASKED | {"wishes": [{"remedy": "late-found"}]}
    now = await asked(writer, "/v1/closures", body)
    assert now["wishes"][0]["met_already"] == "flaw not known of this variant"
    then = await writer.post("/v1/closures", json=body | {"as_of": before})
    assert (then.status_code, then.json()["type"]) == (422, "/problems/unknown-flaw")
    etag = (await writer.get("/v1/records/flaw/late-found")).headers["etag"]
    gone = await writer.delete("/v1/records/flaw/late-found", headers={"If-Match": etag})
    assert gone.status_code == 200, gone.text
    assert (await writer.post("/v1/closures", json=body)).status_code == 422
