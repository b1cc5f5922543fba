"""What a command costs: processor time of its whole process, as a ratio to `python -c pass`.

On the demo range in a SQLite file. Of several runs the cheapest counts: other programs only add to it.
"""

import os
import resource
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.sending import demo_in

ROOT = Path(__file__).resolve().parents[2]
NOTHING = [sys.executable, "-c", "pass"]
ENTRY = [sys.executable, "-c", "from graftbook.commands.entry import main; main()"]
COMMANDS = (
    "--version", "--help", "columns component", "find front discs", "find qb3310", "history", "compare 1",
    "keys list", "fits 24PL-018412 QB-3310", "closure --chassis 24PL-018412 --fit QB-3310 --summary",
)  # fmt: skip
ROUNDS = 5


def run() -> Iterator[tuple[str, str]]:
    """Each command with its seconds of processor time and the ratio."""
    with TemporaryDirectory() as folder:
        environment = os.environ | {
            "GRAFTBOOK_DATABASE_URL": demo_in(folder),
            "PYTHONPATH": str(ROOT / "api"),
        }
        nothing = _cheapest(NOTHING, environment)
        yield "python -c pass", f"{nothing:.3f} s"
        for command in COMMANDS:
            seconds = _cheapest([*ENTRY, *command.split()], environment)
            yield f"graftbook {command}", f"{seconds:.2f} s, {seconds / nothing:.0f} times as much"


def _cheapest(command: list[str], environment: dict[str, str]) -> float:
    return min(_processor_time(command, environment) for _ in range(ROUNDS))


def _processor_time(command: list[str], environment: dict[str, str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, env=environment, capture_output=True, check=False, timeout=120)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
