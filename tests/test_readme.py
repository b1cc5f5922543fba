"""What the README tells people to type works, and the routes and commands it names exist."""

import json
import re
import shlex
from pathlib import Path

import httpx
from typer.testing import CliRunner

from graftbook.app import create_app
from graftbook.commands.cli import app as commands
from graftbook.settings import Settings

README = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_commands_shown_answer_on_the_demo_range(sqlite_demo_url: str) -> None:
    shown = [line[len("$ graftbook ") :] for line in README.splitlines() if line.startswith("$ graftbook ")]
    assert len(shown) >= 3
    for line in shown:
        done = CliRunner().invoke(commands, [*shlex.split(line), "--database", sqlite_demo_url])
        assert done.exit_code == 0, f"graftbook {line}: {done.output}"
        assert done.output.strip()


async def test_the_body_shown_is_answered(sqlite_demo_url: str) -> None:
    (body,) = re.findall(r"^```json\n(.*?)^```", README, re.M | re.S)
    app = create_app(Settings(database_url=sqlite_demo_url))
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        answer = await client.post("/v1/closures", json=json.loads(body))
        assert answer.json()["outcome"] == "proved"
        assert (await client.get("/openapi.json")).status_code == 200
    app.state.service.close()


def test_the_routes_named_exist() -> None:
    app = create_app(Settings(database_url="sqlite://"))
    known = set(app.openapi()["paths"])
    named = set(re.findall(r"`(?:GET |POST )?(/v1/[^`]*)`", README))
    assert len(named) >= 8
    assert named <= known
    app.state.service.close()
