"""What `--service` shows is what the same command shows of the database behind that service."""

from collections.abc import Iterator
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from graftbook.catalogue.loading.imports import load
from graftbook.client import Client
from graftbook.commands.cli import app
from tests.catalogue.sheet import small
from tests.soundness.server import Served, serve

pytestmark = pytest.mark.one_engine

VAN = ["--chassis", "24PL-018412"]


@pytest.fixture(scope="module")
def database(sqlite_databases: Any, sqlite_demo_url: str) -> str:
    url: str = sqlite_databases.copy(sqlite_demo_url)
    return url


@pytest.fixture(scope="module")
def served(database: str) -> Iterator[Served]:
    """A service with a build, a specification, and something in its store."""
    with serve(database) as running:
        with Client(running.address, key=running.key) as shop:
            shop.create_build("red", {"chassis": "24PL-018412", "decided": [{"fit": "QL-7075"}]})
            seen = {"title": "House", "wishes": [{"fit": "QL-7075"}], "variants": ["24P-21-L"]}
            shop.create_specification("house", seen)
            shop.specification("house")
            shop.revise_specification("house", seen | {"wishes": [{"fit": "QB-3310"}]})
            shop.put_stock("QB-9001", 4, "drawer 14")
            shop.record("component", "QL-7075")
            shop.patch_record("component", "QL-7075", {"note": "looked at"}, why="seen")
        yield running


def run(*arguments: str, **environment: str) -> Result:
    return CliRunner().invoke(app, list(arguments), env=environment)


@pytest.mark.parametrize(
    "asked",
    [
        ["find", "front", "discs", *VAN],
        ["find", "brakse", "--json"],
        ["find", "nonsuchness"],
        ["closure", *VAN, "--fit", "QL-7075"],
        ["closure", *VAN, "--fit", "QL-7075", "--json"],
        ["closure", *VAN, "--fit", "QL-7075", "--keep", "headlamp.left", "--option", "heater"],
        ["closure", *VAN, "--fit", "QL-7075", "--summary"],
        ["closure", *VAN, "--fit", "nonsuch"],
        ["check", *VAN, "QB-3310", "brake.servo=QB-2066"],
        ["check", *VAN, "QL-7075", "--summary"],
        ["check", *VAN, "nonsuch"],
        ["fits", "24PL-018412", "QB-3310", "QB-9001", "--option", "heater"],
        ["fits", "24PL-018412", "nonsuch", "--json"],
        ["order", *VAN, "--fit", "QL-7075"],
        ["order", *VAN, "--fit", "QL-7075", "--format", "csv"],
        ["order", *VAN, "--fit", "QL-7075", "--format", "json", "--at-most-suppliers", "1"],
        ["order", *VAN, "--fit", "QL-7075", "--summary"],
        ["order", *VAN, "--fit", "QB-3310", "--at-most-suppliers", "1"],
        ["order", *VAN, "--fit", "QB-3310", "--at-most-suppliers", "1", "--format", "csv"],
        ["order", *VAN, "--fit", "QB-3310", "--at-most-suppliers", "1", "--summary"],
        ["order", *VAN, "--fit", "QB-3310", "--refuse", "QB-3310"],
        ["history"],
        ["history", "--json", "--limit", "1"],
        ["history", "2"],
        ["history", "99"],
        ["history", "component", "QL-7075"],
        ["history", "component", "nonsuch"],
        ["history", "nonsuch", "QL-7075"],
        ["compare", "1"],
        ["compare", "1", "2", "--json"],
        ["compare", "1", "99"],
        ["stock", "list"],
        ["build", "red"],
        ["build", "red", "--json", "--on", "2020-01-01"],
        ["build", "nonsuch"],
        ["specification", "house"],
        ["specification", "house@1", "--json"],
        ["specification", "house@2", "--against", "1"],
        ["specification", "house", "--against", "1", "--json"],
        ["specification", "house@9"],
        ["specification", "nonsuch"],
        ["export"],
    ],
    ids=" ".join,
)
def test_both_say_the_same_and_end_alike(served: Served, database: str, asked: list[str]):
    here = run(*asked, "--database", database)
    there = run(*asked, "--service", served.address, GRAFTBOOK_KEY=served.key)
    assert (there.exit_code, there.stdout, there.stderr) == (here.exit_code, here.stdout, here.stderr)
    assert here.stdout or here.stderr


def test_two_versions_compared_tell_which_wishes_differ(database: str, served: Served):
    told = run("specification", "house@2", "--against", "1", "--database", database).stdout.splitlines()
    assert told[1:3] == ["asked as well: fit QB-3310", "asked no more: fit QL-7075"]
    same = run("specification", "house@2", "--against", "2", "--service", served.address)
    assert same.stdout.splitlines()[1] == "Both ask for the same."


def test_both_find_the_same_in_the_catalogue(sqlite_databases: Any):
    """In a small one: looking through the demo range takes five seconds, and each asks twice."""
    database = sqlite_databases.copy(sqlite_databases.once("small", lambda engine: load(engine, small())))
    with serve(database) as small_shop:
        for asked in (["lint"], ["lint", "--json"]):
            here = run(*asked, "--database", database)
            there = run(*asked, "--service", small_shop.address, GRAFTBOOK_KEY=small_shop.key)
            assert (there.exit_code, there.stdout, there.stderr) == (here.exit_code, here.stdout, here.stderr)
            assert "rests on no evidence" in here.stdout


def test_the_environment_names_the_service_and_its_key(served: Served, database: str):
    there = run("find", "front discs", GRAFTBOOK_SERVICE=served.address, GRAFTBOOK_KEY=served.key)
    assert there.exit_code == 0
    assert there.stdout == run("find", "front discs", "--database", database).stdout
    nobody = {"GRAFTBOOK_SERVICE": "http://127.0.0.1:9"}
    assert run("find", "front discs", "--database", database, **nobody).exit_code == 0, "what is typed counts"


def test_a_service_that_wants_a_key_says_how_to_give_it(database: str):
    with serve(database, reading="closed") as closed:
        refused = run("find", "front discs", "--service", closed.address)
        assert refused.exit_code == 2
        assert "set GRAFTBOOK_KEY" in refused.stderr
        assert (
            run("find", "front discs", "--service", closed.address, GRAFTBOOK_KEY=closed.key).exit_code == 0
        )


@pytest.mark.parametrize(
    ("asked", "code", "told"),
    [
        (["--service", "http://x", "--database", "sqlite:///x"], 2, "not both"),
        (["--service", "parts.example"], 2, "http:// or https://"),
    ],
)
def test_wrong_use_is_told_in_a_line(asked: list[str], code: int, told: str):
    refused = run("find", "discs", *asked)
    assert (refused.exit_code, refused.stdout) == (code, "")
    assert told in refused.stderr
    assert refused.stderr.count("\n") == 1


def test_nobody_there_ends_as_no_database_does(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("time.sleep", lambda _: None)
    gone = run("find", "discs", "--service", "http://127.0.0.1:9")
    assert gone.exit_code == 3
    assert "http://127.0.0.1:9 does not answer" in gone.stderr
    assert "Traceback" not in gone.stderr
