"""The tutorial is typed as it stands: files are written, commands run, what they print is compared."""

import re
import shlex
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

import pytest
from typer.testing import CliRunner

from graftbook.commands.cli import app
from graftbook.commands.exits import Ends
from graftbook.guide.book import FOLDER

_BLOCK = re.compile(r"^```(\w+) ?(\S*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def typed(shown: str) -> Iterator[tuple[str, list[str]]]:
    """Each command of a block with the lines that it prints."""
    command, lines = "", []
    for line in shown.splitlines():
        if line.startswith("$ "):
            if command:
                yield command, lines
            command, lines = line[2:], []
        else:
            lines.append(line)
    yield command, lines


def in_order(printed: list[str], shown: list[str]) -> bool:
    """Whether the shown lines are what was printed; `…` stands for any lines."""
    pieces = [list(some) for gap, some in groupby(shown, "…".__eq__) if not gap]
    at = 0
    for number, piece in enumerate(pieces):
        first = number == 0 and shown[0] != "…"
        places = [0] if first else range(at, len(printed) - len(piece) + 1)
        found = next((n for n in places if printed[n : n + len(piece)] == piece), None)
        if found is None:
            return False
        at = found + len(piece)
    return shown[-1] == "…" or at == len(printed)


def test_shown_lines_must_stand_in_their_order_and_nothing_else_between():
    printed = ["a", "b", "c", "d"]
    for shown in (["a", "b", "c", "d"], ["a", "…", "d"], ["…", "c", "d"], ["a", "…"], ["…", "b", "…"]):
        assert in_order(printed, shown), shown
    for shown in (["a", "c", "d"], ["b", "…"], ["a", "…", "c"], ["…", "c", "b", "…"], ["a", "b", "c"], ["x"]):
        assert not in_order(printed, shown), shown


def test_the_tutorial_prints_what_it_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("GRAFTBOOK_DATABASE_URL", raising=False)
    commands = 0
    for language, name, content in _BLOCK.findall((FOLDER / "tutorial.md").read_text(encoding="utf-8")):
        if language == "csv":
            (tmp_path / name).parent.mkdir(exist_ok=True)
            (tmp_path / name).write_text(content, encoding="utf-8")
            continue
        assert language == "console"
        for command, shown in typed(content):
            program, *arguments = shlex.split(command)
            assert program == "graftbook"
            result = CliRunner().invoke(app, arguments)
            printed = [line.rstrip() for line in result.output.splitlines() if line.strip()]
            assert in_order(printed, [line.rstrip() for line in shown]), f"{command}\n{result.output}"
            refused = len(shown) > 1 and "mistake" in shown[1]
            assert result.exit_code == (Ends.REFUSED if refused else Ends.DONE), command
            commands += 1
    assert commands >= 14
    told = " ".join((FOLDER / "tutorial.md").read_text(encoding="utf-8").split())
    for named in ("a *companion*", "a *joint*", "a clash", "a *flaw*", "Proved: the best of all sets"):
        assert named in told
