"""The guide says what the program does, and what it tells people to type works."""

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Annotated
from urllib.parse import unquote

import httpx
import pytest
from pydantic import TypeAdapter
from typer.testing import CliRunner

from graftbook.app import create_app
from graftbook.catalogue.format.cell_forms import read_cells
from graftbook.catalogue.format.grid import Cell, Place
from graftbook.catalogue.format.reading import SheetReading
from graftbook.catalogue.format.records import KINDS, Record
from graftbook.commands.cli import app as commands
from graftbook.guide import made
from graftbook.guide.book import FOLDER, PAGES, page_text
from graftbook.settings import Settings


def test_every_page_has_its_text_and_every_text_its_page():
    assert {path.stem for path in FOLDER.glob("*.md")} == set(PAGES)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_whole(name: str):
    text = page_text(name)
    assert text.startswith(f"# {PAGES[name]}\n")
    assert "<!--" not in text, "a part that nothing makes"
    assert not re.search(r"^#{2,3} .*\n\n(?=#)", text, re.M) or name == "format", "a heading without text"
    for linked in re.findall(r"\]\(/guide/(\w+)\)", text):
        assert linked in PAGES, f"{name} leads to {linked}"
    for table in re.findall(r"(?:^\|.*\n)+", text, re.M):
        assert len({line.count("|") for line in table.splitlines()}) == 1, table


def test_what_the_guide_makes_is_used_and_complete():
    used = {
        name for path in FOLDER.glob("*.md") for name in re.findall(r"<!-- made: (\w+) -->", path.read_text())
    }
    assert used == set(made.MADE)
    columns = made.columns()
    for kind in KINDS:
        assert f"### {kind.kind_of_record}\n" in columns
        assert f"[{kind.kind_of_record}]\n" in columns, "an example of each kind"
        for name in kind.model_fields:
            assert f"| `{name}` |" in columns
    assert all(f"`GRAFTBOOK_{name.upper()}`" in made.settings() for name in Settings.model_fields)


def test_the_columns_say_how_a_cell_is_written():
    rows = made.columns_of_kind(next(k for k in KINDS if k.kind_of_record == "component")).splitlines()
    assert "| `number` | needed | text |  | part number, as it is ordered | `B-101` |" in rows
    assert any(
        row.startswith("| `origin` | needed | `original`; `later-model`; `modern` |  | from") for row in rows
    )
    assert any(row.startswith("| `visible` |  | `yes`; `no` |") for row in rows)
    assert any(
        row.startswith("| `pack` |  | whole number | pieces | pieces in a pack | `1` |") for row in rows
    )
    assert any(row.startswith("| `price` |  | money | the catalogue's currency |") for row in rows)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.kind_of_record)
def test_every_column_has_a_meaning_and_an_example_that_may_stand_there(kind: type[Record]):
    for column in made.column_facts(kind):
        name = str(column["column"])
        assert column["meaning"], name
        assert column["example"], name
        fields, wrong = read_cells(kind, {name: Cell(column["example"])}, Place("guide", 1), SheetReading())
        assert not wrong, wrong
        field = kind.model_fields[name]
        held = Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
        TypeAdapter(held).validate_python(fields[name])
        assert not column["words"] or column["example"] in column["words"]


def test_columns_come_as_csv_and_json_for_programs():
    told = CliRunner().invoke(commands, ["columns", "component", "--format", "csv"]).output
    rows = list(csv.DictReader(io.StringIO(told)))
    origin = next(row for row in rows if row["column"] == "origin")
    assert (origin["needed"], origin["words"]) == ("yes", "original; later-model; modern")
    told = CliRunner().invoke(commands, ["columns", "--format", "json"]).output
    facts = json.loads(told)
    assert len(facts) == sum(len(kind.model_fields) for kind in KINDS)
    mass = next(one for one in facts if (one["kind"], one["column"]) == ("component", "mass"))
    assert (mass["unit"].split(", ")[0], mass["form"]) == ("kg", "measure")
    assert CliRunner().invoke(commands, ["columns", "--format", "yaml"]).exit_code == 2


def test_what_a_check_reads_is_what_its_module_names():
    read = made.kinds_read()
    assert "rotor_mass" in read["brakes.heat"]
    assert "cranking_current" in read["electrical.cranking"]
    assert {kind for kinds in read.values() for kind in kinds} <= {
        kind for group in made.sane.BOUNDS.values() for kind in group
    }


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own, and a database in it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("GRAFTBOOK_DATABASE_URL", f"sqlite:///{tmp_path / 'g.sqlite3'}")
    return tmp_path


def test_from_an_empty_folder_to_a_proved_closure_as_the_guide_types_it(typed: Path):
    """The tutorial's own lines; the answer has the companion, joints, clash and flaws that it speaks of."""
    tutorial = page_text("start").partition("## Your own range")[2].partition("## Serving")[0]
    lines = re.findall(r"^    graftbook (.+)$", tutorial, re.M)
    assert len(lines) == 6
    said = {}
    for line in lines:
        done = CliRunner().invoke(commands, line.split())
        assert done.exit_code == 0, f"graftbook {line}: {done.output}"
        said[line.split()[0]] = done.output
    answer = said["closure"]
    assert "0 findings" in said["lint"]
    assert "Proved" in answer
    for told in (
        "B-900",
        "packed with 60 g",
        "studs of the hub",
        "rolls off in a bend",
        "too short to reach round",
        "B-101 at hub, left; B-102 at hub, right",
    ):
        assert told in " ".join(answer.split())
    stronger = CliRunner().invoke(commands, ["closure", "--chassis", "B1-0100", "--fit", "B-250"]).output
    assert "B-240" in stronger, "the budget brings the stronger dynamo"


def test_a_folder_that_is_not_empty_is_left_alone(typed: Path):
    said = CliRunner().invoke(commands, ["new", "mine"])
    assert said.exit_code == 0
    nexts = re.findall(r"^  graftbook (.+)$", said.output, re.M)
    assert len(nexts) == 3
    for line in nexts:
        assert CliRunner().invoke(commands, line.split()).exit_code == 0, line
    (typed / "mine" / "range.csv").write_text("my own")
    again = CliRunner().invoke(commands, ["new", "mine"])
    assert (again.exit_code, "not empty" in again.output) == (2, True)
    assert (typed / "mine" / "range.csv").read_text() == "my own"
    (typed / "empty").mkdir()
    assert CliRunner().invoke(commands, ["new", "empty"]).exit_code == 0
    assert CliRunner().invoke(commands, ["new", str(typed / "mine" / "range.csv")]).exit_code == 2


def test_the_range_to_begin_with_has_every_kind_and_a_word_on_each():
    text = made.STARTER.read_text(encoding="utf-8")
    for kind in KINDS:
        assert text.count(f"\n[{kind.kind_of_record}]\n") == 1
    assert text.count("\n# ") > 20


def test_the_commands_print_it():
    assert CliRunner().invoke(commands, ["guide", "rules"]).output == page_text("rules")
    assert all(name in CliRunner().invoke(commands, ["guide"]).output for name in PAGES)
    refused = CliRunner().invoke(commands, ["guide", "nowhere"])
    assert (refused.exit_code, "nowhere" in refused.output) == (2, True)
    assert CliRunner().invoke(commands, ["columns", "offer"]).output.startswith("### offer\n")
    every = CliRunner().invoke(commands, ["columns"]).output
    assert all(f"### {kind.kind_of_record}\n" in every for kind in KINDS)
    assert CliRunner().invoke(commands, ["columns", "nothing"]).exit_code == 2


def test_the_command_prints_every_kind_of_problem_that_a_service_answers():
    """In a process of its own, which has loaded no room that is not asked for."""
    code = "from graftbook.commands.entry import main; main()"
    printed = subprocess.run(
        [sys.executable, "-c", code, "guide", "integrating"], capture_output=True, text=True, check=True
    ).stdout
    create_app(Settings(database_url="sqlite://")).state.service.close()
    assert {kind for kind in made.problem_types() if f"| `{kind}` |" not in printed} == set()


async def test_the_service_shows_it():
    app = create_app(Settings(database_url="sqlite://"))
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        for name, title in PAGES.items():
            shown = await client.get(f"/guide/{name}", headers={"accept": "text/html"})
            assert (shown.status_code, "<h1 id=" in shown.text, title in shown.text) == (200, True, True)
        leads = await client.get("/problems/unknown-name")
        assert (leads.status_code, leads.headers["location"]) == (303, "/guide/integrating#errors")
        assert (await client.get("/problems/nothing-like-it")).status_code == 404
        plain = await client.get("/guide/rules", headers={"accept": "text/markdown"})
        assert plain.text == page_text("rules")
        assert (await client.get("/guide/nowhere", headers={"accept": "text/html"})).status_code == 404
        contents = (await client.get("/guide", headers={"accept": "text/html"})).text
        assert "/guide/start" in contents
        led = re.findall(r'href="/guide/(\w+)#([^"]+)"', contents)
        for name, part in led:
            assert (
                f'id="{unquote(part)}"'
                in (await client.get(f"/guide/{name}", headers={"accept": "text/html"})).text
            )
        assert len(led) == sum(page_text(name).count("\n## ") for name in PAGES) > 40
    app.state.service.close()
