"""Parts of the guide that are made from the program: columns, units, what checks read, settings, errors."""

import ast
import csv
import importlib
import inspect
import io
import pkgutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

import graftbook.checks
from graftbook.catalogue.columns import columns_of, rows_of
from graftbook.catalogue.format.records import KINDS, Conditional, Record, Stated
from graftbook.checks.brakes import rules
from graftbook.checks.joints import corrosion
from graftbook.checks.law import Law
from graftbook.checks.verdict import Limit
from graftbook.problems import Problem
from graftbook.rulebook import sane
from graftbook.rulebook.units import UNITS
from graftbook.settings import Settings

STARTER = Path(__file__).with_name("starter.csv")
"""A range to begin with: every kind of record, small enough to read."""


def table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """A Markdown table; a bar inside a cell becomes a slash."""
    lines = [head, ("---",) * len(head), *rows]
    return "\n".join("| " + " | ".join(cell.replace("|", "/") for cell in line) + " |" for line in lines)


@lru_cache
def examples() -> Mapping[str, Mapping[str, str]]:
    """Kind of record → the first row of that kind in the range to begin with, without its empty cells."""
    found: dict[str, Mapping[str, str]] = {}
    for kind, row in rows_of(STARTER):
        found.setdefault(kind, row)
    return found


def columns() -> str:
    """Every kind of record: what it is, its columns, and a row as an example."""
    common = [_columns_of(Conditional, set()), _columns_of(Stated, set(Conditional.model_fields))]
    parts = [
        "### Columns of every record that may hold for some vehicles only\n\n"
        f"{inspect.cleandoc(Conditional.__doc__ or '')}\n\n{common[0]}",
        f"### Columns of every claim\n\nBeside those above.\n\n{common[1]}",
    ]
    return "\n\n".join([*parts, *map(columns_of_kind, KINDS)])


def columns_of_kind(kind: type[Record], own: bool = True) -> str:
    """One kind of record: what it is, its columns, and a row of the range to begin with as an example.

    `own`: without the columns that it has in common with others.
    """
    shared: set[str] = set()
    also = ""
    if own and issubclass(kind, Stated):
        shared, also = set(Stated.model_fields), "\n\nAnd the columns of every claim."
    elif own and issubclass(kind, Conditional):
        shared, also = (
            set(Conditional.model_fields),
            "\n\nAnd the columns that say for which vehicles it holds.",
        )
    words = inspect.cleandoc(kind.__doc__ or "")
    example = examples()[kind.kind_of_record]
    head, row = _as_csv(example.keys()), _as_csv(example.values())
    return (
        f"### {kind.kind_of_record}\n\n{words}\n\n{_columns_of(kind, shared)}{also}\n\n"
        f"```csv\n[{kind.kind_of_record}]\n{head}\n{row}\n```"
    )


def column_facts(kind: type[Record]) -> list[dict[str, Any]]:
    """Every column of a kind as plain facts, for programs."""
    return [
        {
            "kind": kind.kind_of_record,
            "column": column.name,
            "needed": column.needed,
            "form": column.form,
            "unit": column.unit,
            "words": list(column.words),
            "names": column.names,
            "meaning": column.meaning,
            "example": column.example,
        }
        for column in columns_of(kind, STARTER)
    ]


def _as_csv(cells: Iterable[str]) -> str:
    written = io.StringIO()
    csv.writer(written, lineterminator="").writerow(cells)
    return written.getvalue()


def _columns_of(kind: type[Record], without: set[str]) -> str:
    rows = [
        (
            f"`{column.name}`",
            "needed" if column.needed else "",
            column.cell,
            column.unit,
            column.meaning,
            f"`{column.example}`",
        )
        for column in columns_of(kind, STARTER)
        if column.name not in without
    ]
    return table(("column", "", "what stands in it", "unit", "meaning", "example"), rows)


def units() -> str:
    """Every quantity with the units in which it may be written."""
    by_quantity: dict[str, list[str]] = {}
    for quantity, name in UNITS:
        by_quantity.setdefault(quantity, []).append(f"`{name}`" if name else "no unit")
    return table(("quantity", "units"), [(name, ", ".join(units)) for name, units in by_quantity.items()])


def _check_modules() -> Iterator[ModuleType]:
    for info in pkgutil.walk_packages(graftbook.checks.__path__, "graftbook.checks."):
        if not info.ispkg:
            yield importlib.import_module(info.name)


def subject_of(module: ModuleType) -> str:
    """`brakes.heat`: where a module of the checks stands, in words."""
    return module.__name__.removeprefix("graftbook.checks.")


@lru_cache
def kinds_read() -> Mapping[str, tuple[str, ...]]:
    """Module of the checks → the kinds of characteristic that its text names."""
    known = {kind for group in sane.BOUNDS.values() for kind in group}
    found = {}
    for module in _check_modules():
        tree = ast.parse(inspect.getsource(module))
        words = {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)}
        named = {word for word in words if isinstance(word, str)} & known
        if named:
            found[subject_of(module)] = tuple(sorted(named))
    return found


def check_inputs() -> str:
    """What each check reads."""
    rows = [(subject, ", ".join(f"`{kind}`" for kind in kinds)) for subject, kinds in kinds_read().items()]
    return table(("subject", "kinds of characteristic that it reads"), rows)


def spans() -> str:
    """Every kind that the checks know, with the span that a figure of it can lie in."""
    rows = [
        (f"`{kind}`", quantity, f"{least:g} to {most:g} {unit}".strip())
        for (quantity, unit), group in sane.BOUNDS.items()
        for kind, (least, most) in group.items()
    ]
    return table(("kind", "quantity", "can be"), sorted(rows))


def _limits_in(thing: Any) -> Iterator[Limit]:
    if isinstance(thing, Limit):
        yield thing
    elif is_dataclass(thing) and not isinstance(thing, type):
        for field in fields(thing):
            yield from _limits_in(getattr(thing, field.name))


def limits_of_checks() -> list[tuple[str, Limit]]:
    """Every limit that a verdict rests on, with the module that holds it."""
    found: dict[Limit, str] = {}
    for module in _check_modules():
        for thing in vars(module).values():
            for limit in _limits_in(thing):
                found.setdefault(limit, subject_of(module))
    for law, category in ((law, c) for law in Law for c in rules.CATEGORIES):
        rule = rules.brake_rule(law, category)
        for thing in (rule, rules.danger_line(rule), rules.in_service(law, category)):
            for limit in _limits_in(thing):
                found.setdefault(limit, subject_of(rules))
    for environment in corrosion.GREATEST_DIFFERENCE_V:
        found.setdefault(corrosion.index_limit(environment), subject_of(corrosion))
    return sorted(((m, limit) for limit, m in found.items()), key=lambda m: (m[0], m[1].text, m[1].source))


def check_limits() -> str:
    """The limits as a table, each with its source and how it is known."""
    rows = [
        (subject, limit.text, ", ".join(filter(None, (limit.source, limit.clause))), str(limit.provenance))
        for subject, limit in limits_of_checks()
    ]
    return table(("subject", "limit", "source, clause", "known by"), list(dict.fromkeys(rows)))


def settings() -> str:
    """Every setting, with what it is when nobody sets it."""
    rows = []
    for name, field in Settings.model_fields.items():
        usual = str(field.default) if field.default != "" else "empty"
        if name == "questions_at_once":
            usual = "as many as there are cores, at least 4"
        rows.append((f"`GRAFTBOOK_{name.upper()}`", f"`{usual}`", field.description or ""))
    return table(("variable", "usual", "meaning"), rows)


def _leaves(kind: type[Problem]) -> Iterator[type[Problem]]:
    yield kind
    for under in kind.__subclasses__():
        yield from _leaves(under)


def problem_types() -> dict[str, type[Problem]]:
    """Every kind of problem by its `type`, in their order: whatever the application may answer with.

    It stands above this room, so it is named: a command that prints the guide has loaded none of it.
    """
    importlib.import_module("graftbook.app")
    return {kind.type: kind for kind in sorted(_leaves(Problem), key=lambda each: each.type)}


def problems() -> str:
    """Every type of problem document, with its status."""
    kinds = problem_types().values()
    rows = [(f"`{kind.type}`", str(kind.status), kind.title) for kind in kinds]
    return table(("type", "status", "title"), rows)


MADE: Mapping[str, Callable[[], str]] = {
    "columns": columns,
    "units": units,
    "check_inputs": check_inputs,
    "spans": spans,
    "check_limits": check_limits,
    "settings": settings,
    "problems": problems,
}
"""What the pages may name."""
