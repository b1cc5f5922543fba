"""The demo range in the words that both releases read: what only one of them knows is left out for both."""

import csv
from collections.abc import Iterable, Iterator, Mapping
from io import StringIO
from pathlib import Path

from tests.benchmarks.releases.beside import Fault, Side

Columns = Mapping[str, Iterable[str]]


def load_both(ours: Side, theirs: Side, sheets: Path, folder: Path) -> None:
    """The same range into both. Raises Fault where one of them finds a mistake in it."""
    known = theirs.ask(do="columns")["columns"]
    written = []
    for sheet in sorted(sheets.glob("*.csv")):
        path = folder / sheet.name
        path.write_text(transcribed(sheet.read_text(encoding="utf-8"), known), encoding="utf-8")
        written.append(str(path))
    for side in (ours, theirs):
        if mistakes := side.ask(do="load", sheets=written)["mistakes"]:
            raise Fault("\n".join(mistakes))


def transcribed(sheet: str, known: Columns) -> str:
    """A sheet with no other kinds of record and columns than these."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for kind, header, rows in _tables(sheet):
        if kind not in known:
            continue
        if kind == "flaw" and "also_of" in header and "also_of" not in set(known[kind]):
            rows = [told for row in rows for told in _each_of_its_own(dict(zip(header, row, strict=False)))]
        kept = [n for n, column in enumerate(header) if column in set(known[kind])]
        writer.writerow([f"[{kind}]"])
        for row in (header, *rows):
            writer.writerow([row[n] if n < len(row) else "" for n in kept])
    return out.getvalue()


def _each_of_its_own(flaw: dict[str, str]) -> Iterator[list[str]]:
    """A flaw of several components as one of each, with the substitutes that replace that one."""
    bearers = [flaw["component"], *_several(flaw.get("also_of", ""))]
    for n, bearer in enumerate(bearers):
        name = f"{flaw['name']}-{n + 1}" if n else flaw["name"]
        theirs = [one for one in _several(flaw["substitutes"]) if one.split(">")[0] == bearer]
        told = flaw | {"name": name, "component": bearer, "substitutes": "; ".join(theirs)}
        yield list(told.values())


def _several(cell: str) -> list[str]:
    return [one.strip() for one in cell.split(";") if one.strip()]


def _tables(sheet: str) -> Iterator[tuple[str, list[str], list[list[str]]]]:
    """Each table's kind, column names and rows."""
    kind, header, rows = "", [], []
    for row in csv.reader(StringIO(sheet)):
        if not any(row) or row[0].startswith("#"):
            continue
        if row[0].startswith("["):
            if kind:
                yield kind, header, rows
            kind, header, rows = row[0].strip("[]"), [], []
        elif not header:
            header = row
        else:
            rows.append(row)
    if kind:
        yield kind, header, rows
