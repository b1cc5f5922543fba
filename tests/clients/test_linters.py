"""Two general linters of OpenAPI documents find nothing that cannot be answered for.

They come through npm and are no part of the suite's environment; with them in a folder,

    npm install --prefix FOLDER @redocly/cli @stoplight/spectral-cli
    GRAFTBOOK_LINTERS=FOLDER python -m pytest tests/clients/test_linters.py
"""

import json
import os
import subprocess
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI

LINTERS = Path(os.environ.get("GRAFTBOOK_LINTERS", "")) / "node_modules" / ".bin"

pytestmark = [
    pytest.mark.skipif(
        not (os.environ.get("GRAFTBOOK_LINTERS") and LINTERS.is_dir()), reason="GRAFTBOOK_LINTERS names none"
    ),
    pytest.mark.one_engine,
]

ANSWERED_FOR = {
    "info-license": "whose house it is says under which terms; the program does not",
    "info-contact": "the house that runs the service is asked, and each runs its own",
    "operation-4xx-response": "/livez and /readyz take nothing, so nothing can be wrong in what is sent",
    "operation-2xx-response": "signing in and out goes on to a page (303)",
    "oas3-operation-security-defined": "3.1 lets any scheme's requirement name roles; those are our scopes",
    "no-required-schema-properties-undefined": "a bound in `then` speaks of the members of what it stands in",
    "array-items": "the word `array` in an example, which is a JSON Schema itself",
}
"""Rule → why its findings stay."""


@pytest.fixture(scope="module")
def folder(app: FastAPI, tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("linted")
    (where / "openapi.json").write_text(json.dumps(app.openapi()))
    (where / "spectral.yaml").write_text('extends: ["spectral:oas"]\n')
    return where


def said(folder: Path, *command: str) -> Any:
    """The JSON that a linter prints between what else it says."""
    done = subprocess.run(
        [str(LINTERS / command[0]), *command[1:]],
        cwd=folder, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    begin = min(at for at in map(done.stdout.find, "[{") if at >= 0)
    return json.JSONDecoder().raw_decode(done.stdout[begin:])[0]


def redocly(folder: Path) -> Iterable[tuple[str, str]]:
    found = said(folder, "redocly", "lint", "--extends=recommended", "--format=json", "openapi.json")
    return ((problem["ruleId"], problem["message"]) for problem in found["problems"])


def spectral(folder: Path) -> Iterable[tuple[str, str]]:
    found = said(folder, "spectral", "lint", "-r", "spectral.yaml", "-f", "json", "openapi.json")
    return ((problem["code"], f"{problem['message']} at {problem['path']}") for problem in found)


def test_linters_find_nothing_that_cannot_be_answered_for(folder: Path):
    found = [*redocly(folder), *spectral(folder)]
    assert [(rule, message) for rule, message in found if rule not in ANSWERED_FOR] == []
    assert {rule for rule, _ in found} == {*ANSWERED_FOR}, "a reason that no finding needs"
