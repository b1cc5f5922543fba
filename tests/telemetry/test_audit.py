"""The audit of dependencies fails on a known flaw, and never passes in silence what it did not look at."""

import runpy
from pathlib import Path
from typing import Any

AUDIT = runpy.run_path(str(Path(__file__).resolve().parents[2] / ".ci" / "audit"))


def verdict(*dependencies: dict[str, Any]) -> tuple[str, bool]:
    lines, vulnerable = AUDIT["verdict"]({"dependencies": list(dependencies)})
    return "\n".join(lines), vulnerable


CLEAN = {"name": "one", "version": "1.0", "vulns": []}
FLAWED = {"name": "two", "version": "2.0", "vulns": [{"id": "CVE-0000-0000", "fix_versions": ["2.1"]}]}
SKIPPED = {"name": "three", "skip_reason": "Dependency not found"}


def test_a_known_flaw_fails_it():
    said, vulnerable = verdict(CLEAN, FLAWED)
    assert vulnerable
    assert "two 2.0: CVE-0000-0000, mended in 2.1" in said
    assert "not audited" not in said


def test_what_was_not_looked_up_is_said():
    said, vulnerable = verdict(CLEAN, SKIPPED)
    assert not vulnerable
    assert "not audited: 1 packages (three); Dependency not found" in said
    assert "not audited" in verdict()[0], "nothing at all was looked up"
    assert "not audited" not in verdict(CLEAN)[0]
