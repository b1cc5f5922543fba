"""The table of sources for DEVELOPERS.md: `python -m tests.checks.sources` prints it."""

import importlib
import pkgutil
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

import graftbook.checks
from graftbook.checks.brakes import rules
from graftbook.checks.joints import corrosion
from graftbook.checks.verdict import Limit
from tests.checks.values import VALUES


def _cell(text: str) -> str:
    return text.replace("|", "/")


def value_rows() -> list[str]:
    """One row for each group of check values with one source."""
    groups: dict[tuple[str, str, str, str], int] = {}
    for value in VALUES.values():
        key = (value.name.partition(".")[0], value.source, value.clause, str(value.provenance))
        groups[key] = groups.get(key, 0) + 1
    return [
        f"| {_cell(n)} ({count}) | {_cell(s)}, {_cell(c)} | {p} |" for (n, s, c, p), count in groups.items()
    ]


def _limits_in(thing: Any) -> Iterator[Limit]:
    if isinstance(thing, Limit):
        yield thing
    elif is_dataclass(thing) and not isinstance(thing, type):
        for field in fields(thing):
            yield from _limits_in(getattr(thing, field.name))


def limits() -> list[tuple[str, Limit]]:
    """Every limit that a verdict rests on, with the module that holds it."""
    found: dict[Limit, str] = {}
    for info in pkgutil.walk_packages(graftbook.checks.__path__, "graftbook.checks."):
        module = importlib.import_module(info.name)
        for thing in vars(module).values():
            for limit in _limits_in(thing):
                found.setdefault(limit, info.name)
    for law, category in ((law, c) for law in rules.Law for c in rules.CATEGORIES):
        for limit in _limits_in(rules.brake_rule(law, category)):
            found.setdefault(limit, "brake_rules")
    for environment in corrosion.GREATEST_DIFFERENCE_V:
        found.setdefault(corrosion.index_limit(environment), "corrosion")
    return sorted(
        ((module, limit) for limit, module in found.items()), key=lambda m: (m[0], m[1].text, m[1].source)
    )


def limit_rows() -> list[str]:
    rows = (
        f"| {module} | {_cell(limit.text)} | {_cell(', '.join(filter(None, (limit.source, limit.clause))))} "
        f"| {limit.provenance} |"
        for module, limit in limits()
    )
    return list(dict.fromkeys(rows))


def section() -> str:
    """The whole section as it stands in DEVELOPERS.md."""
    return "\n".join(
        [
            "## Sources of the checks",
            "",
            "Printed by `python -m tests.checks.sources`; a test compares. A limit from memory gives a",
            "caution at most. Copies are cited as copies: look up the clause in force before relying on it.",
            "",
            "Values that the formulas are tested against (`tests/checks/values.csv`):",
            "",
            "| check (values) | source, clause | provenance |",
            "| --- | --- | --- |",
            *value_rows(),
            "",
            "Limits that the verdicts rest on:",
            "",
            "| module | limit | source, clause | provenance |",
            "| --- | --- | --- | --- |",
            *limit_rows(),
        ]
    )


if __name__ == "__main__":
    print(section())
