"""The type checker, strict over the whole package, finds nothing; what it may pass over is told by name."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "api" / "graftbook"

WITHOUT_TYPES = {"pymupdf_fonts", "xlsxwriter.*"}
"""Libraries that tell the checker nothing of themselves."""


@pytest.mark.timeout(600)
def test_the_checker_finds_nothing() -> None:
    """Its cache is kept beside the configuration, so that only the first run takes long."""
    run = subprocess.run(
        [sys.executable, "-m", "mypy", "--no-pretty", "--no-color-output"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, f"{run.stdout}{run.stderr}"


def test_it_is_strict_and_passes_over_no_room() -> None:
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["mypy"]
    assert told["strict"] is True
    assert told["packages"] == ["graftbook"]
    assert not {"exclude", "ignore_errors", "disable_error_code", "ignore_missing_imports"} & told.keys()
    for override in told["overrides"]:
        assert set(override) == {"module", "ignore_missing_imports"}
        assert set(override["module"]) <= WITHOUT_TYPES


def test_whoever_passes_over_a_line_says_which_fault_and_why() -> None:
    told = re.compile(r"# type: ignore\[[a-z-]+\]  # \w.*")
    silent = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path in sorted(PACKAGE.rglob("*.py"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(r"#\s*(type:\s*ignore|mypy:)", line) and not told.search(line)
    ]
    assert silent == []
