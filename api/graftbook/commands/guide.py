"""`graftbook guide`, `columns` and `new`: how to use it, and a range to begin with."""

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


def columns(kind: Annotated[str, typer.Argument(help="Kind of record, such as component.")] = "") -> None:
    """Print the columns of one kind of record, with an example; without a kind: all kinds."""
    from graftbook.catalogue.format.records import KIND_BY_WORD
    from graftbook.guide.made import columns_of_kind

    if not kind:
        typer.echo("\n".join(KIND_BY_WORD))
    elif found := KIND_BY_WORD.get(kind):
        typer.echo(columns_of_kind(found))
    else:
        c.stop(f"there is no kind '{kind}'; there are {', '.join(KIND_BY_WORD)}", code=c.WRONG_USE)


def new(folder: Annotated[Path, typer.Argument(help="Folder to make.")]) -> None:
    """Write a small range that runs, every kind of record once, to put your own in its place."""
    from graftbook.guide.made import STARTER

    sheet = folder / "range.csv"
    if sheet.exists():
        c.stop(f"{sheet} is there already; name another folder")
    with c.readable_errors():
        folder.mkdir(parents=True, exist_ok=True)
        sheet.write_bytes(STARTER.read_bytes())
    c.say(f"{sheet} is written. Now: graftbook load {folder} --dry-run")
