"""Clients that two generators make from the OpenAPI document, without a warning, used on a running service.

The generators have requirements that bind what the program itself uses, so they live apart. `.ci/run` makes
that environment; by hand:

    python3 -m venv .venv-clients && .venv-clients/bin/pip install -r tests/clients/requirements.txt

`GRAFTBOOK_CLIENT_TOOLS` names another folder. Without one these tests are skipped.
"""

import json
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.soundness.server import ROOT, Served, serve

TOOLS = Path(os.environ.get("GRAFTBOOK_CLIENT_TOOLS", ROOT / ".venv-clients")) / "bin"
HERE = Path(__file__).parent

pytestmark = [
    pytest.mark.skipif(not TOOLS.is_dir(), reason="no generators: see tests/clients/test_generated.py"),
    pytest.mark.one_engine,
]

BYTES = (
    "text/csv",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "application/vnd.oasis.opendocument.spreadsheet",
    "image/jpeg",
    "image/png",
    "image/webp",
)
"""Sheets, workbooks and pictures are sent and answered as bytes."""

CONFIGURATION = "\n".join(
    [
        "post_hooks: []",
        "content_type_overrides:",
        *(f"  {media}: application/octet-stream" for media in BYTES),
        "",
    ]
)
"""Nothing formats what nobody reads."""


@pytest.fixture(scope="module")
def served(sqlite_databases: Any, sqlite_demo_url: str) -> Iterator[Served]:
    with serve(sqlite_databases.copy(sqlite_demo_url)) as running:
        yield running


@pytest.fixture
def folder(served: Served, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the document that the service gives."""
    where = tmp_path_factory.mktemp("clients")
    with served.client() as client:
        (where / "openapi.json").write_bytes(client.get("/openapi.json").content)
    (where / "config.yaml").write_text(CONFIGURATION)
    return where


def run(folder: Path, *command: str, **environment: str) -> str:
    """What a command of the generators' environment prints; it must end well."""
    done = subprocess.run(
        [str(TOOLS / command[0]), *command[1:]],
        cwd=folder, capture_output=True, text=True, timeout=120, check=False, env=os.environ | environment,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def used(folder: Path, script: str, served: Served) -> dict[str, Any]:
    """What a program that uses the client tells of the service."""
    said = run(
        folder, "python", str(HERE / script),
        ADDRESS=served.address, KEY=served.key, PYTHONPATH=str(folder), PYTHONWARNINGS="error",
    )  # fmt: skip
    told: dict[str, Any] = json.loads(said)
    return told


@pytest.mark.parametrize(
    ("command", "script", "further"),
    [
        (
            "openapi-python-client generate --path openapi.json --config config.yaml --output-path made "
            "--meta none --overwrite",
            "use_functions.py",
            {"sheet": 1},
        ),
        (
            "datamodel-codegen --input openapi.json --input-file-type openapi --output made.py "
            "--output-model-type pydantic_v2.BaseModel --target-python-version 3.11 --use-annotated "
            "--deserialize-default-values decimal --formatters builtin --disable-timestamp",
            "use_models.py",
            {},
        ),
    ],
    ids=["functions", "models"],
)
def test_a_generated_client_does_what_people_do(
    folder: Path, served: Served, command: str, script: str, further: dict[str, Any]
):
    said = run(folder, *command.split())
    assert "warn" not in said.lower(), said
    told = used(folder, script, served)
    assert told == {
        "proved": True,
        "component": "QB-3310",
        "price": True,
        "flaws": 3,
        "pages": True,
        "build": [1, 2],
        "refused": ["unknown-component", "if-match-needed", "changed-meanwhile"],
        **further,
    }
