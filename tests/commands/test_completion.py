"""Tab offers what is in the database, for each shell, and is silent whatever goes wrong."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from graftbook.catalogue.store.completions import MOST, completions

ROOT = Path(__file__).resolve().parents[2]
ENTRY = [sys.executable, "-c", "from graftbook.commands.entry import main; main()"]


def offered(shell: str, typed: str, database: str) -> tuple[list[str], str]:
    """What Tab offers behind a line as it is typed; the standard error with it."""
    words = typed.split(" ")
    environment = os.environ | {
        "PYTHONPATH": str(ROOT / "api"),
        "GRAFTBOOK_DATABASE_URL": database,
        "_GRAFTBOOK_COMPLETE": f"complete_{shell}",
        "COMP_WORDS": typed,
        "COMP_CWORD": str(len(words) - 1),
        "_TYPER_COMPLETE_ARGS": typed,
        "_TYPER_COMPLETE_FISH_ACTION": "get-args",
    }
    code = ENTRY[2].replace("main()", "import sys; sys.argv[0] = 'graftbook'; main()")
    done = subprocess.run(
        [*ENTRY[:2], code], env=environment, cwd="/", capture_output=True, text=True, timeout=60, check=False
    )
    return [name for name in done.stdout.splitlines() if name], done.stderr


@pytest.mark.parametrize(
    ("typed", "first"),
    [
        ("graftbook closure --chassis 24PL", "24PL-000101"),
        ("graftbook closure --fit QB-331", "QB-3310"),
        ("graftbook fits 24PL-018412 QB-331", "QB-3310"),
        ("graftbook closure --keep brake.fr", "brake.front.left"),
        ("graftbook closure --keep-section whe", "wheels"),
        ("graftbook closure --remedy freewheel-s", "freewheel-seizes"),
        ("graftbook order --fit QB-3310@brake.front.l", "QB-3310@brake.front.left"),
        ("graftbook closure --fitted brake.front.left=QB-331", "brake.front.left=QB-3310"),
        ("graftbook closure --fitted brake.front.l", "brake.front.left="),
        ("graftbook history flaw freewheel-s", "freewheel-seizes"),
        ("graftbook remove fitm", "fitment"),
        ("graftbook take", "take-back"),
    ],
)
def test_names_come_from_the_database(sqlite_demo_url: str, typed: str, first: str):
    names, errors = offered("bash", typed, sqlite_demo_url)
    assert (names[0], errors) == (first, "")
    assert all(name.startswith(typed.rsplit(" ", 1)[1]) for name in names)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_shell_is_offered_them(sqlite_demo_url: str, shell: str):
    names, errors = offered(shell, "graftbook closure --fit QB-331", sqlite_demo_url)
    assert any("QB-3310" in name for name in names)
    assert errors == ""


def test_what_goes_wrong_offers_nothing_says_nothing_and_leaves_nothing(tmp_path: Path):
    (tmp_path / "text.sqlite3").write_text("no database")
    left = sorted(tmp_path.iterdir())
    for address in (
        f"sqlite:///{tmp_path / 'none.sqlite3'}", f"sqlite:///{tmp_path / 'text.sqlite3'}", "sqlite://",
        "rubbish", "postgresql://nobody@127.0.0.1:9/nothing",
    ):  # fmt: skip
        assert offered("bash", "graftbook closure --fit QB", address) == ([], ""), address
    assert sorted(tmp_path.iterdir()) == left


def test_it_is_bounded_and_writes_nothing(demo_copy: Callable[[], str]):
    url = demo_copy()
    assert len(completions(url, "component", "")) == MOST
    assert len(completions(url, "component", "QB-3")) <= MOST
    assert completions(url, "component", "nobody' OR '1'='1") == []


def test_both_engines_offer_the_same(demo_url: str, sqlite_demo_url: str):
    for what, start in (("component", "QB-33"), ("position", "brake."), ("chassis", "24PL"), ("flaw", "d")):
        assert completions(demo_url, what, start) == completions(sqlite_demo_url, what, start) != []
