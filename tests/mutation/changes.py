"""Which changes there are in a room, and the sample of them that a seed draws."""

import difflib
import hashlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import CodeType
from typing import Any

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import MutationVisitor

from tests.mutation.operators import operators

ROOT = Path(__file__).resolve().parents[2]
SEED = "november"


@dataclass(frozen=True)
class Room:
    """A part of the program: its modules, how many changes a sample takes, and the tests beside it."""

    paths: tuple[str, ...]
    sample: int
    tests: tuple[str, ...]


_FORMS = (
    "asking/ask checking/check asking/component ordering/delivery editing/edit editing/forms editing/imports "
    "asking/lookup ordering/order ordering/ordered asking/question editing/sheet_form"
)
_PACKAGE = "api/graftbook"
ROOMS = {
    "closure": Room(("api/graftbook/closure",), 85, ("tests/closure", "tests/scenarios")),
    "rulebook": Room(("api/graftbook/rulebook",), 45, ("tests/rulebook", "tests/scenarios")),
    "checks": Room(("api/graftbook/checks",), 80, ("tests/checks",)),
    "orders": Room(("api/graftbook/orders",), 85, ("tests/orders",)),
    "access": Room(("api/graftbook/access",), 45, ("tests/access",)),
    "once": Room(
        ("api/graftbook/idempotency",),
        25,
        ("tests/soundness/test_once.py", "tests/orders"),
    ),
    "addresses": Room(
        (
            f"{_PACKAGE}/questions/closures/query.py",
            f"{_PACKAGE}/questions/schemas.py",
            f"{_PACKAGE}/http/fields.py",
            f"{_PACKAGE}/http/values.py",
            "api/graftbook/http/parameters.py",
        ),
        40,
        ("tests/api",),
    ),
    "forms": Room(
        (
            *(f"api/graftbook/pages/{name}.py" for name in _FORMS.split()),
            "api/graftbook/pages/ordering/stock.py",
            "api/graftbook/pages/checking/typed_list.py",
        ),
        55,
        ("tests/pages", "tests/orders"),
    ),
}


@dataclass(frozen=True)
class Change:
    """One small wrong change. `name` stays the same when lines above it move."""

    name: str
    room: str
    path: str
    function: str
    operator: str
    occurrence: int
    line: int
    statement: int

    def source(self) -> str:
        """The whole module with the change made."""
        return _made(self.path, self.operator, self.occurrence)

    def compiled(self) -> CodeType:
        """The changed module, compiled. Raises SyntaxError where the change makes no Python."""
        return compile(self.source(), str(ROOT / self.path), "exec")

    def lines(self) -> tuple[str, str]:
        """What stood there, and what stands there now."""
        before, after = [], []
        for line in difflib.ndiff(_read(self.path).splitlines(), self.source().splitlines()):
            if line.startswith("- "):
                before.append(line[2:].strip())
            elif line.startswith("+ "):
                after.append(line[2:].strip())
        return " ".join(before), " ".join(after)


@lru_cache(maxsize=1)
def _made(path: str, operator: str, occurrence: int) -> str:
    made = MutationVisitor.mutate_code(_read(path), operators()[operator], occurrence)
    assert made is not None, f"there is no {operator} {occurrence} in {path}"
    return made


def _read(path: str) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


def modules(room: Room) -> list[str]:
    """The paths of a room's modules, from the root."""
    found: list[Path] = []
    for path in room.paths:
        where = ROOT / path
        found += [where] if where.is_file() else sorted(where.rglob("*.py"))
    return [str(path.relative_to(ROOT)) for path in found if path.name not in _TABLES]


def all_changes(room: str) -> Iterator[tuple[str, Change]]:
    """Every change of a room with the name of its place: several changes can be made at one place."""
    for path in modules(ROOMS[room]):
        yield from _of_module(room, path)


def _of_module(room: str, path: str) -> Iterator[tuple[str, Change]]:
    source = _read(path).splitlines()
    nodes = list(ast_nodes(get_ast(_read(path))))
    seen: Counter[str] = Counter()
    inner = [node for node in nodes if hasattr(node, "children")]
    for operator, maker in operators().items():
        occurrence = -1
        for node in inner if operator.startswith(_WITH_CHILDREN) else nodes:
            for (line, column), _ in maker.mutation_positions(node):
                occurrence += 1
                if operator == "LeaveOutArgument" and source[line - 1][column:].startswith(_FOR_THE_READER):
                    continue
                if _is_beside_the_point(node, operator, path):
                    continue
                function = _function(node)
                text = source[line - 1]
                place = f"{path}:{function}:{text.strip()}:{column - len(text) + len(text.lstrip())}"
                made = f"{place}:{operator}"
                seen[made] += 1
                name = hashlib.sha256(f"{made}:{seen[made]}".encode()).hexdigest()[:10]
                yield (
                    place,
                    Change(name, room, path, function, operator, occurrence, line, _statement(node, line)),
                )


_WITH_CHILDREN = ("ReplaceComparison", "ReplaceUnary", "AddNot", "Exception", "ZeroIteration", "LeaveOut")
_TABLES = ("tables.py",)
"""Columns: a test holds them to be what the migrations make."""
_JUDGED = ("api/graftbook/orders/papers/", "api/graftbook/rulebook/sane.py")
"""Where a number is mostly a width or a place on paper, or a bound of what we hold to be possible: a person
judges it, and a test could only repeat it."""
_FOR_THE_READER = (
    *("description", "examples", "help", "title", "json_schema_extra", "bearerFormat"),
    *("frozen", "slots", "repr"),
)
"""Arguments that only documents show, or that only keep a writer of code straight."""


def _ancestors(node: Any) -> Iterator[Any]:
    while node is not None:
        yield node
        node = node.parent


def _function(node: Any) -> str:
    """The outermost function that a node stands in, after its class; empty at module level."""
    names = [above.name.value for above in _ancestors(node.parent) if above.type in ("funcdef", "classdef")]
    kinds = [above.type for above in _ancestors(node.parent) if above.type in ("funcdef", "classdef")]
    while kinds and "funcdef" in kinds[1:]:
        del names[0], kinds[0]
    return ".".join(reversed(names)) if "funcdef" in kinds else ""


def _statement(node: Any, line: int) -> int:
    """The line at which the statement of a node starts."""
    for above in _ancestors(node):
        if above.type in ("simple_stmt", "if_stmt", "for_stmt", "while_stmt", "with_stmt", "try_stmt"):
            return int(above.start_pos[0])
    return line


def _is_beside_the_point(node: Any, operator: str, path: str) -> bool:
    """A type that nobody reads when the program runs, or an assertion for the reader."""
    below = node
    for above in _ancestors(node.parent):
        if above.type == "argument" and above.children[0].get_code().strip() in _FOR_THE_READER:
            return True
        if above.type in ("tfpdef", "annassign") and above.children.index(below) == 1 + (
            above.type == "tfpdef"
        ):
            return True
        if above.type == "funcdef" and below is getattr(above, "annotation", None):
            return True
        if above.type == "assert_stmt":
            return True
        below = above
    if node.type == "assert_stmt" or (operator == "NumberReplacer" and path.startswith(_JUDGED)):
        return True
    return "Bit" in operator and not _function(node)


def rank(text: str, seed: str = SEED) -> str:
    """Where a text comes in the order of a seed."""
    return hashlib.sha256(f"{seed}:{text}".encode()).hexdigest()


def sample(room: str, seed: str = SEED, size: int | None = None) -> list[Change]:
    """The changes of a room that a seed draws, at most one a place. A change elsewhere in the program
    leaves the rest of the sample as it is."""
    first: dict[str, Change] = {}
    for place, change in all_changes(room):
        if place not in first or rank(change.name, seed) < rank(first[place].name, seed):
            first[place] = change
    drawn = sorted(first, key=lambda place: rank(place, seed))
    return [first[place] for place in drawn[: size or ROOMS[room].sample]]
