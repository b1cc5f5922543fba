"""The sources of the check values as a table: `python -m tests.checks.sources` writes SOURCES.md."""

from pathlib import Path

from graftbook.guide.made import table
from tests.checks.values import VALUES

PAGE = Path(__file__).with_name("SOURCES.md")


def page() -> str:
    """One row for each group of check values with one source."""
    groups: dict[tuple[str, str, str, str], int] = {}
    for value in VALUES.values():
        key = (value.name.partition(".")[0], value.source, value.clause, str(value.provenance))
        groups[key] = groups.get(key, 0) + 1
    rows = [
        (f"{name} ({count})", f"{s}, {clause}", known) for (name, s, clause, known), count in groups.items()
    ]
    return (
        "# Sources of the values that the formulas are tested against\n\n"
        "Written by `python -m tests.checks.sources` from `values.csv`; a test compares. Copies are cited\n"
        "as copies. The limits of the verdicts stand in the guide (`graftbook guide checks`).\n\n"
        + table(("check (values)", "source, clause", "known by"), rows)
        + "\n"
    )


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
