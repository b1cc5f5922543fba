"""What the OpenAPI document says once and refers to: refusals, and the problems that they show."""

from typing import Any

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
                    name = names.setdefault(repr(answer), _named(answer, status, responses))
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


def _named(answer: Node, status: str, taken: Node) -> str:
    kinds = [kind for content in answer["content"].values() for kind in content["examples"]]
    name = "Or".join(kind.title().replace("-", "") for kind in kinds[:MOST_NAMED])
    if len(kinds) > MOST_NAMED:
        name += f"And{len(kinds) - MOST_NAMED}More"
    name += status
    number = sum(1 for other in taken if other.split("_")[0] == name)
    return f"{name}_{number + 1}" if number else name
