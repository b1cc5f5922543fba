"""The picture of an answer: wishes, what they bring and why, drawn on the server; and as a list."""

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any, NotRequired, TypedDict

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.pages.answer.layers import HEIGHT, WIDTH, ReasonsDrawing, draw
from graftbook.pages.answer.rows import numbered
from graftbook.pages.asking.question import question_of, takes_question
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.pages.words import SIDE
from graftbook.process.state import ServiceDep
from graftbook.questions.closures.schemas import BecauseOut, ChangeOut, ClosureOut, SetOut
from graftbook.questions.closures.service import closure_document
from graftbook.questions.reading import present_revision

router = pages_router()

_AT_A_SIDE = re.compile(r", (left|right)\b(?!-)")
LONGEST_WORDS = 25
"""Letters that a box holds on its second line."""
Reason = tuple[str, str, bool]
"""From node to node, and whether it is the one that is told first."""


class Node(TypedDict):
    """A wish, a flaw or a part as it is drawn: what it is, its words, why it is there, its column."""

    kind: str
    head: str
    words: str
    side: NotRequired[str]
    line: NotRequired[int]
    because: NotRequired[list[BecauseOut]]
    column: NotRequired[int]


class ToldNode(Node):
    """A part of the list beside the picture, with what brings it."""

    by: list[Node]


@router.get("/picture", dependencies=[MayRead, takes_question()])
def picture(request: Request, service: ServiceDep) -> Response:
    """The answer to the address's question, drawn. An impossible question goes to its answer."""
    question = question_of(request.query_params)
    if not question.value("as_of"):
        now = question.adding("as_of", present_revision(service))
        return gone_to(now.address("/picture"))
    _, document = closure_document(service, question.body())
    if (found := document["set"]) is None:
        return gone_to(question.address())
    nodes, reasons = graph_of(document, found)
    drawing = draw({name: node["column"] for name, node in nodes.items()}, reasons)
    return page(
        request,
        "picture.html",
        question=question,
        vehicle=document["vehicle"],
        headline=document["sentences"][0],
        told=in_list(nodes, reasons),
        **drawn(drawing, nodes, reasons),
    )


def graph_of(document: ClosureOut, found: SetOut) -> tuple[dict[str, Node], list[Reason]]:
    """The nodes by name, and the reasons between them.

    A wish is named as the answer names it, a change by its position, a loose part `loose NUMBER`.
    """
    lines = numbered(document)
    nodes: dict[str, Node] = {}
    for wish in document["wishes"]:
        nodes[wish["name"]] = {"kind": "wish", "head": "You wish", "words": wish["sentence"]}
    for change in sorted(found["changes"], key=lambda one: lines[one["position"]]):
        nodes[change["position"]] = {
            "kind": "change" if change["component"] else "gone",
            "head": change["component"] or f"{change['replaces']} off",
            "words": _AT_A_SIDE.sub("", change["name"] or change["position_title"]),
            "side": _side(change),
            "line": lines[change["position"]],
            "because": [change["because"], *change["also_needed_by"]],
        }
    for part in found["loose_parts"]:
        nodes[f"loose {part['component']}"] = {
            "kind": "loose",
            "head": f"{part['quantity']} × {part['component']}",
            "words": part["name"] or "",
            "because": [part["because"], *part["also_needed_by"]],
        }
    reasons = [
        (_origin(because), name, first)
        for name, node in nodes.items()
        for because, first in _each_once(node.get("because", ()))
    ]
    reasons += _flaws(nodes)
    reasons = [reason for reason in dict.fromkeys(reasons) if reason[0] in nodes]
    _settle_columns(nodes, reasons)
    return nodes, reasons


def _side(change: ChangeOut) -> str:
    """The side of the vehicle that its place names."""
    side = SIDE.search(change["position_title"])
    return side[1] if side else ""


def _origin(because: BecauseOut) -> str:
    """The name of the node that a reason comes from."""
    if because["from_position"]:
        return because["from_position"]
    if because["from_loose_part"]:
        return f"loose {because['from_loose_part']}"
    return f"flaw {because['name']}" if because["cause"] == "flaw" else because["name"]


def _flaws(nodes: dict[str, Node]) -> list[Reason]:
    """Nodes for the flaws that parts remedy, and which wish each comes from."""
    found: dict[str, tuple[str, str]] = {}
    for node in list(nodes.values()):
        for because in node.get("because", ()):
            if because["cause"] == "flaw" and because["wish"]:
                found.setdefault(because["name"], (because["sentence"], because["wish"]))
    reasons = []
    for flaw, (sentence, wish) in found.items():
        words = sentence.partition("; ")[2] or sentence
        nodes[f"flaw {flaw}"] = {"kind": "flaw", "head": "Known flaw", "words": words}
        reasons.append((wish, f"flaw {flaw}", True))
    return reasons


def _each_once(reasons: Sequence[BecauseOut]) -> list[tuple[BecauseOut, bool]]:
    """Each reason's origin once; the first one is the reason that is told first."""
    seen: dict[str, tuple[BecauseOut, bool]] = {}
    for place, because in enumerate(reasons):
        seen.setdefault(_origin(because), (because, place == 0))
    return list(seen.values())


def _settle_columns(nodes: dict[str, Node], reasons: Sequence[Reason]) -> None:
    """A node stands right of its first reason; columns that nothing stands in are closed up."""
    first = {to: start for start, to, told_first in reasons if told_first}
    for name, node in nodes.items():
        steps, here, seen = 0, name, {name}
        while here in first and first[here] not in seen:
            here = first[here]
            seen.add(here)
            steps += 1
        node["column"] = 0 if node["kind"] == "wish" else max(1, steps)
    used = {column: place for place, column in enumerate(sorted({n["column"] for n in nodes.values()}))}
    for node in nodes.values():
        node["column"] = used[node["column"]]


def drawn(drawing: ReasonsDrawing, nodes: Mapping[str, Node], reasons: Sequence[Reason]) -> dict[str, Any]:
    """The drawing as the template writes it; boxes know the boxes that are their reasons."""
    ids = {name: f"n{number}" for number, name in enumerate(nodes)}
    origins = defaultdict(list)
    for start, end, _ in reasons:
        origins[end].append(ids[start])
    return {
        "width": drawing.width,
        "height": drawing.height,
        "box_width": WIDTH,
        "box_height": HEIGHT,
        "boxes": [
            {
                "id": ids[box.name],
                "x": round(box.x),
                "y": round(box.y),
                "origins": " ".join(origins[box.name]),
                "side": "",
                **nodes[box.name],
                "short": _short(nodes[box.name]["words"]),
            }
            for box in drawing.boxes
        ],
        "lines": [
            {"start": ids[line.start], "end": ids[line.end], "path": line.path, "first": line.first}
            for line in drawing.lines
        ],
    }


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_WORDS else text[: LONGEST_WORDS - 1].rstrip(" ,") + "…"


def in_list(nodes: Mapping[str, Node], reasons: Sequence[Reason]) -> list[ToldNode]:
    """The picture as a list: every part with what brings it."""
    brought: dict[str, list[Node]] = defaultdict(list)
    for start, end, _ in reasons:
        brought[end].append(nodes[start])
    parts = ((name, node) for name, node in nodes.items() if node["kind"] not in ("wish", "flaw"))
    return [{**node, "side": node.get("side", ""), "by": brought[name]} for name, node in parts]
