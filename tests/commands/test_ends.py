"""How the command ends: one code for each meaning, no traceback, no file that nobody asked for."""

import json
import os
import re
import signal
import sqlite3
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command
from typer.testing import CliRunner, Result

from graftbook.catalogue.loading.imports import load
from graftbook.client.problems import NOT_A_PROBLEM
from graftbook.commands.cli import app
from graftbook.commands.exits import MEANING, Ends, ends_with, of_answer
from graftbook.guide.book import page_text
from graftbook.problems import Problem, Unavailable
from tests.catalogue.sheet import small
from tests.running import cases

ROOT = Path(__file__).resolve().parents[2]
ENTRY = [sys.executable, "-c", "from graftbook.commands.entry import main; main()"]
ASK = ("--chassis", "24PL-018412", "--fit", "QB-3310")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments))


LOADED = [*ENTRY[:2], "from graftbook.commands.entry import main; import os; os.write(2, b'.'); main()"]
"""The same, which says when the interpreter has started: a signal before that is nobody's."""


@pytest.fixture
def tern(sqlite_databases: Any) -> str:
    """The small catalogue in a SQLite file of the test's own."""
    url: str = sqlite_databases.copy(sqlite_databases.once("small", lambda engine: load(engine, small())))
    return url


def started(
    *arguments: str, database: str, entry: list[str] = ENTRY, **how: object
) -> "subprocess.Popen[bytes]":
    environment = os.environ | {"GRAFTBOOK_DATABASE_URL": database, "PYTHONPATH": str(ROOT / "api")}
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen([*entry, *arguments], env=environment, cwd="/", **{**pipes, **how})


def ended(*arguments: str, database: str, **how: object) -> tuple[int, bytes, bytes]:
    process = started(*arguments, database=database, **how)
    out, errors = process.communicate(timeout=120)
    return process.returncode, out, errors


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("closure", *ASK), Ends.DONE),
        (("fits", "24pl 18412", "qb3310"), Ends.DONE),
        (("closure", *ASK, "--keep-section", "wheels"), Ends.NO),
        (("fits", "24PL-018412", "QA-1160"), Ends.NO),
        (("check", "--chassis", "24PL-018412", "QB-3310"), Ends.NO),
        (("order", *ASK, "--refuse", "QB-3310"), Ends.NO),
        (("order", *ASK), Ends.DONE),
        (("order", *ASK, "--at-most-suppliers", "1"), Ends.NO),
        (("order", *ASK, "--at-most-suppliers", "1", "--summary"), Ends.NO),
        (("order", *ASK, "--at-most-suppliers", "1", "--format", "json"), Ends.NO),
        (("order", *ASK, "--part", "supplier:works"), Ends.WRONG_USE),
        (("find", "carbide"), Ends.NO),
        (("history", "component", "NOBODY"), Ends.NO),
        (("fits", "24PL-018412", "NOBODY"), Ends.WRONG_USE),
        (("fits", "ZZ-1", "QB-3310"), Ends.WRONG_USE),
        (("closure", "--chassis", "ZZ-1", "--fit", "QB-3310"), Ends.WRONG_USE),
        (("order", *ASK, "--format", "pdf", "--output", "/nonexistent/a.pdf"), Ends.WRONG_USE),
        (("export", "/nonexistent/a.csv"), Ends.WRONG_USE),
        (("stock", "list", "/nonexistent/a.csv"), Ends.WRONG_USE),
        (("new", "/dev/null/range"), Ends.WRONG_USE),
        (("migrate", "nosuch"), Ends.WRONG_USE),
        (("compare", "70", "90"), Ends.WRONG_USE),
        (("history", "nokind", "x"), Ends.WRONG_USE),
        (("take-back", "70"), Ends.WRONG_USE),
        (("remove", "component", "NOBODY"), Ends.WRONG_USE),
        (("keys", "revoke", "nobody"), Ends.WRONG_USE),
        (("nosuch",), Ends.WRONG_USE),
        (("closure", "--nosuch"), Ends.WRONG_USE),
        (("lint", "--database", "sqlite:////nonexistent/folder/a.sqlite3"), Ends.NO_DATABASE),
        (("migrate", "--database", "sqlite:////nonexistent/folder/a.sqlite3"), Ends.NO_DATABASE),
        (("remove", "component", "QB-3310", "--dry-run"), Ends.REFUSED),
        (("remove", "component", "QB-3310", "--with-own", "--dry-run"), Ends.REFUSED),
        (("load", __file__, "--dry-run"), Ends.REFUSED),
        (("remove", "supplier", "thornlode", "--with-own", "--dry-run"), Ends.DONE),
        (("--version",), Ends.DONE),
        (("-h",), Ends.DONE),
        (("keys", "create", "-h"), Ends.DONE),
    ],
)
def test_each_end_has_its_code_and_one_readable_line(
    sqlite_demo_url: str, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], code: Ends
):
    monkeypatch.setenv("GRAFTBOOK_DATABASE_URL", sqlite_demo_url)
    result = run(*arguments)
    assert result.exit_code == code, result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert not re.search(r"Traceback|Errno", result.output)


def test_what_stands_in_the_way_of_a_removal_is_told_with_what_takes_it_along(
    sqlite_demo_url: str, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("GRAFTBOOK_DATABASE_URL", sqlite_demo_url)
    told = "With --with-own what says nothing without it goes too."
    assert told in run("remove", "supplier", "thornlode", "--dry-run").stderr
    assert told not in run("remove", "component", "QB-3310", "--with-own", "--dry-run").stderr


def test_the_guide_and_the_help_tell_every_code():
    rows = re.findall(r"^\| (\d+) \| (.+) \|$", page_text("command"), re.M)
    assert rows == [(str(int(code)), meaning) for code, meaning in MEANING.items()]
    assert set(MEANING) == set(Ends)
    told = " ".join(run("--help").stdout.split())
    assert all(f"{code:d} {meaning}" in told for code, meaning in MEANING.items())


def leaves(kind: type[Problem]) -> list[type[Problem]]:
    return [kind, *(leaf for each in kind.__subclasses__() for leaf in leaves(each))]


def test_every_problem_has_an_end_and_only_what_is_unforeseen_is_a_fault():
    codes = {}
    for leaf in leaves(Problem):
        problem = leaf.__new__(leaf)
        problem.pointer = ""
        codes[leaf] = ends_with(problem)
    assert {leaf for leaf, code in codes.items() if code is Ends.FAULT} == {Problem}
    assert [leaf for leaf, code in codes.items() if code is Ends.NO_DATABASE] == [Unavailable]


@pytest.mark.parametrize(
    ("kind", "status", "code"),
    [
        ("/problems/no-set", 409, Ends.NO),
        ("/problems/busy", 503, Ends.NOT_IN_TIME),
        ("/problems/not-in-time", 503, Ends.NOT_IN_TIME),
        ("/problems/too-entangled", 422, Ends.NOT_IN_TIME),
        ("/problems/unavailable", 503, Ends.NO_DATABASE),
        (NOT_A_PROBLEM, 502, Ends.NO_DATABASE),
    ],
)
def test_what_a_distant_service_answers_ends_as_it_would_here(kind: str, status: int, code: Ends):
    assert of_answer(kind, status) is code


@pytest.mark.parametrize("form", ["csv", "pdf"])
def test_a_paper_without_all_lines_is_written_and_told(sqlite_demo_url: str, tmp_path: Path, form: str):
    paper = tmp_path / f"order.{form}"
    written = ("--format", form, "--output", str(paper), "--quiet")
    asked = ("order", *ASK, "--database", sqlite_demo_url, *written)
    short = run(*asked, "--at-most-suppliers", "1")
    assert short.exit_code == Ends.NO
    assert re.search(r"\d+ are NOT bought", short.stderr)
    assert paper.stat().st_size > 1000
    assert (run(*asked).exit_code, run(*asked).stderr) == (Ends.DONE, "")


def commands() -> list[tuple[str, ...]]:
    """Every command that asks a database, with arguments that would do."""
    needed = {
        "check": ["X", "--chassis", "X"], "fits": ["X", "X"], "compare": ["1"], "take-back": ["1"],
        "find": ["x"], "remove": ["component", "X"], "load": [__file__], "count": [__file__],
        "sheets": ["/dev/null/s"], "flat": [__file__, "--mapping", "x"], "build": ["x"],
        "specification": ["x"], "order": [*ASK], "backup": ["/dev/null/b"], "revoke": ["x"],
        "create": ["--label", "x", "--scope", "read"],
    }  # fmt: skip
    own = ("migrate", "restore", "demo", "guide", "columns", "new")
    found: list[tuple[str, ...]] = []
    for name, command in get_command(app).commands.items():
        inner = getattr(command, "commands", None)
        each = [(name, sub) for sub in inner] if inner else [(name,)]
        found += [(*path, *needed.get(path[-1], [])) for path in each if name not in own]
    return found


@pytest.mark.parametrize("arguments", commands(), ids=" ".join)
def test_a_misspelt_address_is_told_and_leaves_no_file(tmp_path: Path, arguments: tuple[str, ...]):
    file = tmp_path / "typo.sqlite3"
    result = run(*arguments, "--database", f"sqlite:///{file}")
    assert result.exit_code == Ends.NO_DATABASE, result.output
    assert f"there is no database {file}" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_every_database_command_was_asked():
    assert len(commands()) >= 16


MOMENTS = (0, 0.15, 0.3, 0.5, 0.6, 0.7, 0.85)
"""Of what the command takes; the suite asks at three of them, the long form at all."""


def test_ctrl_c_ends_with_its_code_and_without_a_word_at_any_moment(sqlite_demo_url: str):
    arguments = ("closure", *ASK, "--alternatives", "5")
    begun = time.monotonic()
    assert ended(*arguments, database=sqlite_demo_url)[0] == 0
    whole = time.monotonic() - begun
    for part in MOMENTS[:: max(1, 3 // cases(1))]:
        process = started(*arguments, database=sqlite_demo_url, entry=LOADED)
        assert process.stderr is not None
        assert process.stderr.read(1) == b"."
        time.sleep(whole * part)
        process.send_signal(signal.SIGINT)
        out, errors = process.communicate(timeout=60)
        assert (process.returncode, errors) in ((Ends.INTERRUPTED, b""), (Ends.DONE, b"")), (part, errors)
        assert process.returncode == Ends.DONE or not out


def test_a_solver_leaves_ctrl_c_to_the_command():
    """Left to itself it takes the signal over, and gives it back to nobody: the next one kills."""
    code = (
        "import os, signal\n"
        "signal.signal(signal.SIGINT, lambda *_: print('heard'))\n"
        "from graftbook.closure.search import constrain\n"
        "constrain.warm_up()\n"
        "solver = constrain.new_solver(1.0)\n"
        "solver.solve(constrain.cp().CpModel())\n"
        "os.kill(os.getpid(), signal.SIGINT)\n"
        "print('alive')"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT / "api", capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["heard", "alive"]


def test_the_first_thing_that_the_entry_does_is_to_hear_ctrl_c():
    """What is loaded before is what any interpreter loads."""
    code = (
        "import sys; before = set(sys.modules)\n"
        "import _signal; hear = _signal.signal\n"
        "def heard(*given): print(sorted(set(sys.modules) - before - {'_signal'})); hear(*given)\n"
        "_signal.signal = heard\n"
        "import graftbook.commands.entry"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT / "api", capture_output=True, text=True, check=True
    )
    loaded = ["graftbook", "graftbook.commands", "graftbook.commands.entry"]
    assert done.stdout.splitlines() == [str(loaded)]


@pytest.mark.parametrize("arguments", [("export",), ("closure", *ASK), ("closure", *ASK, "--json")])
def test_a_reader_who_goes_away_ends_it_quietly(sqlite_demo_url: str, arguments: tuple[str, ...]):
    reader, writer = os.pipe()
    os.close(reader)
    try:
        code, _, errors = ended(*arguments, database=sqlite_demo_url, stdout=writer)
    finally:
        os.close(writer)
    assert (code, errors) == (Ends.PIPE_CLOSED, b"")


def test_a_full_disk_and_a_closed_output_are_no_fault(sqlite_demo_url: str):
    with open("/dev/full", "wb") as full:
        code, _, errors = ended("find", "front", "discs", database=sqlite_demo_url, stdout=full)
    assert (code, errors) == (Ends.WRONG_USE, b"graftbook: [Errno 28] No space left on device\n")
    closed = f"exec {' '.join(map(repr, ENTRY))} find discs >&-"
    environment = os.environ | {"GRAFTBOOK_DATABASE_URL": sqlite_demo_url, "PYTHONPATH": str(ROOT / "api")}
    done = subprocess.run(["sh", "-c", closed], env=environment, capture_output=True, check=False, timeout=60)
    assert (done.returncode, done.stderr) == (Ends.DONE, b"")


def test_a_fault_of_the_program_is_one_line_and_shows_where_when_it_is_asked(sqlite_demo_url: str):
    broken = (
        "import graftbook.commands.console as c\n"
        "def fault(*_): raise KeyError('no such thing')\n"
        "c.engine_for = fault\n"
        "import sys; sys.argv[1:] = ['history']\n"
        "from graftbook.commands.entry import main; main()"
    )
    told = []
    for level in ("info", "debug"):
        done = subprocess.run(
            [sys.executable, "-c", broken], cwd=ROOT / "api", capture_output=True, text=True, check=False,
            env=os.environ | {"GRAFTBOOK_LOG_LEVEL": level},
        )  # fmt: skip
        assert done.returncode == Ends.FAULT
        told.append(done.stderr)
    assert told[0] == "graftbook: this is a fault of the program: KeyError: 'no such thing'\n"
    assert "Traceback" in told[1]
    assert told[1].endswith(told[0])


@pytest.fixture
def read_only(tern: str) -> Iterator[Path]:
    """The small catalogue in a folder of its own, where nobody but its owner may write."""
    folder = Path(tempfile.mkdtemp(prefix="graftbook-read-only-", dir="/tmp"))
    file = folder / "tern.sqlite3"
    with sqlite3.connect(tern.partition("///")[2]) as source, sqlite3.connect(file) as target:
        source.backup(target)
        target.execute("PRAGMA journal_mode = WAL")
    target.close()
    source.close()
    file.chmod(0o444)
    folder.chmod(0o555)
    yield file
    folder.chmod(stat.S_IRWXU)
    for each in folder.iterdir():
        each.unlink()
    folder.rmdir()


def test_a_database_that_may_only_be_read_is_read_and_refuses_changes_in_words(
    read_only: Path, monkeypatch: pytest.MonkeyPatch
):
    if os.geteuid() == 0:  # no mode of a file stops the superuser: it is told what anybody else is
        monkeypatch.setattr(
            "graftbook.database.os.access", lambda path, how: bool(os.stat(path).st_mode & how << 6)
        )
    own = ("--database", f"sqlite:///{read_only}")
    for arguments in (("closure", "--chassis", "1R-0001", "--fit", "TB-7L"), ("find", "disc"), ("history",)):
        read = run(*arguments, *own)
        assert (read.exit_code, read.stderr) == (Ends.DONE, "")
        assert read.stdout
    assert run("lint", *own).exit_code == Ends.NO
    refused = run("take-back", "1", *own)
    assert (refused.exit_code, refused.stdout) == (Ends.NO_DATABASE, "")
    assert "takes no changes now" in refused.stderr
    assert [each.name for each in read_only.parent.iterdir()] == ["tern.sqlite3"]


def test_data_goes_to_the_output_and_words_beside_it(tern: str, tmp_path: Path):
    """With --quiet nothing is said when all is well, and everything when it is not."""
    own = ("--database", tern)
    sheet = tmp_path / "one.csv"
    sheet.write_text("[evidence]\nname,grade,reference\nlost,hearsay,a word\n", encoding="utf-8")
    for arguments in (
        ("migrate",),
        ("load", str(sheet), "--dry-run"),
        ("take-back", "1", "--dry-run"),
        ("lint",),
    ):
        aloud, quiet = run(*arguments, *own), run(*arguments, *own, "--quiet")
        assert aloud.stderr
        assert (quiet.stdout, quiet.stderr) == (aloud.stdout, "")
        assert aloud.stdout == "" or arguments == ("lint",)
    wrong = run("load", __file__, *own, "-q")
    assert "nothing was stored" in wrong.stderr
    for arguments in (("history",), ("compare", "1"), ("fits", "1R-0001", "TB-2"), ("lint",)):
        json.loads(run(*arguments, "--json", *own).stdout)


def test_a_day_that_is_none_is_told_with_an_example(tmp_path: Path):
    ended = run("build", "x", "--on", "rubbish", "--database", f"sqlite:///{tmp_path}/x")
    assert ended.exit_code == 2
    assert "'rubbish' is no day" in " ".join(ended.stderr.replace("│", " ").split())
    assert "2026-10-31" in ended.stderr


def test_what_the_house_names_is_told_by_a_command_of_its_own_process(tern: str, tmp_path: Path):
    """A service has loaded every room; a command only what it uses, and missed who names a record."""
    sheet, counted = tmp_path / "one.csv", tmp_path / "counted.csv"
    sheet.write_text("[component]\nnumber,name,section,origin\nZZ-1,a bolt,brakes,modern\n", encoding="utf-8")
    counted.write_text("number,quantity,place\nZZ-1,2,A 2\n", encoding="utf-8")
    own = ("--database", tern)
    assert run("load", str(sheet), *own).exit_code == Ends.DONE
    assert run("stock", "count", str(counted), *own).exit_code == Ends.DONE
    sheet.write_text("[component]\nnumber,name,section,origin\nZZ-2,a bolt,brakes,modern\n", encoding="utf-8")
    for arguments in (
        ("remove", "component", "ZZ-1", "--dry-run"),
        ("remove", "component", "ZZ-1", "--why", "no longer made"),
        ("take-back", "2", "--dry-run"),
        ("take-back", "2"),
        ("load", str(sheet), "--whole", "--yes"),
    ):
        code, _, errors = ended(*arguments, database=tern)
        assert (code, b"the store still names the component 'ZZ-1'" in errors) == (Ends.REFUSED, True), errors


def test_a_command_that_edits_has_loaded_whatever_names_a_record(tern: str):
    naming = (
        "from sqlmodel import SQLModel; import graftbook.catalogue.loading.imports; "
        "from graftbook.catalogue.format.records import KIND_BY_WORD; "
        "print(*sorted(rows.name for rows in SQLModel.metadata.sorted_tables"
        " if {key.column.table.name for key in rows.foreign_keys} & set(KIND_BY_WORD)))"
    )
    every = f"import graftbook.app; {naming}"
    edits = (
        f"from graftbook.commands import console as c; c.engine_to_edit(c.settings_for('{tern}')); {naming}"
    )
    of_service, of_command = (
        subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT / "api", capture_output=True, text=True, check=True
        )
        for code in (every, edits)
    )
    assert of_command.stdout == of_service.stdout
    assert "build_fitting" in of_service.stdout
