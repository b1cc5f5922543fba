"""What a benchmark found, as one report: Markdown to read, JSON to compare, SVG plots to look at.

A subject is a function `tables(full: bool)` of a module here that yields a `Table` each time one is finished.
Every line of a table holds its figure against something that ran beside it in the same run.
"""

import importlib.metadata
import json
import os
import platform
import sqlite3
import subprocess
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.benchmarks.plot import Plot, svg

PACKAGES = (
    "fastapi", "starlette", "uvicorn", "pydantic", "SQLAlchemy", "orjson", "numpy", "ortools", "scipy",
    "networkx", "python-sat", "resolvelib",
)  # fmt: skip
ROOT = Path(__file__).resolve().parents[2]


Told = list[tuple[str, str]]
"""What was measured, and its figure in words."""


@dataclass(frozen=True)
class Line:
    """One figure: ours, what stands beside it, and the ratio of the two as its table says.

    `target`: what the ratio, or the figure, should be, in words; `met`: whether it is, None without a target.
    `checked`: how the answers that were timed were held against another route. `more`: further columns.
    """

    what: str
    ours: float
    beside: float | None = None
    ratio: float | None = None
    target: str = ""
    met: bool | None = None
    checked: str = ""
    more: Mapping[str, float | str] = field(default_factory=dict)


@dataclass
class Table:
    """One subject's lines. `unit`: of `ours` and `beside`; `ratio`: what the ratio means, in words."""

    title: str
    says: str
    beside: str
    unit: str
    ratio: str
    lines: list[Line] = field(default_factory=list)
    plots: list[Plot] = field(default_factory=list)


def times(ours: float, beside: float) -> float:
    """How many times as fast ours is."""
    return beside / ours if ours else float("inf")


def at_least(ratio: float, least: float) -> dict[str, Any]:
    """A target of a ratio, and whether it is met: `Line(…, **at_least(ratio, 15))`."""
    return {"target": f"at least {least:g}", "met": ratio >= least}


def number(value: float | str | None) -> str:
    """A figure with three digits that count."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if value == 0 or abs(value) >= 100:
        return f"{value:,.0f}"
    return f"{value:.3g}"


# The machine ------------------------------------------------------------------------------------


def machine() -> dict[str, Any]:
    """What the figures were measured on and with."""
    return {
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "commit": _commit(),
        "processor": _processor(),
        "cores": os.cpu_count(),
        "memory_gigabytes": round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9, 1),
        "system": platform.platform(),
        "load_of_one_minute": os.getloadavg()[0],
        "versions": {"Python": platform.python_version(), "SQLite": sqlite3.sqlite_version, **_packages()},
    }


def _packages() -> dict[str, str]:
    found = {}
    for package in PACKAGES:
        try:
            found[package] = importlib.metadata.version(package)
        except importlib.metadata.PackageNotFoundError:
            found[package] = "not installed"
    return found


def _commit() -> str:
    told = subprocess.run(
        ["git", "describe", "--always", "--dirty"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return told.stdout.strip() or "unknown"


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), "unknown")


# Writing ----------------------------------------------------------------------------------------


def write(
    folder: Path,
    on: Mapping[str, Any],
    tables: Mapping[str, list[Table]],
    told: Mapping[str, Told] | None = None,
) -> Path:
    """The report of what was measured so far; returns the Markdown's path. `told`: figures in words."""
    folder.mkdir(parents=True, exist_ok=True)
    document = {
        "machine": dict(on),
        "subjects": {name: [asdict(table) for table in found] for name, found in tables.items()},
        "told": dict(told or {}),
    }
    (folder / "report.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    for name, found in tables.items():
        for file, plot in _plots(name, found):
            (folder / file).write_text(svg(plot), encoding="utf-8")
    path = folder / "report.md"
    lines = [*_markdown(on, tables), *_in_words(told or {})]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _plots(subject: str, tables: Iterable[Table]) -> Iterator[tuple[str, Plot]]:
    plots = [plot for table in tables for plot in table.plots]
    for count, plot in enumerate(plots, 1):
        yield f"{subject}-{count}.svg", plot


def _markdown(on: Mapping[str, Any], tables: Mapping[str, list[Table]]) -> Iterator[str]:
    yield "# How quick it is, and beside what\n"
    yield (
        f"Measured {on['at']} at {on['commit']}, on {on['processor']}, {on['cores']} cores, "
        f"{on['memory_gigabytes']} GB, {on['system']}; "
        f"load {on['load_of_one_minute']:.1f} at the beginning.\n"
    )
    yield ", ".join(f"{name} {version}" for name, version in on["versions"].items()) + ".\n"
    lines = [line for found in tables.values() for table in found for line in table.lines]
    with_target = [line for line in lines if line.met is not None]
    met = sum(bool(line.met) for line in with_target)
    yield f"Of {len(with_target)} figures with a target, {met} reach it.\n"
    for name, found in tables.items():
        for table in found:
            yield from _section(table)
        for file, plot in _plots(name, found):
            yield f"![{plot.title}]({file})\n"


def _in_words(told: Mapping[str, Told]) -> Iterator[str]:
    for name, rows in told.items():
        yield f"## {name}\n\n| | |\n| --- | --- |"
        yield from (f"| {what} | {figure} |".replace("\n", " ") for what, figure in rows)
        yield ""


def _section(table: Table) -> Iterator[str]:
    yield f"## {table.title}\n"
    yield f"{table.says} Beside: {table.beside}. Ratio: {table.ratio}.\n"
    yield from as_rows(table)
    yield ""


def as_rows(table: Table) -> Iterator[str]:
    """A table in Markdown; a column that no line fills is left out."""
    more = list(dict.fromkeys(name for line in table.lines for name in line.more))
    rows = [["", f"ours, {table.unit}", f"beside, {table.unit}", "ratio", "target", "", *more, "checked"]]
    for line in table.lines:
        met = {None: "", True: "reached", False: "**missed**"}[line.met]
        figures = [number(line.ours), number(line.beside), number(line.ratio)]
        further = [number(line.more.get(name)) for name in more]
        rows.append([line.what, *figures, line.target, met, *further, line.checked])
    kept = [n for n in range(len(rows[0])) if any(row[n] for row in rows[1:])]
    for count, row in enumerate(rows):
        yield "| " + " | ".join(row[n].replace("|", "\\|") for n in kept) + " |"
        if count == 0:
            yield "| " + " | ".join("---" if n in (0, len(row) - 1) else "---:" for n in kept) + " |"
