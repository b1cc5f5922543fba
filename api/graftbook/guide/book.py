"""The guide: what users read, as Markdown beside this module; parts of it are made from the program itself.

A line `<!-- made: NAME -->` in a page stands for what `MADE[NAME]` gives, so that it cannot rot.
"""

import re
from functools import lru_cache
from pathlib import Path

from graftbook.guide.made import MADE

FOLDER = Path(__file__).parent / "text"

PAGES = {
    "start": "First steps",
    "tutorial": "Your own range, step by step",
    "sheets": "Sheets, workbooks, and what people have",
    "asking": "Asking, and reading an answer",
    "rules": "What the rules mean, exactly",
    "format": "The text format",
    "lists": "A parts list of your own",
    "evidence": "Evidence, reports, grades",
    "checks": "The arithmetic",
    "pictures": "Photographs and sketches",
    "orders": "Orders, deliveries, the store, the work",
    "builds": "Builds and specifications",
    "command": "The command",
    "operating": "Operating it",
    "limits": "Limits",
    "integrating": "Programs that ask",
    "events": "What changed: the feed and webhooks",
    "client": "The Python client, and asking a distant service",
    "changes": "What changed in the API",
}
"""Every page by its name, in reading order, with its title."""

_MADE_HERE = re.compile(r"^<!-- made: (\w+) -->$", re.MULTILINE)


@lru_cache
def page_text(name: str) -> str:
    """One page as Markdown, its made parts filled in. Raises KeyError for a name that no page has."""
    title = PAGES[name]
    text = (FOLDER / f"{name}.md").read_text(encoding="utf-8")
    return f"# {title}\n\n" + _MADE_HERE.sub(lambda found: MADE[found[1]](), text).strip() + "\n"
