"""What became of each change: kept a line a change, so that a run can be ended and taken up again."""

import json
import tomllib
from collections import Counter
from dataclasses import asdict
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.mutation.changes import ROOMS, ROOT, Change, modules, sample
from tests.mutation.made import program

if TYPE_CHECKING:
    from tests.mutation.running import Ended

SAME = Path(__file__).parent / "same.toml"
"""Changes after which the program still does the same, each with why; and those that are noticed by a test
which is not tried (on PostgreSQL, or in a process of its own), each with that test."""

NOT_NOTICED = ("survived", "cut short", "timed out", "not covered")
STATES = ("noticed", *NOT_NOTICED, "same", "not made", "unreadable", "not yet run")


def sampled(store: Path, seed: str, size: int | None) -> list[Change]:
    """The sample of all rooms, kept in the store as long as the program stays as it is. Rooms take turns."""
    by_room = [_sampled(store, room, seed, size) for room in ROOMS]
    turns = [(place / len(room), change) for room in by_room for place, change in enumerate(room)]
    return [change for _, change in sorted(turns, key=lambda turn: turn[0])]


def _sampled(store: Path, room: str, seed: str, size: int | None) -> list[Change]:
    tool = [
        path for path in sorted(Path(__file__).parent.glob("*.py")) if path.stem in ("changes", "operators")
    ]
    read = [path.read_bytes() for path in (*tool, *(ROOT / path for path in modules(ROOMS[room])))]
    key = sha256(b"".join(read) + f"{seed}:{size or ROOMS[room].sample}".encode()).hexdigest()[:16]
    kept = store / f"sample-{room}-{key}.json"
    if not kept.exists():
        kept.write_text(json.dumps([asdict(change) for change in sample(room, seed, size)]))
    return [Change(**change) for change in json.loads(kept.read_text())]


def all_results(store: Path) -> list[dict[str, Any]]:
    """Every result that a store keeps, of whatever program, the earliest first."""
    lines = [json.loads(line) for path in store.glob("results-*.jsonl") for line in _read(path)]
    return sorted(lines, key=lambda line: str(line["at"]))


def _read(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()


class Results:
    """The results of a store for the program as it is; this run writes to a file of its own. What was found
    of another program is no result of this one: it only says which test to try first."""

    def __init__(self, store: Path, run: str = "") -> None:
        self._file, self._program = store / f"results-{run}.jsonl", program()
        self.found: dict[str, dict[str, Any]] = {
            line["name"]: line for line in all_results(store) if line.get("program") == self._program
        }

    def keep(self, change: Change, ended: "Ended", covering: int) -> None:
        """Writes one result down and tells it."""
        before, after = change.lines()
        line = asdict(change) | asdict(ended) | {"covering": covering, "before": before, "after": after}
        line |= {"at": datetime.now().isoformat(), "program": self._program}
        with self._file.open("a") as file:
            file.write(json.dumps(line) + "\n")
        where = f"{change.path}:{change.line}"
        print(f"{change.name} {ended.state:<11} {ended.seconds:5.1f} s {where} {ended.by[:90]}", flush=True)

    def unnoticed(self, name: str) -> bool:
        """Whether the change was made and no test noticed it, though it does something else."""
        return (
            name in self.found
            and self.found[name]["state"] in (*NOT_NOTICED, "not made")
            and name not in same() | noticed_elsewhere()
        )


def same() -> dict[str, str]:
    """Why a change is none, by its name."""
    return {one["name"]: one["why"] for one in _told() if "why" in one}


def noticed_elsewhere() -> dict[str, str]:
    """The test outside the map that fails with a change, by its name."""
    return {one["name"]: one["test"] for one in _told() if "test" in one}


def _told() -> list[dict[str, str]]:
    told: list[dict[str, str]] = tomllib.loads(SAME.read_text(encoding="utf-8"))["change"]
    return told


def report(store: Path, seed: str, size: int | None) -> int:
    """Prints the figures by room, then each change that no test noticed."""
    found, reasons, elsewhere = Results(store).found, same(), noticed_elsewhere()
    head = ("room", *STATES, "noticed of 100")
    print("  ".join(head))
    total: Counter[str] = Counter()
    left: list[dict[str, Any]] = []
    for room in ROOMS:
        counted: Counter[str] = Counter()
        for change in _sampled(store, room, seed, size):
            line = found.get(change.name)
            state = "not yet run" if line is None else line["state"]
            if state != "noticed" and change.name in reasons:
                state = "same"
            elif change.name in elsewhere:
                state = "noticed"
            elif line is not None and state not in ("noticed", "unreadable"):
                left.append(line | {"line": change.line})
            counted[state] += 1
        total += counted
        print(_row(room, counted, head))
    print(_row("all", total, head))
    for line in left:
        print(f"\n{line['name']} {line['state']} {line['path']}:{line['line']} {line['function']}")
        print(f"    {line['before']}\n    {line['after']}")
        print(f"    {line['ran']} of {line['covering']} tests {line['by']}")
    return 0


def _row(room: str, counted: Counter[str], head: tuple[str, ...]) -> str:
    judged = sum(counted[state] for state in ("noticed", *NOT_NOTICED))
    rate = f"{100 * counted['noticed'] / judged:.1f}" if judged else "-"
    return "  ".join(
        str(cell).rjust(len(title))
        for cell, title in zip((room, *(counted[s] for s in STATES), rate), head, strict=True)
    )
