"""The suite many times over: which test failed in which run, and whether each run asked the same tests.

    python -m tests.repeat 10                        # the README's command, ten times
    python -m tests.repeat 5 -n 0 tests/access -x    # whatever pytest takes, five times

Ends with 1 when any run was not good, or unlike the first.
"""

import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

README = ["-n", "2"]
"""What the README gives pytest."""


@dataclass
class Run:
    """`tests`: the outcome of each by its name. `broke`: how it ended when it did not end as a run does."""

    tests: dict[str, str] = field(default_factory=dict)
    seconds: float = 0
    broke: str = ""

    @property
    def failed(self) -> list[str]:
        return sorted(name for name, outcome in self.tests.items() if outcome == "failed")

    def __str__(self) -> str:
        counts = {kind: list(self.tests.values()).count(kind) for kind in ("passed", "failed", "skipped")}
        told = ", ".join(f"{count:,} {kind}" for kind, count in counts.items() if count)
        return f"{told or 'no test'} in {self.seconds:.0f} s" + (f"; {self.broke}" if self.broke else "")


def outcomes(report: Path) -> dict[str, str]:
    """The outcome of each test in a JUnit report: passed, failed (also in its setting up), skipped."""
    found: dict[str, str] = {}
    for case in ElementTree.parse(report).iter("testcase"):
        name = f"{case.get('classname', '')}::{case.get('name', '')}"
        wrong = case.find("failure") is not None or case.find("error") is not None
        told = "failed" if wrong else "skipped" if case.find("skipped") is not None else "passed"
        found[name] = "failed" if "failed" in (told, found.get(name)) else told
    return found


def run(arguments: list[str], folder: Path) -> Run:
    """One run, its output beside the report."""
    report, began = folder / "report.xml", time.monotonic()
    command = [sys.executable, "-m", "pytest", "-q", f"--junitxml={report}", *arguments]
    with (folder / "output.txt").open("w") as output:
        ended = subprocess.run(command, stdout=output, stderr=subprocess.STDOUT, check=False).returncode
    done = Run(outcomes(report) if report.exists() else {}, time.monotonic() - began)
    if ended not in (0, 1) or (ended == 1 and not done.failed):
        done.broke = f"pytest ended with {ended}, see {folder / 'output.txt'}"
    return done


def told(runs: list[Run]) -> list[str]:
    """What was not good, a line each; none when every run was good and like the first."""
    failed = defaultdict(list)
    for number, each in enumerate(runs, 1):
        for name in each.failed:
            failed[name].append(number)
    lines = [f"{name}: failed in run {', '.join(map(str, where))}" for name, where in sorted(failed.items())]
    for number, each in enumerate(runs, 1):
        if each.broke:
            lines.append(f"run {number}: {each.broke}")
        if unlike := each.tests.keys() ^ runs[0].tests.keys():
            lines.append(f"run {number}: not the tests of run 1, such as {min(unlike)}")
    return lines


def main(arguments: list[str]) -> int:
    if not arguments or not arguments[0].isdigit():
        print(__doc__)
        return 2
    times, rest = int(arguments[0]), arguments[1:] or README
    folder, runs = Path(tempfile.mkdtemp(prefix="graftbook-runs-")), []
    for number in range(1, times + 1):
        own = folder / str(number)
        own.mkdir()
        runs.append(run(rest, own))
        print(f"run {number} of {times}: {runs[-1]}", *runs[-1].failed, sep="\n  ", flush=True)
    wrong = told(runs)
    print(*(wrong or [f"{times} runs, each good, each of the same tests."]), sep="\n")
    print(f"Their output is in {folder}.")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
