"""schemathesis over the whole OpenAPI document of a running service: `python -m tests.soundness schema`."""

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import httpx

from tests.soundness.server import ROOT, Served

CONFIGURATION = Path(__file__).with_name("schemathesis.toml")
HOOKS = "tests.soundness.checks_of_answers"
SERVICE = {"seconds_to_reason": 1, "questions_waiting": 100}
"""Settings of a service that is asked so: a second for a proof, so that odd questions do not hold it."""


@dataclass(frozen=True)
class Outcome:
    """How a run went: cases asked, operations asked, whether every answer was as documented, its report."""

    cases: int
    operations: int
    ok: bool
    printed: str


def keep_the_catalogue(client: httpx.Client) -> None:
    """Store a build, so that taking back the first edit is refused and leaves a catalogue to ask about."""
    kept = client.post("/v1/builds", json={"name": "kept", "chassis": "24PL-018412"})
    assert kept.status_code == 201, kept.text


def run_schemathesis(served: Served, *options: str, seconds: float = 7200) -> Outcome:
    """Ask every operation of the document with data that it allows and data that it does not."""
    with served.client() as client:
        keep_the_catalogue(client)
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        command = [
            sys.executable, "-c", "from schemathesis.cli import schemathesis; schemathesis()",
            "--config-file", str(CONFIGURATION), "run", f"{served.address}/openapi.json", "--no-color",
            "--continue-on-failure", "--max-redirects", "0", "--request-timeout", "60",
            "--report", "json", "--report-json-path", str(report),
            *(part for pair in served.headers.items() for part in ("-H", ": ".join(pair))), *options,
        ]  # fmt: skip
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True, timeout=seconds, check=False,
            env=os.environ | {"SCHEMATHESIS_HOOKS": HOOKS, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        told = json.loads(report.read_text()) if report.exists() else {}
    return Outcome(
        cases=told.get("test_cases", {}).get("generated", 0),
        operations=told.get("operations", {}).get("tested", 0),
        ok=done.returncode == 0,
        printed=done.stdout + done.stderr,
    )
