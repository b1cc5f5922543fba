"""`graftbook guide`, `columns` and `new`: how to use it, and a range to begin with."""

import csv
import shlex
import sys
from pathlib import Path
from typing import Annotated

import typer

from graftbook.commands import console as c


def guide(page: Annotated[str, typer.Argument(help="Page of the guide; none: the list.")] = "") -> None:
    """Print the guide, page by page, as Markdown: how to ask, the text format, the rules, operating."""
    from graftbook.guide.book import PAGES, page_text

    if not page:
        for name, title in PAGES.items():
            typer.echo(f"{name:<12} {title}")
    elif page in PAGES:
        typer.echo(page_text(page), nl=False)
    else:
        c.stop(f"the guide has no page '{page}'; it has {', '.join(PAGES)}", code=c.WRONG_USE)


def columns(
    kind: Annotated[str, typer.Argument(help="Kind of record, such as component; none: every kind.")] = "",
    form: Annotated[str, typer.Option("--format", help="text, csv or json.")] = "text",
) -> None:
    """Print each column with what stands in it, its unit, its meaning and an example."""
    from graftbook.catalogue.format.records import KIND_BY_WORD
    from graftbook.guide.made import column_facts, columns_of_kind

    if kind and kind not in KIND_BY_WORD:
        c.stop(f"there is no kind '{kind}'; there are {', '.join(KIND_BY_WORD)}")
    if form not in ("text", "csv", "json"):
        c.stop(f"'{form}' is no form of columns; use text, csv or json")
    kinds = [KIND_BY_WORD[kind]] if kind else list(KIND_BY_WORD.values())
    if form == "text":
        typer.echo("\n\n".join(columns_of_kind(one, own=not kind) for one in kinds))
        return
    facts = [column for one in kinds for column in column_facts(one)]
    if form == "json":
        c.print_json(facts)
        return
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(facts[0])
    writer.writerows(
        ["; ".join(v) if isinstance(v, list) else _setting_value(v) for v in one.values()] for one in facts
    )


def _setting_value(value: str | bool) -> str:
    return value if isinstance(value, str) else "yes" if value else "no"


def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make; one that is there must be empty.")],
) -> None:
    """Write a small range that runs, every kind of record once, commented, to put your own in its place."""
    from graftbook.guide.made import STARTER

    c.require_empty(folder)
    with c.readable_errors():
        folder.mkdir(parents=True, exist_ok=True)
        sheet = folder / "range.csv"
        sheet.write_bytes(STARTER.read_bytes())
    c.say(f"{sheet} is written: an invented range with every kind of record. Now:")
    c.say("  graftbook migrate")
    c.say(f"  graftbook load {shlex.quote(str(folder))}")
    c.say("  graftbook closure --chassis B1-0100 --remedy-all severe")
