"""The build sheet as PDF: the paper that goes with the vehicle."""

from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter

from reportlab.platypus import Flowable

from graftbook.builds.life.recording import brief_of
from graftbook.builds.life.schemas import BuildSheetOut
from graftbook.builds.life.words import (
    NOT_RECORDED,
    figures_that_changed,
    grave_flaws,
    how_it_stands,
    how_it_was,
    sections_kept,
    unconfirmed,
    unfinished,
)
from graftbook.http.values import capital
from graftbook.orders.papers.cells import TextRun
from graftbook.orders.papers.layout import Paper, box, bytes_of, foot_is_whole, letterhead, strip, table
from graftbook.orders.papers.rows import Grid, left, right
from graftbook.orders.papers.text import day_of, hours, listed, plain


def sheet_pdf(facts: BuildSheetOut, house: str) -> bytes:
    """The facts of `graftbook.builds.life.documents` on A4; `house` as for `order_pdf`."""
    vehicle = facts["vehicle"]
    revision = f"catalogue revision {facts['catalogue_revision']}"
    paper = Paper(
        title=listed(("Build sheet", vehicle["chassis"])),
        running=listed(("Build sheet", vehicle["chassis"], facts["name"], facts["on"], revision), " · "),
        foot=plain(facts["defers"]),
        day=day_of(facts["on"]),
        author=(house.splitlines() or [""])[0],
    )
    return bytes_of(paper, _parts(paper, facts, house))


def _parts(paper: Paper, facts: BuildSheetOut, house: str) -> Iterator[list[Flowable]]:
    yield letterhead(paper, house, facts["vehicle"]["title"], "Build sheet")
    yield strip(paper, _short(facts))
    yield box(paper, "Note", [facts["note"]])
    yield box(paper, "Not finished", unfinished(facts))
    yield box(paper, "Cautions", facts["cautions"])
    yield _changes(paper, facts)
    yield _off(paper, facts)
    yield _arithmetic(paper, facts)
    yield box(paper, "Flaws left", grave_flaws(facts))
    yield _kept_original_table(paper, facts)
    yield _measurements_table(paper, facts)
    yield _work(paper, facts)
    yield box(paper, "Unconfirmed", unconfirmed(facts))
    yield _records(paper, facts)
    yield box(paper, "Local codes", [] if foot_is_whole(paper) else [facts["defers"]])


def _short(facts: BuildSheetOut) -> list[tuple[str, object]]:
    vehicle = facts["vehicle"]
    about = "about " if vehicle["built_is_estimated"] else ""
    return [
        ("Chassis number", vehicle["chassis"]),
        ("Built", f"{about}{vehicle['built'][:7] if about else vehicle['built']}"),
        ("Steering, market", f"{vehicle['steering']}, {vehicle['market']}"),
        ("Options", listed(vehicle["options"]) or "none"),
        ("Built to", facts["built_to"] or "no specification"),
        ("As of", facts["on"]),
        ("Work recorded", hours(facts["minutes"])),
    ]


def _changes(paper: Paper, facts: BuildSheetOut) -> list[Flowable]:
    grid = Grid(
        [left("Where", 46), left("What sits there", 70), left("As built", 34), left("Since", 18),
         left("Record", 12)],
        under_from=1,
    )  # fmt: skip
    for title, changes in groupby(facts["changed"], itemgetter("section_title")):
        grid.band(capital(plain(title)))
        for change in changes:
            grid.add(
                capital(change["position_title"]),
                [TextRun(listed((change["component"], change["name"])) or "nothing any more", bold=True)],
                change["original"] or "nothing",
                change["since"],
                str(change["event"] or "–"),
                under=[
                    TextRun(sentence) for sentence in (*how_it_was(change), how_it_stands(change)) if sentence
                ],
            )
    heading = "What is not as the factory left it"
    return table(paper, grid, heading) or box(paper, "As built", ["Nothing is recorded that was changed."])


def _off(paper: Paper, facts: BuildSheetOut) -> list[Flowable]:
    grid = Grid([left("Part", 80), left("Came off", 50), left("On", 21), left("Kept", 45)])
    for part in facts["off"]:
        mark = "" if part["original"] else " (not the factory's)"
        grid.add(
            f"{listed((part['component'], part['name']))}{mark}",
            part["position_title"],
            part["day"],
            part["kept"] or NOT_RECORDED,
        )
    return table(paper, grid, "Parts that came off, and where they are")


def _arithmetic(paper: Paper, facts: BuildSheetOut) -> list[Flowable]:
    grid = Grid(
        [left("Figure", 84), right("As built", 20), right("As it is", 20), left("", 14), left("Verdict", 24)]
    )
    for finding, rows in figures_that_changed(facts["checks"]):
        for row in rows:
            grid.add(row.name, row.before, row.after, row.unit, finding["verdict"])
    return table(paper, grid, "The arithmetic, as built and as it is")


def _kept_original_table(paper: Paper, facts: BuildSheetOut) -> list[Flowable]:
    grid = Grid([left("Section", 30), right("Places", 12), left("As the factory left it", 150)])
    for title, places in sections_kept(facts):
        grid.add([TextRun(capital(title), bold=True)], str(len(places)), listed(places, "; "))
    return table(paper, grid, "Kept original")


def _measurements_table(paper: Paper, facts: BuildSheetOut) -> list[Flowable]:
    grid = Grid([left("Where", 60), left("What", 50), right("Value", 26), left("On", 21), left("By", 40)])
    for one in facts["measured"]:
        grid.add(
            capital(one["position_title"]),
            one["characteristic"].replace("_", " "),
            one["value"],
            one["day"],
            one["who"],
        )
    return table(paper, grid, "Measured on this vehicle")


def _work(paper: Paper, facts: BuildSheetOut) -> list[Flowable]:
    grid = Grid([left("On", 17), left("Work", 110), right("Time", 20), left("By", 40)])
    for one in facts["work"]:
        grid.add(one["day"], one["done"], hours(one["minutes"]), one["who"])
    return table(paper, grid, f"Work, {hours(facts['minutes'])} in all")


def _records(paper: Paper, facts: BuildSheetOut) -> list[Flowable]:
    grid = Grid([right("Record", 12), left("Of", 21), left("What", 125), left("Written by", 38)])
    for event in facts["events"]:
        gone = f" Taken back: {event['taken_back']}" if event["taken_back"] else ""
        grid.add(str(event["id"]), event["day"], f"{brief_of(event)}{gone}", event["who"])
    return table(paper, grid, "The records behind this sheet")
