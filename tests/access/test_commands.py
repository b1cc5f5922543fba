"""`graftbook keys`, and `graftbook serve` that does not listen beyond this machine by accident."""

import json
import os
import socket
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlmodel import select
from typer.testing import CliRunner

from graftbook.access import service as access
from graftbook.access.keys import presented
from graftbook.access.service import Exposed
from graftbook.access.tables import KeyRow
from graftbook.commands.cli import app as commands
from graftbook.database import make_engine, writing
from tests.conftest import make_key

pytestmark = pytest.mark.anyio
ROOT = Path(__file__).resolve().parents[2]


def keys(url: str, *arguments: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(commands, ["keys", *arguments, "--database", url])
    return done.exit_code, done.stdout, done.stderr


def test_a_key_is_alone_on_the_standard_output(url: str):
    code, out, told = keys(url, "create", "--label", "counter", "--scope", "order", "--expires", "90d")
    assert code == 0
    key = presented(out.strip())
    assert key is not None
    assert key.id in told
    assert "until 20" in told
    engine = make_engine(url)
    (row,) = access.list_keys(engine, None, 5)
    engine.dispose()
    assert (row["id"], row["label"], row["scope"]) == (key.id, "counter", "order")
    assert row["made_by"].startswith("command line: ")


def test_keys_are_listed_and_revoked(url: str):
    code, out, _ = keys(url, "create", "--label", "counter", "--scope", "edit", "--json")
    made = json.loads(out)
    assert code == 0
    assert presented(made["key"]).id == made["id"]
    assert made["key"] not in keys(url, "list")[1]
    assert f"{made['id']}  edit        usable" in keys(url, "list")[1]
    assert keys(url, "revoke", made["id"])[0] == 0
    assert "revoked" in keys(url, "list")[1]
    (row,) = json.loads(keys(url, "list", "--json")[1])
    assert (row["usable"], row["label"]) == (False, "counter")
    assert json.loads(keys(url, "revoke", made["id"], "--json")[1]) == {"id": made["id"], "revoked": True}


def test_the_list_says_until_when_a_key_is_good_and_when_it_was_last_used(url: str):
    keys(url, "create", "--label", "counter", "--scope", "read", "--expires", "2099-01-31")
    assert "  until 2099-02-01T00:00  never used  " in keys(url, "list")[1]
    engine = make_engine(url)
    with writing(engine) as session:
        row = session.exec(select(KeyRow)).one()
        row.used, row.expires = datetime(2031, 1, 2, 3, 4, 5, tzinfo=UTC), None
    engine.dispose()
    assert f"  {'no end':<22}  last used 2031-01-02T03:04  counter" in keys(url, "list")[1]


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("revoke", "nobody"), 2, "no key 'nobody'"),
        (("create", "--label", " ", "--scope", "read"), 2, "label"),
        (("create", "--label", "x", "--scope", "all"), 2, "administer"),
        (("create", "--label", "x", "--scope", "read", "--expires", "soon"), 2, "90d"),
        (("create", "--label", "x", "--scope", "read", "--expires", "2020-01-01"), 2, "expired already"),
    ],
)
def test_what_cannot_be_is_told(url: str, arguments: tuple[str, ...], code: int, told: str):
    done = keys(url, *arguments)
    assert done[0] == code
    assert told in done[2]


def test_without_a_database_the_command_says_so(databases, monkeypatch: pytest.MonkeyPatch):
    code, _, told = keys(databases.empty(), "list")
    assert code == 3
    assert "graftbook migrate" in told


async def started(app: FastAPI) -> None:
    async with app.router.lifespan_context(app):
        pass


async def test_no_service_beyond_this_machine_without_a_key(apps: Callable[..., FastAPI], url: str):
    """Also when a server program starts the application without our command."""
    for host in ("0.0.0.0", "::", "192.0.2.1", "counter.example"):
        with pytest.raises(Exposed, match="keys create"):
            await started(apps(host=host))
    for host in ("127.0.0.1", "localhost", "::1", "127.0.0.2"):
        await started(apps(host=host))
    await started(apps(host="0.0.0.0", without_keys="anyone may read"))
    key = presented(make_key(url))
    await started(apps(host="0.0.0.0"))
    engine = make_engine(url)
    access.revoke_key(engine, key.id, access.Caller())
    engine.dispose()
    with pytest.raises(Exposed):
        await started(apps(host="0.0.0.0"))


def test_the_sentence_must_be_said_as_it_is(monkeypatch: pytest.MonkeyPatch, url: str):
    monkeypatch.setenv("GRAFTBOOK_WITHOUT_KEYS", "true")
    code, _, told = keys(url, "list")
    assert (code, "anyone may read" in told) == (2, True)


def test_serve_refuses_before_it_listens(url: str):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = str(probe.getsockname()[1])
    done = subprocess.run(
        [
            sys.executable, "-c", "from graftbook.commands.cli import main; main()",
            "serve", "--host", "0.0.0.0", "--port", port, "--database", url,
        ],
        cwd=ROOT, env=os.environ | {"GRAFTBOOK_WITHOUT_KEYS": ""}, capture_output=True, text=True, timeout=60,
        check=False,
    )  # fmt: skip
    assert done.returncode == 4
    assert "graftbook keys create" in done.stderr
    assert "anyone may read" in done.stderr
    assert "Traceback" not in done.stderr
    assert "answers at" not in done.stderr
