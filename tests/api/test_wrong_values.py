"""What is wrong is said so that somebody at a counter can mend it."""

import httpx
import pytest

pytestmark = pytest.mark.anyio

VEHICLE = {"chassis": "24PL-018412"}
TOLD = [
    ({"vehicle": "24PL-018412"}, "/vehicle: An object is needed here: fields with their values, in braces"),
    ({"vehicle": VEHICLE, "wishes": {"fit": "x"}}, "/wishes: A list is needed here, in square brackets"),
    ({"vehicle": {"chassis": 24}}, "/vehicle/chassis: Text is needed here, in quotes"),
    ({"vehicle": {"chassis": ""}}, "/vehicle/chassis: It must not be empty"),
    ({"vehicle": {"chassis": " \t "}}, "/vehicle/chassis: It must not be empty"),
    ({"vehicle": VEHICLE, "alternatives": "two"}, "/alternatives: A whole number is needed here"),
    ({"vehicle": VEHICLE, "alternatives": 99}, "/alternatives: It must be at most 10"),
    (
        {"vehicle": VEHICLE, "limits": {"nothing_visible": 1}},
        "/limits/nothing_visible: True or false is needed here",
    ),
    (
        {"vehicle": VEHICLE | {"built": 0}},
        "/vehicle/built: A day is written as year-month-day, such as 1969-04-20",
    ),
    ({"vehicle": VEHICLE | {"built": "1969-02-30"}}, "/vehicle/built: There is no day 1969-02-30"),
    (
        {"vehicle": VEHICLE, "limits": {"effort_at_most": "none"}},
        "/limits/effort_at_most: One of 'direct', 'with companions', 'machining' or 'cutting' is needed here",
    ),
    (
        {"vehicle": VEHICLE, "limits": {"price_at_most": "1.005"}},
        "/limits/price_at_most: A price is a number with at most two decimals, such as 120 or 89.50",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("body", "told"), TOLD)
async def test_a_wrong_value_is_told_in_plain_words(client: httpx.AsyncClient, body: object, told: str):
    answer = await client.post("/v1/closures", json=body)
    assert (answer.status_code, answer.json()["detail"]) == (422, told)


async def test_blanks_around_what_was_pasted_are_not_part_of_it(client: httpx.AsyncClient):
    asked = {"vehicle": {"chassis": " 24PL-018412\t"}, "wishes": [{"fit": "  QB-7093 "}]}
    answer = await client.post("/v1/closures", json=asked)
    assert answer.json()["wishes"][0]["name"] == "wish: fit QB-7093", answer.text[:300]


async def test_a_wrong_parameter_is_told_by_its_name(client: httpx.AsyncClient):
    answer = await client.get("/v1/flaws?at_least=bad")
    assert answer.json()["detail"].startswith("at_least: One of 'minor'")


async def test_a_sheet_of_semicolons_is_recognised(writer: httpx.AsyncClient):
    sheet = "[section]\nname;title;order\nnew;New;5\n"
    answer = await writer.post("/v1/imports", content=sheet, headers={"Content-Type": "text/csv"})
    assert answer.json()["records"] == {"section": 1}
    assert any("semicolon" in line for line in answer.json()["assumptions"])


async def test_a_name_with_spaces_is_told_what_a_name_is(writer: httpx.AsyncClient):
    answer = await writer.post("/v1/builds", json={"name": "Red Van", "chassis": "24PL-018412"})
    assert answer.json()["detail"].startswith("/name: A name is 1 to 80 letters, digits")


async def test_a_wrong_pattern_is_told_by_what_is_needed(writer: httpx.AsyncClient):
    columns = {"columns": {"number": "Part No"}}
    wrong = await writer.put("/v1/flat-lists/spares", json=columns | {"currency": "pounds"})
    assert wrong.json()["detail"] == "/currency: Three capital letters are needed, such as EUR (ISO 4217)"
    wrong = await writer.put("/v1/flat-lists/spares", json=columns | {"section": "?"})
    assert wrong.json()["detail"].startswith("/section: A name begins with a letter or a digit")
