"""The `graftbook` command: what it prints, what it stores, how it ends."""

import asyncio
import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from graftbook.closure.search.deadline import OutOfTime
from graftbook.commands.cli import app
from graftbook.commands.console import readable_errors
from graftbook.commands.demo import demo_sheets
from graftbook.commands.exits import Ends
from graftbook.commands.group import BY_USE
from graftbook.database import make_engine, reading
from graftbook.guide.made import STARTER
from graftbook.rulebook.scope import ScopeTooLarge
from tests.conftest import application, client_of

SMALL = Path(__file__).resolve().parents[1] / "catalogue" / "small.csv"
COMMANDS = (
    "serve", "demo", "migrate", "load", "export", "closure", "order", "lint", "keys", "backup", "restore",
    "new", "columns", "guide", "find", "flat", "stock", "check", "fits", "history", "compare", "take-back",
    "remove", "sheets",
)  # fmt: skip
COMPONENTS = "SELECT count(*) FROM component"
ASK = ("--chassis", "24pl 18412", "--fit", "qb3310")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments))


@pytest.fixture
def database(sqlite_databases: Any) -> str:
    """The address of a migrated, empty database."""
    address: str = sqlite_databases.new()
    return address


def test_every_command_stands_once_in_the_list_by_its_use():
    listed = re.findall(r"^  ([a-z][a-z-]+)  ", run("--help").stdout, re.M)
    assert sorted(listed) == sorted(vars(typer.main.get_command(app))["commands"])
    assert [name for told in BY_USE.values() for name in told] == listed
    assert set(COMMANDS) < set(listed)
    assert listed[0] == "demo"


def test_every_command_explains_itself():
    for command in COMMANDS:
        help_text = run(command, "--help")
        assert help_text.exit_code == 0
        assert "Usage" in help_text.stdout
        assert len(help_text.stdout) > 200
        assert "--no-" not in help_text.stdout, "what nobody asks for is left away"


def test_a_closure_reads_as_a_page_and_nothing_is_wider_than_a_hundred_columns(sqlite_demo_url: str):
    short = run("closure", "--database", sqlite_demo_url, *ASK).stdout
    assert short.index("BRAKES") < short.index("TO ORDER: ") < short.index("`--full` tells the rest")
    assert len(short.splitlines()) < 130
    result = run("closure", "--database", sqlite_demo_url, *ASK, "--full")
    assert result.exit_code == 0, result.output
    page = result.stdout
    assert max(map(len, [*short.splitlines(), *page.splitlines()])) <= 100
    for part in (
        "Proved",
        "BRAKES",
        "QB-3310",
        "Why:",
        "STAYS AS IT IS",
        "ORDER LIST",
        "COMES OFF",
        "Brakes hold lives",
    ):
        assert part in page
    assert page.index("BRAKES") < page.index("STAYS AS IT IS") < page.index("ORDER LIST")


def test_the_page_names_every_part_of_the_json_that_the_api_gives(sqlite_demo_url: str):
    page = run("closure", "--database", sqlite_demo_url, *ASK).stdout
    document = json.loads(run("closure", "--database", sqlite_demo_url, *ASK, "--json").stdout)
    assert document["proved"]
    for change in document["set"]["changes"]:
        assert (change["component"] or change["replaces"]) in page
    for part in document["set"]["loose_parts"]:
        assert part["component"] in page


def test_whether_a_number_fits_is_told_with_what_can_hurt(sqlite_demo_url: str):
    asked = ("fits", "--database", sqlite_demo_url, "24PL-018412")
    page, document = run(*asked, "QB-3310").stdout, json.loads(run(*asked, "QB-3310", "--json").stdout)
    assert document["cautions"]
    for caution in document["cautions"]:
        assert " ".join(caution.split()) in " ".join(page.split())
    assert "licensed" not in run(*asked, "QB-2010").stdout, "it sits there today: nobody works on it"


def test_an_order_stands_by_suppliers(sqlite_demo_url: str):
    asked = ("order", "--database", sqlite_demo_url, *ASK)
    page, document = run(*asked).stdout, json.loads(run(*asked, "--format", "json").stdout)
    assert len(document["suppliers"]) > 2
    heads = [
        page.index(f"\n{supplier['title']}: {supplier['lines']} line") for supplier in document["suppliers"]
    ]
    assert heads == sorted(heads)
    for supplier, start, end in zip(document["suppliers"], heads, [*heads[1:], len(page)], strict=True):
        own = [line for line in document["lines"] if line["supplier"] == supplier["name"]]
        assert len(own) == supplier["lines"]
        assert all(f"{line['pieces']:>3} x {line['number']}" in page[start:end] for line in own)


def test_a_named_upgrade_is_wished_by_its_name_or_its_title(sqlite_demo_url: str):
    asked = ("--database", sqlite_demo_url, "--chassis", "24pl 18412", "--upgrade")
    by_name, by_title = (run("closure", *asked, word) for word in ("front-discs", "front discs"))
    assert by_name.exit_code == 0, by_name.output
    assert "You wish front discs: QB-3310" in by_name.stdout
    assert by_title.stdout == by_name.stdout
    assert "QB-3311" in run("order", *asked, "front-discs").stdout


def test_an_impossible_closure_ends_with_one_and_shows_the_ways_out(sqlite_demo_url: str):
    result = run("closure", "--database", sqlite_demo_url, *ASK, "--keep-section", "wheels")
    assert result.exit_code == 1
    assert "Impossible" in result.stdout
    assert "WAYS OUT" in result.stdout
    order = run("order", "--database", sqlite_demo_url, *ASK, "--keep-section", "wheels")
    assert order.exit_code != 0
    assert "no set" in order.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--chassis", "24PL-018412", "--fit", "QB-331"), "did you mean"),
        (("--chassis", "ZZ-1", "--fit", "QB-3310"), "chassis"),
        (("--fit", "QB-3310"), "chassis number"),
        (("--chassis", "24PL-018412", "--remedy-all", "awful"), "remedy_all"),
        (("--chassis", "24PL-018412", "--price-at-most", "much"), "price_at_most"),
    ],
)
def test_a_mistake_is_said_in_one_readable_line(sqlite_demo_url: str, arguments: tuple[str, ...], said: str):
    result = run("closure", "--database", sqlite_demo_url, *arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize(("gives_up", "said"), [(OutOfTime, "in time"), (ScopeTooLarge, "hangs together")])
def test_an_order_that_no_set_was_found_for_ends_in_one_line(
    sqlite_demo_url: str, monkeypatch: pytest.MonkeyPatch, gives_up: type[Exception], said: str
):
    def never(*_: object) -> None:
        raise gives_up

    monkeypatch.setattr("graftbook.orders.service.order_for", never)
    result = run("order", "--database", sqlite_demo_url, *ASK)
    assert result.exit_code == 5
    assert said in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_limits_and_severities_work_from_the_command_line(sqlite_demo_url: str):
    result = run(
        "closure", "--database", sqlite_demo_url, "--chassis", "24PL-018412", "--remedy-all", "dangerous",
        "--effort-at-most", "machining", "--refuse", "QB-2055", "--json",
    )  # fmt: skip
    document = json.loads(result.stdout)
    assert {limit["name"] for limit in document["limits"]} == {
        "limit: refuse QB-2055",
        "limit: nothing cut or welded",
    }
    assert "QB-2055" not in {change["component"] for change in document["set"]["changes"]}
    assert not [flaw for flaw in document["set"]["flaws_left"] if flaw["severity"] == "dangerous"]


async def got(database: str, address: str):
    with application(database) as app:
        async with client_of(app) as client:
            return (await client.get(address)).json()


def test_a_summary_is_what_the_service_answers(sqlite_demo_url: str):
    question = ("--database", sqlite_demo_url, "--chassis", "24PL-018412", "--fit", "QL-7075")
    closure, order = (json.loads(run(name, *question, "--summary").stdout) for name in ("closure", "order"))
    answers = [asyncio.run(got(sqlite_demo_url, f"{told['full']}&view=summary")) for told in (closure, order)]
    assert closure == answers[0]
    assert [one["full"].partition("?")[0] for one in answers] == ["/v1/closures", "/v1/orders"]
    # Which supplier of equals, and the proof of it, hang on the time there was.
    assert list(order) == list(answers[1])
    for name in ("full", "vehicles", "cautions", "without", "lines_needed"):
        assert order[name] == answers[1][name], name
    needed = [[(line["number"], line["name"]) for line in one["lines"]] for one in (order, answers[1])]
    assert needed[0] == needed[1] != []
    refused = run("order", *question, "--summary", "--format", "pdf")
    assert (refused.exit_code, refused.stdout) == (2, "")
    never = run("closure", *question, "--refuse", "QL-7075", "--summary")
    assert (never.exit_code, json.loads(never.stdout)["outcome"]) == (1, "impossible")


def test_which_rules_bind_is_chosen_on_the_command_line(sqlite_demo_url: str):
    question = ("--database", sqlite_demo_url, "--chassis", "24PL-018412", "--fit", "QL-7075")
    asked = ("closure", *question, "--json")
    answers = [run(*asked), run(*asked, "--rules", "in service"), run(*asked, "--rules", "type approval")]
    found = [json.loads(each.stdout)["checks"]["findings"] for each in answers]
    usual, in_service, stricter = [{f["check"] for f in each if f["verdict"] == "fails"} for each in found]
    assert usual == in_service
    assert usual < stricter
    wrong = run(*asked, "--rules", "racing")
    assert wrong.exit_code == 2
    assert "rules: One of 'in service' or 'type approval' is needed here" in wrong.stderr
    assert run("order", *question, "--rules", "type approval").exit_code == 0


def test_the_order_list_comes_as_text_csv_and_json(sqlite_demo_url: str):
    asked = ("order", "--database", sqlite_demo_url, *ASK, "--format")
    facts = json.loads(run(*asked, "json").stdout)
    rows = list(csv.DictReader(io.StringIO(run(*asked, "csv").stdout)))
    text = run(*asked, "text").stdout
    numbers = [line["number"] for line in facts["lines"]]
    assert numbers
    assert [row["number"] for row in rows if row["row"] == "line"] == numbers
    assert rows[-1]["row"] == "total"
    assert rows[-1]["total"] == facts["totals"]["parts"]
    assert all(number in text for number in numbers)
    assert "24PL-018412" in text
    assert "Brakes hold lives" in text
    assert run(*asked, "parchment").exit_code == 2


def test_load_export_load_is_the_same_catalogue(sqlite_databases: Any, database: str, tmp_path: Path):
    """Of the starter range: `catalogue/test_exports` goes round with the whole demo."""
    first, second, source = tmp_path / "first.csv", tmp_path / "second.csv", sqlite_databases.new()
    assert run("load", str(STARTER), "--database", source).exit_code == 0
    assert run("export", str(first), "--database", source).exit_code == 0
    loaded = run("load", str(first), "--database", database)
    assert loaded.exit_code == 0, loaded.output
    assert (loaded.stdout, "revision 1" in loaded.stderr) == ("", True)
    assert run("export", str(second), "--database", database).exit_code == 0
    assert first.read_bytes() == second.read_bytes()
    assert run("export", "--database", database).stdout == first.read_text(encoding="utf-8")


def test_mistakes_are_listed_with_file_and_line_and_nothing_is_stored(database: str, tmp_path: Path):
    sheet = tmp_path / "wrong.csv"
    sheet.write_text("[section]\nname,title,order\nbrakes,Brakes,ten\nwheels,,20\n", encoding="utf-8")
    result = run("load", str(sheet), "--database", database)
    assert result.exit_code == 4
    assert "wrong.csv:3: [section] order" in result.stderr
    assert "wrong.csv:4: [section] title" in result.stderr
    assert "nothing was stored" in result.stderr
    assert run("export", "--database", database).stdout == ""


ONE_SECTION = "[section]\nname;title;order\nwheels;Wheels;1\n"
AMBIGUOUS = "[evidence]\nname;grade;reference;on\nb;measured;p. 3;02/03/1964\n"


def test_what_is_gone_from_a_sheet_is_counted_then_shown_then_taken_away(database: str, tmp_path: Path):
    assert run("load", str(SMALL), "--database", database).exit_code == 0
    sheet = tmp_path / "sections.csv"
    sheet.write_text("[tightening]\nname;position;fastener;torque\nwheel-nut;wheel.left;axle nut;18 Nm\n")
    kept = run("load", str(sheet), "--database", database)
    assert "Not in these sheets, and kept: 1 tightening." in kept.stderr
    before = run("export", "--database", database).stdout
    asked = run("load", str(sheet), "--database", database, "--whole")
    assert asked.exit_code == Ends.REFUSED
    assert "1 tightening: block-bolt" in asked.stderr
    assert "--yes" in asked.stderr
    assert run("export", "--database", database).stdout == before
    done = run("load", str(sheet), "--database", database, "--whole", "--yes")
    assert (done.exit_code, "1 record that the sheets no longer have taken away." in done.stderr) == (0, True)
    assert "block-bolt" not in run("export", "--database", database).stdout
    sheet.write_text(ONE_SECTION)
    refused = run("load", str(sheet), "--database", database, "--whole", "--yes")
    assert refused.exit_code == Ends.REFUSED
    assert "still names the section 'brakes'" in refused.stderr


def test_only_what_was_shown_is_taken_away(database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    assert run("load", str(SMALL), "--database", database).exit_code == 0
    sheet, other = tmp_path / "one.csv", tmp_path / "other.csv"
    head = "[tightening]\nname,position,fastener,torque\n"
    sheet.write_text(f"{head}wheel-nut,wheel.left,axle nut,18 Nm\n")
    other.write_text(f"{head}new-one,wheel.left,cap nut,9 Nm\n")

    def meanwhile(*_: object) -> None:
        assert run("load", str(other), "--database", database).exit_code == 0

    monkeypatch.setattr("graftbook.commands.load._agree_to_remove", meanwhile)
    done = run("load", str(sheet), "--database", database, "--whole")
    assert (done.exit_code, "other records would go" in done.stderr) == (4, True)
    assert "new-one" in run("export", "--database", database).stdout


def test_options_say_how_a_sheet_is_meant(database: str, tmp_path: Path):
    sheet = tmp_path / "e.csv"
    sheet.write_text(AMBIGUOUS)
    asked = run("load", str(sheet), "--database", database)
    assert (asked.exit_code, "option `dates`" in asked.stderr) == (Ends.REFUSED, True)
    taken = run("load", str(sheet), "--database", database, "--dates", "month-first")
    assert (taken.exit_code, "is 3 February 1964" in taken.stderr) == (0, True)
    wrong = run("load", str(sheet), "--database", database, "--dates", "american")
    assert (wrong.exit_code, "day-first or month-first" in wrong.stderr) == (2, True)
    assert run("load", str(sheet), "--database", database, "--encoding", "klingon").exit_code == Ends.REFUSED


def test_workbooks_go_out_and_come_back(database: str, tmp_path: Path):
    assert run("load", str(SMALL), "--database", database).exit_code == 0
    out = run("sheets", str(tmp_path / "books"), "--database", database)
    assert (out.exit_code, "2-parts.xlsx: " in out.stderr) == (0, True)
    again = run("load", str(tmp_path / "books"), "--database", database, "--whole")
    assert "the catalogue says the same already" in again.stderr
    assert run("sheets", str(tmp_path / "books"), "--database", database).exit_code == Ends.WRONG_USE
    assert run("sheets", str(tmp_path / "none"), "--database", database, "--empty").exit_code == 0


def test_a_dry_run_stores_nothing(database: str):
    result = run("load", str(SMALL), "--database", database, "--dry-run")
    assert result.exit_code == 0
    assert "nothing was stored" in result.stderr
    assert run("export", "--database", database).stdout == ""


def test_a_database_without_tables_or_without_a_server_is_said_plainly(tmp_path: Path):
    make_engine(f"sqlite:///{tmp_path / 'bare.sqlite3'}").connect().close()
    bare = run("closure", "--database", f"sqlite:///{tmp_path / 'bare.sqlite3'}", *ASK)
    assert bare.exit_code == 3
    assert "graftbook migrate" in bare.stderr
    nobody = run("lint", "--database", "postgresql://nobody@127.0.0.1:9/nothing")
    assert nobody.exit_code == 3
    assert "does not answer" in nobody.stderr
    assert run("lint", "--database", "mysql://x").exit_code == 2


def test_going_down_says_what_is_lost_and_wants_a_copy_or_a_word(database: str, tmp_path: Path):
    address, saved = database, tmp_path / "saved"
    assert run("load", str(SMALL), "--database", address).exit_code == 0
    before = run("export", "--database", address).stdout
    refused = run("migrate", "base", "--database", address)
    assert refused.exit_code == 2
    told = dict(re.findall(r"^  (\w+): ([0-9]+) rows?$", refused.stderr, re.M))
    with reading(make_engine(address)) as session:
        assert int(told["component"]) == session.connection().exec_driver_sql(COMPONENTS).scalar_one()
    assert "--backup" in refused.stderr
    assert run("export", "--database", address).stdout == before
    down = run("migrate", "base", "--database", address, "--backup", str(saved))
    assert (down.exit_code, "checked" in down.stderr) == (0, True)
    assert run("restore", str(saved), "--replace", "--database", address).exit_code == 0
    assert run("export", "--database", address).stdout == before
    assert run("migrate", "base", "--yes", "--database", address).exit_code == 0
    wrong = run("migrate", "nosuch", "--database", address)
    assert (wrong.exit_code, "nosuch" in wrong.stderr) == (2, True)


def test_what_goes_down_and_loses_columns_of_a_table_that_stays_says_so(demo_copy: Callable[[], str]):
    result = run("migrate", "2026_11_25_catalogue", "--database", demo_copy())
    assert result.exit_code == 2
    assert re.search(r"^  \w+\.\w+: \d+ rows?$", result.stderr, re.M), result.stderr


def test_migrations_go_up_down_and_up_again(tmp_path: Path):
    database = f"sqlite:///{tmp_path / 'cli.sqlite3'}"
    assert run("migrate", "--database", database).exit_code == 0
    assert run("migrate", "base", "--yes", "--database", database).exit_code == 0
    assert run("closure", "--database", database, *ASK).exit_code == 3
    assert run("migrate", "--database", database).exit_code == 0


def test_the_lint_ends_with_one_when_it_finds_something(database: str, tmp_path: Path):
    address, sheet = database, tmp_path / "unused.csv"
    assert run("load", str(SMALL), "--database", address).exit_code == 0
    sheet.write_text("[evidence]\nname,grade,reference\nnobody-needs-it,hearsay,a word\n", encoding="utf-8")
    assert run("load", str(sheet), "--database", address).exit_code == 0
    result = run("lint", "--database", address, "--json")
    assert result.exit_code == 1
    assert any("nobody-needs-it" in finding["records"] for finding in json.loads(result.stdout))


def test_a_load_says_what_to_do_next_and_the_lint_counts_in_words(database: str, tmp_path: Path):
    sheet = tmp_path / "one.csv"
    sheet.write_text("[evidence]\nname,grade,reference\nlost,hearsay,a word\n", encoding="utf-8")
    loaded = run("load", str(sheet), "--database", database)
    assert loaded.stderr.splitlines()[0] == "1 record read, 1 change, stored as revision 1."
    assert "Now run `graftbook lint`" in loaded.stderr
    assert "lint" not in run("load", str(sheet), "--dry-run", "--database", database).stderr
    linted = run("lint", "--database", database)
    assert linted.stderr.splitlines()[-1] == "1 finding."
    assert linted.stdout.startswith("evidence that nothing refers to (untidy): nothing refers to")


def test_the_demo_does_the_main_job_and_says_how_to_go_on(tmp_path: Path):
    result = run("demo", str(tmp_path / "place"))
    assert result.exit_code == 0, result.output
    for part in ("invented maker Quillan", "Proved", "QB-3310", "ORDER LIST", "serve --database sqlite:///"):
        assert part in result.stdout
    again = run("demo", str(tmp_path / "place"))
    assert again.exit_code == 0, "a second time on the same file works too"
    assert demo_sheets().is_dir()


def test_what_was_not_worked_out_in_time_is_said_in_one_line(capsys: pytest.CaptureFixture[str]):
    with pytest.raises(typer.Exit) as ended, readable_errors():
        raise OutOfTime
    assert ended.value.exit_code == 5
    assert capsys.readouterr().err == (
        "graftbook: this was not worked out in the time there is; ask for less at once\n"
    )


def test_what_people_say_is_found(sqlite_demo_url: str) -> None:
    told = run("find", "front", "disks", "--chassis", "24PL-018412", "--database", sqlite_demo_url)
    assert told.exit_code == 0
    assert told.stdout.startswith("front-discs  front discs\n")
    document = run("find", "QB-331O", "--json", "--database", sqlite_demo_url)
    assert [item["name"] for item in json.loads(document.stdout)["items"]] == ["QB-3310"]
    nothing = run("find", "carbide", "--database", sqlite_demo_url)
    assert nothing.exit_code == 1
    assert "Nothing was found by 'carbide'" in nothing.stdout
