"""The printed sources are those of the code."""

from pathlib import Path

from graftbook.checks.verdict import Provenance
from graftbook.guide.made import limits_of_checks
from tests.checks.sources import PAGE, page
from tests.checks.values import VALUES


def test_the_page_of_sources_lists_every_source():
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_check_value_is_compared_somewhere():
    tests = "\n".join(p.read_text(encoding="utf-8") for p in Path(__file__).parent.glob("test_*.py"))
    for group in {name.partition(".")[0] for name in VALUES}:
        assert f'"{group}' in tests or f'f"{group}' in tests or f"{group.rpartition(' ')[0]} {{" in tests, (
            group
        )


def test_what_is_seen_or_remembered_names_its_standard_or_text():
    for _, limit in limits_of_checks():
        assert limit.source
        if limit.provenance in (Provenance.seen, Provenance.memory):
            assert limit.clause or "note" in limit.source, limit.text
