"""The OpenAPI document agrees with what the service does.

Its shape is held against the OpenAPI 3.1 specification's rules (from memory of the published text) and
JSON Schema 2020-12, by the reference library `jsonschema`.
"""

import json
import re
from collections.abc import Iterator
from typing import Any

import httpx
import jsonschema
import pytest
from fastapi import FastAPI
from openapi_spec_validator import OpenAPIV31SpecValidator

from tests.api.leaves import leaves

pytestmark = pytest.mark.anyio

METHODS = ("get", "put", "patch", "post", "delete")


@pytest.fixture(scope="session")
def document(app: FastAPI) -> dict[str, Any]:
    return app.openapi()


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            assert method in METHODS
            yield path, method, operation


def answers(document: dict[str, Any], operation: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Status and answer, also of what is described once for many."""
    for status, answer in operation["responses"].items():
        yield status, followed(document, answer)


def followed(document: dict[str, Any], node: dict[str, Any]) -> dict[str, Any]:
    """What a reference into the components leads to; anything else as it is."""
    if "$ref" not in node:
        return node
    kind, name = node["$ref"].removeprefix("#/components/").split("/")
    return document["components"][kind][name]


def strings_at(node: Any, key: str) -> Iterator[str]:
    if isinstance(node, dict):
        for name, value in node.items():
            if name == key and isinstance(value, str):
                yield value
            yield from strings_at(value, key)
    elif isinstance(node, list):
        for item in node:
            yield from strings_at(item, key)


def test_every_reference_leads_somewhere(document: dict[str, Any]):
    references = set(strings_at(document, "$ref"))
    assert references
    for reference in references:
        node: Any = document
        for part in reference.removeprefix("#/").split("/"):
            node = node[part]


def test_no_schema_stands_there_unused(document: dict[str, Any]):
    used = {reference.removeprefix("#/components/") for reference in strings_at(document, "$ref")}
    parts = {name: part for name, part in document["components"].items() if name != "securitySchemes"}
    assert {f"{kind}/{name}" for kind, part in parts.items() for name in part} == used


def test_operations_are_named_once_tagged_and_described(document: dict[str, Any]):
    assert document["openapi"].startswith("3.1")
    tags = {tag["name"] for tag in document["tags"]}
    ids = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[a-z]+([A-Z][a-z]*)*", name) for name in ids)
    for path, _, operation in operations(document):
        assert operation["summary"]
        assert set(operation["tags"]) <= tags
        assert any(status[0] in "23" for status in operation["responses"])
        wanted = set(re.findall(r"{(\w+)}", path))
        assert wanted == {p["name"] for p in operation.get("parameters", []) if p["in"] == "path"}


def test_every_route_that_answers_is_in_the_document(app: FastAPI, document: dict[str, Any]):
    def routes(router: Any) -> Iterator[Any]:
        for route in router.routes:
            yield from (
                routes(route) if hasattr(route, "routes") and not hasattr(route, "endpoint") else [route]
            )

    served, pages = set(), set()
    for route in routes(app.router):
        inner = getattr(route, "original_router", None)
        for one in inner.routes if inner is not None else [route]:
            into = served if getattr(one, "include_in_schema", True) else pages
            into |= {(one.path.replace(":path", ""), m.lower()) for m in (one.methods or ()) if m != "HEAD"}
    assert served == {(path, method) for path, method, _ in operations(document)}
    assert not any(path.startswith("/v1") for path, _ in pages), "only pages for people are left out"


def test_every_problem_that_is_documented_exists_and_has_an_example(document: dict[str, Any]):
    types = {leaf.type for leaf in leaves()}
    for _, _, operation in operations(document):
        for status, answer in answers(document, operation):
            if int(status) < 400:
                continue
            (media, content), *others = answer["content"].items()
            assert (media, others) == ("application/problem+json", [])
            for example in (followed(document, one) for one in content["examples"].values()):
                assert example["value"]["type"] in types
                assert str(example["value"]["status"]) == status


def test_a_batch_is_described_by_what_one_of_it_says(document: dict[str, Any]):
    asked = document["components"]["schemas"]["CompatibilityIn"]["properties"]["questions"]
    assert asked["items"] == {"$ref": "#/components/schemas/CompatibilityQuestionIn"}


def test_schemas_are_json_schemas(document: dict[str, Any]):
    for schema in document["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(schema)


def validator(document: dict[str, Any], schema: dict[str, Any]) -> jsonschema.Draft202012Validator:
    whole = schema | {"components": document["components"]}
    return jsonschema.Draft202012Validator(whole)


def examples(document: dict[str, Any]) -> Iterator[tuple[str, str, Any, dict[str, Any]]]:
    for path, method, operation in operations(document):
        content = operation.get("requestBody", {}).get("content", {}).get("application/json")
        if content and "$ref" in content["schema"]:
            name = content["schema"]["$ref"].rsplit("/", 1)[1]
            given = document["components"]["schemas"][name].get("examples", [])
            assert given, f"{name} has no example"
            for example in given:
                yield path, method, example, operation


def test_examples_are_valid(document: dict[str, Any]):
    count = 0
    for _, _, example, operation in examples(document):
        validator(document, operation["requestBody"]["content"]["application/json"]["schema"]).validate(
            example
        )
        count += 1
    assert count > 8


def test_the_document_is_openapi(document: dict[str, Any]):
    """By a validator from outside the project, against the published schema of OpenAPI 3.1."""
    OpenAPIV31SpecValidator(document).validate()


def test_every_operation_of_the_api_is_versioned(document: dict[str, Any]):
    outside = {path for path, _, operation in operations(document) if not path.startswith("/v1/")}
    assert outside - {"/"} == {"/livez", "/readyz", "/metrics", "/signin", "/signout"}


def test_operations_and_parameters_are_described(document: dict[str, Any]):
    for path, method, operation in operations(document):
        assert len(operation.get("description", "")) > 10, f"{method} {path}"
        for parameter in operation.get("parameters", []):
            assert parameter.get("description"), f"{method} {path}: {parameter['name']}"


def test_every_answer_has_an_example_of_its_own_form(document: dict[str, Any]):
    """Real answers: `python -m tests.api.examples` asks for them anew."""
    for path, method, operation in operations(document):
        for status, answer in operation["responses"].items():
            for media, content in answer.get("content", {}).items() if status.startswith("2") else ():
                if content["schema"].get("format") == "binary":
                    continue  # a paper
                assert "example" in content, f"{method} {path} {status} {media}: python -m tests.api.examples"
                validator(document, content["schema"]).validate(content["example"])


def test_every_body_has_an_example(document: dict[str, Any]):
    for path, method, operation in operations(document):
        for media, content in operation.get("requestBody", {}).get("content", {}).items():
            schema = content["schema"]
            if "$ref" in schema:
                schema = document["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]]
            shown = content.get("examples") or "example" in content or schema.get("examples")
            fields = schema.get("properties", {}).values()
            assert shown or all("description" in field for field in fields), f"{method} {path} {media}"


def test_every_operation_tells_what_can_happen_to_any(document: dict[str, Any]):
    for path, method, operation in operations(document):
        wanted = {"500", "503"}
        if operation.get("parameters"):
            wanted |= {"422"}
        if operation.get("requestBody"):
            wanted |= {"413"}
        if path.startswith("/v1/"):
            wanted |= {"401", "403", "429"}
        assert wanted <= set(operation["responses"]), f"{method} {path}"


def test_examples_hold_no_key_and_no_path(document: dict[str, Any]):
    text = json.dumps(document, ensure_ascii=False)
    assert not re.search(r"graftbook_\w{8}_\w", text)
    assert not re.search(r"/(home|root|tmp|work)/", text)


async def test_examples_are_answered_in_the_documented_form(
    writer: httpx.AsyncClient, document: dict[str, Any]
):
    for path, method, example, operation in examples(document):
        address = path.replace("{name}", str(example.get("name", "red-van")))
        answer = await writer.request(method, address, json=example)
        documented = dict(answers(document, operation)).get(str(answer.status_code))
        assert documented, (
            f"{method} {path} answered {answer.status_code}, which is not documented: {answer.text}"
        )
        media = answer.headers["content-type"].split(";")[0]
        validator(document, documented["content"][media]["schema"]).validate(answer.json())
        if "{" not in path and not path.startswith("/v1/proposal-decisions/"):
            assert answer.status_code < 400, answer.text


READS = [
    "/livez", "/readyz", "/v1/ranges", "/v1/variants", "/v1/positions?section=brakes",
    "/v1/flaws?at_least=severe",
    "/v1/components?words=disc", "/v1/components/QB-3310", "/v1/vehicles/24PL-018412",
    "/v1/compatibility?component=QB-3310&chassis=24PL-018412", "/v1/builds", "/v1/specifications",
    "/v1/closures?chassis=24PL-018412&fit=QB-3310", "/v1/orders?chassis=24PL-018412&fit=QB-3310",
]  # fmt: skip


@pytest.mark.parametrize("address", READS)
async def test_reads_have_the_documented_form(
    client: httpx.AsyncClient, document: dict[str, Any], address: str
):
    answer = await client.get(address)
    assert answer.status_code == 200, answer.text
    path = address.split("?")[0]
    templates = {
        "/v1/components/QB-3310": "/v1/components/{number}",
        "/v1/vehicles/24PL-018412": "/v1/vehicles/{chassis}",
    }
    operation = document["paths"][templates.get(path, path)]["get"]
    schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
    validator(document, schema).validate(answer.json())


async def test_nothing_that_is_served_loads_from_elsewhere(client: httpx.AsyncClient):
    home = await client.get("/")
    assert home.headers["content-type"].startswith("text/html")
    assert not re.search(r"(src|href)=[\"']?(https?:)?//", home.text)
    assert not re.search(r"<script(?! src=./)", home.text), "nothing runs that is written into the page"
    for path in ("/docs", "/redoc"):
        assert (await client.get(path)).status_code == 404
