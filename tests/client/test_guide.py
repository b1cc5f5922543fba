"""The programs and commands in the guide's page about the client run as they stand there."""

import re
import shlex
from collections.abc import Iterator
from typing import Any

import pytest
from typer.testing import CliRunner

from graftbook.client import Client
from graftbook.commands.cli import app
from graftbook.guide.book import FOLDER
from tests.soundness.server import Served, serve

pytestmark = pytest.mark.one_engine

TEXT = (FOLDER / "client.md").read_text(encoding="utf-8")
PROGRAMS = re.findall(r"^```python\n(.*?)^```", TEXT, re.M | re.S)
COMMANDS = re.findall(r"^\$ graftbook (.*)$", TEXT, re.M)


@pytest.fixture(scope="module")
def served(sqlite_databases: Any, sqlite_demo_url: str) -> Iterator[Served]:
    """What the programs ask has been proved before: a busy machine may take longer than they wait."""
    with serve(sqlite_databases.copy(sqlite_demo_url)) as running:
        with Client(running.address) as shop:
            for van in ("24PL-018412", "24PR-012000"):
                asked = shop.closure(van, wishes=[{"fit": "QL-7075"}], deadline_seconds=30.0)
                assert asked["outcome"] == "proved"
        yield running


def test_there_is_something_to_run():
    assert (len(PROGRAMS), len(COMMANDS)) == (3, 2)


@pytest.mark.parametrize(
    ("program", "shown"),
    list(zip(PROGRAMS, ["proved\n", "", "24PL-018412 proved\n24PR-012000 proved\n"], strict=True)),
    ids=["asking", "changing", "awaiting"],
)
def test_a_program_of_the_guide_runs(
    served: Served, capsys: pytest.CaptureFixture[str], program: str, shown: str
):
    text = program.replace("http://127.0.0.1:8000", served.address).replace("graftbook_…", served.key)
    exec(compile(text, "client.md", "exec"), {"__name__": "__main__"})
    assert capsys.readouterr().out.startswith(shown)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_the_guide_runs(served: Served, command: str):
    done = CliRunner().invoke(app, shlex.split(command.replace("http://127.0.0.1:8000", served.address)))
    assert done.exit_code == 0, done.output
    assert "Q" in done.stdout
