"""The OpenAPI document: its words, what the framework leaves out of it, and what it says once and refers to:
refusals, and the problems that they show.
"""

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from graftbook.http.contract.headers import describe_headers
from graftbook.http.contract.members import describe_members
from graftbook.http.errors import ProblemOut, documented
from graftbook.problems import Problem, Unavailable

Node = dict[str, Any]
MOST_NAMED = 2
"""A shared refusal is called by so many of its problems; what holds more gets a number too."""


def share_refusals(document: Node) -> None:
    """Every refusal stands in `components.responses`, and every problem in `components.examples`."""
    components = document["components"]
    responses: Node = components.setdefault("responses", {})
    examples: Node = components.setdefault("examples", {})
    names: dict[str, str] = {}
    for item in document["paths"].values():
        for operation in item.values():
            for status, answer in operation["responses"].items():
                if status >= "4":
                    _refer(answer, examples, status)
                    name = names.setdefault(repr(answer), _free_name(answer, status, responses))
                    responses[name] = answer
                    operation["responses"][status] = {"$ref": f"#/components/responses/{name}"}


def _refer(answer: Node, examples: Node, status: str) -> None:
    """Its problems, each by reference: of one type the same, but for the status of a field's fault."""
    for content in answer.get("content", {}).values():
        for kind, example in content.get("examples", {}).items():
            if "$ref" not in example:
                name = f"{kind}-{status}"
                examples[name] = example
                content["examples"][kind] = {"$ref": f"#/components/examples/{name}"}


def _free_name(answer: Node, status: str, taken: Node) -> str:
    kinds = [kind for content in answer["content"].values() for kind in content["examples"]]
    name = "Or".join(kind.title().replace("-", "") for kind in kinds[:MOST_NAMED])
    if len(kinds) > MOST_NAMED:
        name += f"And{len(kinds) - MOST_NAMED}More"
    name += status
    number = sum(1 for other in taken if other.split("_")[0] == name)
    return f"{name}_{number + 1}" if number else name


DESCRIPTION = """
Which parts fit this chassis number, what each choice brings, what clashes, and why.

Names are the catalogue's stable names. Part numbers are accepted as people type them; old numbers are
followed to today's. Money is an exact decimal in a string. Every error is a problem document (RFC 9457)
with a stable `type`. Answers name the catalogue revision and carry a strong ETag; the GET forms answer
`304` to If-None-Match. Every address that takes GET takes HEAD; OPTIONS tells in Allow what one takes.

The path's `/v1` is the version of the contract, `info.version` that of the program. Documents and parameters
may gain members, so take no offence at one that you do not know; nothing is taken away and nothing changes
its meaning under `/v1`. What is to go is marked `deprecated` here, with what takes its place, and stays as
long as `/v1` does; /guide/changes tells every change.

Every answer has X-Request-ID: quote it when you ask. Examples are real answers about an invented range;
their lists are cut to one entry.

Brakes, steering, fuel, lifting, high current, structure and welding can hurt people. Answers about them
carry cautions: local codes and the judgement of a licensed person come first.
""".strip()

SERVERS = [{"url": "/", "description": "the service that this document was asked of"}]

TAGS = [
    {"name": "closures", "description": "The complete set that follows from a vehicle and some wishes."},
    {"name": "checks", "description": "Whether a proposed set is complete and works together."},
    {"name": "compatibility", "description": "Does this number fit that chassis? Many at once."},
    {"name": "orders", "description": "What must be bought."},
    {"name": "vehicles", "description": "What a chassis number says."},
    {"name": "catalogue", "description": "Look-up in what is known."},
    {"name": "builds", "description": "Real vehicles: what is fitted, what is decided."},
    {"name": "specifications", "description": "Named, versioned sets of wishes."},
    {"name": "records", "description": "Single records of the catalogue, their history, its revisions."},
    {"name": "reports", "description": "What workshops found, and how claims stand for it."},
    {"name": "pictures", "description": "Photographs and sketches of components, claims and builds."},
    {"name": "exchange", "description": "The catalogue in and out."},
    {"name": "events", "description": "What changed, read on from a cursor or sent to webhooks."},
    {"name": "access", "description": "Keys, who did what, and signing in to the pages."},
    {"name": "service", "description": "The service itself."},
]


NOT_KEPT = frozenset(
    {"getFlatIssue", "getWebhook", "isAlive", "isReady", "listEvents", "listWebhooks", "readMetrics"}
)
"""What is read and says `no-store`; every other read has an ETag."""

PARAMETERS = {
    "chassis": "the chassis number as people type it",
    "number": "the part number as people type it",
    "name": "its name",
    "version": "the version; the latest without it",
    "from": "the earlier version",
    "to": "the later version",
    "built": "the day it was built; else estimated from the chassis number",
    "price_at_most": "the ceiling of all parts together, in the catalogue's currency",
    "nothing_visible": "nothing that one sees may change",
    "alternatives": "so many other sets that are better in some way",
    "section": "of this section only",
    "origin": "of this origin only",
    "supply": "in this state of supply only",
    "outcome": "with this outcome only",
    "at_most_suppliers": "from so many suppliers at most",
    "fastest": "as early as can be, then the cheapest for that day",
    "use_stock": "take from the shop's own stock first",
    "tax_market": "whose taxes; else the first vehicle's market",
}
"""What a parameter means that says the same everywhere; a route's own words come first."""


def complete(app: FastAPI, describe_access: Callable[[dict[str, Any], str], None]) -> dict[str, Any]:
    """The document, made once: the problem schema added, the framework's own error schemas taken out."""
    if app.openapi_schema:
        return app.openapi_schema
    document = get_openapi(
        title=app.title,
        version=app.version,
        description=app.description,
        routes=app.routes,
        tags=TAGS,
        servers=SERVERS,
        openapi_version="3.1.0",
    )
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    schemas["ProblemOut"] = _problem_schema(schemas)
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    document["paths"] = {path: _answers_in_use(item) for path, item in document["paths"].items()}
    describe_access(document, app.state.service.settings.reading)
    describe_members(schemas, answers_shown().get("members", {}))
    describe_headers(document)
    share_refusals(document)
    app.openapi_schema = document
    return document


def _problem_schema(schemas: dict[str, Any]) -> dict[str, Any]:
    schema = ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas.update(schema.pop("$defs", {}))
    return schema


def _answers_in_use(item: dict[str, Any]) -> dict[str, Any]:
    """The framework's own error schema taken out; what can happen everywhere, words and examples added."""
    for method, operation in item.items():
        answers = operation.get("responses", {})
        if method == "get" and operation["operationId"] not in NOT_KEPT:
            answers.setdefault("304", {"description": "You have this answer"})
        for status, answer in list(answers.items()):
            schema = answer.get("content", {}).get("application/json", {}).get("schema", {})
            if schema.get("$ref", "").endswith("/HTTPValidationError"):
                del answers[status]
            elif not schema and len(answer.get("content", {})) > 1:
                answer["content"].pop("application/json", None)
        for status, answer in documented(Problem, Unavailable).items():
            answers.setdefault(str(status), answer)
        for parameter in operation.get("parameters", ()):
            if description := PARAMETERS.get(parameter["name"]):
                parameter.setdefault("description", description)
            parameter["schema"] = _never_null(parameter["schema"])
        _show(answers, answers_shown().get(operation["operationId"], {}))
    return item


def _never_null(schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter may be left out; nobody can send null in an address or a header."""
    some = [one for one in schema.get("anyOf", ()) if one != {"type": "null"}]
    if not some:
        return schema
    rest = {key: value for key, value in schema.items() if key != "anyOf"}
    return rest | (some[0] if len(some) == 1 else {"anyOf": some})


def _show(answers: dict[str, Any], examples: dict[str, Any]) -> None:
    for status, shown in examples.items():
        for media, example in shown.items():
            if content := answers.get(status, {}).get("content", {}).get(media):
                content["example"] = example


@lru_cache
def answers_shown() -> dict[str, Any]:
    """Operation → status → media type → answer, as `python -m tests.api.examples` writes them."""
    found: dict[str, Any] = orjson.loads(Path(__file__).with_name("examples.json").read_bytes())
    return found
