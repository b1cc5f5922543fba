"""Runs the benchmarks and writes a report: `python -m tests.benchmarks [--full] [--to FOLDER] [NAME …]`.

The quick form takes a few minutes, `--full` more sizes and more rounds; with names, only those. The report is
`report.md`, `report.json` and plots in FOLDER (benchmarks/). Processor time is told where other work on the
machine would move the clock; ratios to what ran beside in the same run say more than either.
"""

import argparse
import importlib
from pathlib import Path

from tests.benchmarks.report import Table, Told, as_rows, machine, write

SUBJECTS = ("answers", "contradictions", "wide", "arithmetic", "splitting", "scale")
"""Modules with `tables(full)`."""
ROWS = (
    "http_speed",
    "sending",
    "looking_up",
    "reasoning_speed",
    "pages_speed",
    "journeys",
    "commands_speed",
)
"""Modules with `run()`, which yields (what, figures in words)."""
LONG = ("load_speed", "mixed")
"""Such modules that take long: only by name, or in the full form."""


def main(arguments: list[str] | None = None) -> int:
    """Run each benchmark, print its figures, write the report; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join((*SUBJECTS, *ROWS, *LONG)))
    parser.add_argument("--full", action="store_true", help="more sizes, more rounds")
    parser.add_argument("--to", type=Path, default=Path("benchmarks"), metavar="FOLDER")
    given = parser.parse_args(arguments)
    if unknown := set(given.names) - {*SUBJECTS, *ROWS, *LONG}:
        parser.error(f"there is no benchmark {', '.join(sorted(unknown))}")
    on = machine()
    found: dict[str, list[Table]] = {}
    told: dict[str, Told] = {}
    for name in given.names or (*SUBJECTS, *ROWS, *(LONG if given.full else ())):
        module = importlib.import_module(f"tests.benchmarks.{name}")
        if name in SUBJECTS:
            for table in module.tables(given.full):
                found.setdefault(name, []).append(table)
                _print(table)
                write(given.to, on, found, told)
            continue
        title = (module.__doc__ or name).splitlines()[0]
        print(f"\n{title}")
        for what, figure in module.run():
            told.setdefault(title, []).append((what, figure))
            print(f"  {what:<74} {figure}", flush=True)
    print(f"\nWritten: {write(given.to, on, found, told)}")
    return 0


def _print(table: Table) -> None:
    print(f"\n{table.title}\n")
    for row in as_rows(table):
        print(row, flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
