"""The forms of the suite beside the README's command:

    python -m tests quick    # while one works: lint, types, and the tests that need no database
    python -m tests long     # what is asked by hand and judges itself, one after the other; hours

Says of each part how it ended and how long it took, and ends with 1 when one was not good.
"""

import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[1]

PURE = ("rulebook", "closure/test_rules.py", "checks", "guide", "test_walls.py")
"""Where the quick form looks for tests; of these it leaves out what needs a database or takes long."""
QUICK = (
    ("ruff", "check", "."),
    ("mypy",),
    ("pytest", "--quick", "-q", "-n", "0", *(f"tests/{name}" for name in PURE)),
)
LONG = (
    ("pytest", "--long", "-n", "2"),
    ("pytest", "--hypothesis-profile=search", "tests/soundness", "tests/orders"),
    ("tests.closure.sweep",),
    ("tests.soundness", "schema", "--examples", "60"),
    ("tests.soundness", "model", "--examples", "100"),
    ("tests.soundness", "contest", "--rounds", "100"),
    ("tests.soundness.beside", "--minutes", "4", "--engine", "sqlite", "--load", "60000"),
    ("tests.soundness.beside", "--minutes", "4", "--engine", "postgresql", "--load", "60000"),
    ("tests.soundness.deadlines",),
    ("tests.soundness.kills", "--kills", "300"),
    ("tests.soundness.worst",),
)


class Ended(NamedTuple):
    """How a part ended: its exit code, its seconds, and what it said where it did not say so itself."""

    part: tuple[str, ...]
    code: int
    seconds: float
    said: str = ""

    def __str__(self) -> str:
        good = "good" if self.code == 0 else f"NOT GOOD ({self.code})"
        return f"{' '.join(self.part[:3])}: {good}, {self.seconds:.0f} s"


def beside_each_other(parts: Iterable[tuple[str, ...]]) -> list[Ended]:
    """All at once, since none needs a whole machine; what each says comes when it has ended."""
    began = time.monotonic()
    running = [
        (part, subprocess.Popen(_command(part), cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT))
        for part in parts
    ]
    ended = []
    for part, process in running:
        said, _ = process.communicate()
        ended.append(Ended(part, process.returncode, time.monotonic() - began, said.decode()))
    return ended


def one_after_the_other(parts: Iterable[tuple[str, ...]]) -> list[Ended]:
    """Each alone on the machine: most of them look at how long something takes."""
    ended = []
    for part in parts:
        print(f"--- {' '.join(part)}", flush=True)
        began = time.monotonic()
        code = subprocess.run(_command(part), cwd=ROOT, check=False).returncode
        ended.append(Ended(part, code, time.monotonic() - began))
    return ended


def _command(part: tuple[str, ...]) -> list[str]:
    return [sys.executable, "-m", *part]


FORMS: dict[str, Callable[[], list[Ended]]] = {
    "quick": lambda: beside_each_other(QUICK),
    "long": lambda: one_after_the_other(LONG),
}


def main(arguments: list[str]) -> int:
    """One form; 1 when a part of it was not good."""
    if len(arguments) != 1 or arguments[0] not in FORMS:
        print(__doc__)
        return 2
    ended = FORMS[arguments[0]]()
    for part in ended:
        print(part.said, end="")
    print(*ended, sep="\n")
    return 1 if any(part.code for part in ended) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
