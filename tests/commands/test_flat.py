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

    def run(
        *options: str,
        rows: str = "FL-1;battery;24 van;4,50\nFL-2;battery;24 vna;1,250\n",
        head: str = "No;What;Model;Cost\n",
    ) -> Result:
        sheet.write_text(head + rows, encoding="utf-8")
        given = ["flat", str(sheet), "--mapping", "small", "--database", database, *options]
        return CliRunner().invoke(app, given)

    return run


def test_a_list_by_command(flat: Callable[..., Result]) -> None:
    unknown = flat()
    assert unknown.exit_code == 2
    assert "there is no mapping 'small' yet: say once which column is what" in unknown.stderr
    assert "--column description=What --column fits=Model --column price=Cost" in unknown.stderr
    asked = flat(*COLUMNS, "--set", "supplier=works")
    assert asked.exit_code == 1
    assert "OPEN fits:24 vna" in asked.stdout
    assert "24 van" in asked.stdout, "a slip of one key is offered put right"
    said = [line.strip() for line in asked.stdout.splitlines()]
    assert "OPEN fits:24 vna" in said, "what an answer is given to stands by itself, to be copied"
    assert "Line 3: “24 vna” is not known as a word for vehicles, or can be read in two ways." in said
    assert "Answers: 24 van; every vehicle; out (leave this word out); another vehicle" in said
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


TITLED = "Spring list;;;\n;;;\nNo;What;Model;Cost\n"


def test_a_title_above_the_heads_is_found_out(flat: Callable[..., Result]) -> None:
    proposed = flat(head=TITLED)
    assert "The list's columns are No, What, Model, Cost, as line 3 says" in proposed.stderr
    taken = flat(*COLUMNS, "--set", "supplier=works", "--decided", head=TITLED)
    assert "The heads stand in line 3." in taken.stderr
    assert "FL-1" not in taken.stderr
    assert taken.exit_code == 0
    moved = flat(head="No;What;Model;Cost\n")
    assert moved.exit_code == 2
    assert "The heads stand in line 1: set `head_line` to 1" in moved.stderr


def test_the_line_of_the_heads_may_be_said_before_the_columns_are(flat: Callable[..., Result]) -> None:
    proposed = flat("--set", "head_line=2", head="No;What;Model;Cost\nNr;Was;Typ;Preis\n")
    assert "The list's columns are Nr, Was, Typ, Preis, as line 2 says" in proposed.stderr


def test_answers_that_nothing_asked_for_and_what_was_assumed_are_told(flat: Callable[..., Result]) -> None:
    said = ("--set", "supplier=works", "--answer", "fits:24 vam=24 van", "--answer", "price_mark:*=comma")
    told = flat(*COLUMNS, *said, rows="FL-1;battery;24 vna;1,250\nfl1;battery;24 van;1,250\n")
    assert "Nothing is asked that the answer to 'fits:24 vam' is for" in told.stderr
    assert "price_mark" not in told.stderr
    assert "TOLD Line 3: “fl1” is read as FL-1." in told.stdout


def test_of_many_questions_some_of_each_kind_are_shown_and_all_are_counted(
    flat: Callable[..., Result],
) -> None:
    rows = (
        "".join(f"FL-{n};battery;no such {n};4.50\n" for n in range(100, 130)) + "FL-7;battery;24 van;1,250\n"
    )
    asked = flat(*COLUMNS, "--set", "supplier=works", rows=rows)
    assert asked.stdout.count("OPEN fits:") == 3
    assert "OPEN price_mark:1,250" in asked.stdout
    assert "words for vehicles that are not known 30, prices that can be read two ways 1." in asked.stdout
    assert "--answer 'key=value'" in asked.stdout
    assert "another vehicle" in asked.stdout


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (("--column", "nmber=No"), "column nmber: one of 'number'"),
        (("--column", "number"), "'number' is not of the form name=value"),
        ((*COLUMNS, "--set", "supplier=nobody"), "There is no supplier 'nobody'"),
        ((*COLUMNS, "--set", "head_line=first"), "line of the heads: a whole number is needed here"),
        ((*COLUMNS, "--set", "currency=pounds"), "currency: three capital letters are needed"),
        ((*COLUMNS, "--set", "comma=yes"), "comma: there is no such field; take it out"),
    ],
)
def test_wrong_use_is_told_in_a_line(flat: Callable[..., Result], wrong: tuple[str, ...], words: str) -> None:
    told = flat(*wrong)
    assert words in told.stderr
    assert told.exit_code == 2
    assert told.stderr.count("\n") <= 2
    assert "Traceback" not in told.stderr
