"""`graftbook flat`: a mapping is kept, open questions end it with 1, answers are kept for the next issue."""

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from graftbook.commands.cli import app

COLUMNS = (
    "--column",
    "number=No",
    "--column",
    "description=What",
    "--column",
    "fits=Model",
    "--column",
    "price=Cost",
)


@pytest.fixture
def flat(demo_copy: Callable[[], str], tmp_path: Path) -> Callable[..., Result]:
    """Runs the command on a list with these rows."""
    database, sheet = demo_copy(), tmp_path / "march.csv"

    def run(*options: str, rows: str = "FL-1;battery;24 van;4,50\nFL-2;battery;24 vna;1,250\n") -> Result:
        sheet.write_text(f"No;What;Model;Cost\n{rows}", encoding="utf-8")
        given = ["flat", str(sheet), "--mapping", "small", "--database", database, *options]
        return CliRunner().invoke(app, given)

    return run


def test_a_list_by_command(flat: Callable[..., Result]) -> None:
    unknown = flat()
    assert unknown.exit_code == 2
    assert "There is no flat list 'small'" in unknown.stderr
    asked = flat(*COLUMNS, "--set", "supplier=works")
    assert asked.exit_code == 1
    assert "OPEN fits:24 vna" in asked.stdout
    assert "24 van" in asked.stdout, "a slip of one key is offered put right"
    assert "nothing was taken" in asked.stderr
    tried = flat("--answer", "fits:24 vna=24 van", "--answer", "price_mark:*=comma", "--dry-run")
    assert tried.exit_code == 0
    assert "6 records would change" in tried.stdout
    assert "6 records changed" in flat().stdout
    second = flat(rows="FL-1;battery;24 van;4,80\nFL-3;battery;24 vna;2,250\n")
    assert second.exit_code == 1
    for told in ("NEW FL-3", "GONE FL-2", "PRICE FL-1: works 4.50, now works 4.80", "OPEN gone:FL-2"):
        assert told in second.stdout
    assert "OPEN fits" not in second.stdout, "what was answered is not asked again"
    assert "OPEN price" not in second.stdout
    taken = flat("--decided", rows="FL-1;battery;24 van;4,80\nFL-3;battery;24 vna;2,250\n")
    assert taken.exit_code == 0


@pytest.mark.parametrize(
    "wrong", [("--column", "nmber=No"), ("--column", "number"), (*COLUMNS, "--set", "supplier=nobody")]
)
def test_wrong_use_is_told_in_a_line(flat: Callable[..., Result], wrong: tuple[str, ...]) -> None:
    told = flat(*wrong)
    assert told.exit_code == 2
    assert told.stderr.count("\n") <= 2
    assert "Traceback" not in told.stderr
