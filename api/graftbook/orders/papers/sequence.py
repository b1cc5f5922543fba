"""A fitting sequence as PDF: numbered steps to tick off, with tools, tightening values and cautions."""

from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter

from reportlab.platypus import Flowable

from graftbook.orders.papers.cells import TextRun
from graftbook.orders.papers.layout import Paper, box, bytes_of, letterhead, strip, table
from graftbook.orders.papers.rows import Grid, left, right
from graftbook.orders.papers.text import day_of, hours, listed, plain
from graftbook.orders.schemas import FittingOut, StepOut

MINUTES = {"recorded": "", "with its fitting": "–", "not recorded": "?"}
"""What stands instead of the minutes: "–" where they stand with the fitting, "?" where nobody knows."""


def sequence_pdf(facts: FittingOut, house: str = "") -> bytes:
    """The facts of `graftbook.orders.fitting.service` on A4; `house` as for `order_pdf`."""
    vehicle = facts["vehicle"]
    revision = f"catalogue revision {facts['catalogue_revision']}"
    sheet = Paper(
        title=listed(("Fitting sequence", vehicle["chassis"])),
        running=listed(("Fitting sequence", vehicle["chassis"], facts.get("date"), revision), " · "),
        foot=plain(facts["defers"]),
        day=day_of(facts.get("date")),
        author=(house.splitlines() or [""])[0],
    )
    return bytes_of(sheet, _parts(sheet, facts, house))


def _parts(paper: Paper, facts: FittingOut, house: str) -> Iterator[list[Flowable]]:
    vehicle = facts["vehicle"]
    least = "at least " if facts["steps_without_time"] else ""
    yield letterhead(paper, house, plain(vehicle["title"] or vehicle["variant"]), "Fitting sequence")
    yield strip(
        paper,
        [
            ("Chassis number", vehicle["chassis"]),
            ("Catalogue revision", facts["catalogue_revision"]),
            ("Steps", len(facts["steps"])),
            ("Work", least + hours(facts["minutes"])),
            ("Pairs of hands", facts["hands"]),
            ("Done after", least + hours(facts["finish_minutes"])),
        ],
    )
    yield box(paper, "Wishes", facts["wishes"])
    yield box(paper, "Cautions", facts["cautions"])
    yield box(paper, "Not in order", [circle["sentence"] for circle in facts["circles"]])
    yield box(paper, "In short", [facts["sentence"]])
    yield box(paper, "Special tools", [listed(facts["tools"], "; ")])
    yield _steps(paper, facts)
    yield _sections(paper, facts)
    yield box(paper, "Local codes", [facts["defers"]])


def _steps(paper: Paper, facts: FittingOut) -> list[Flowable]:
    grid = Grid(
        [right("Step", 10), left("Work", 27), left("Where, and what", 75), right("Minutes", 14),
         right("From minute", 19), right("To minute", 16), left("Done", 21)],
        under_from=2,
    )  # fmt: skip
    for title, steps in groupby(facts["steps"], itemgetter("section_title")):
        grid.band(plain(title) or "Other work")
        for step in steps:
            grid.add(
                str(step["step"]),
                [TextRun(step["verb"], bold=True)],
                [TextRun(step["title"], bold=True)],
                MINUTES[step["time"]] or str(step["minutes"]),
                plain(step["start"]),
                plain(step["end"]),
                "",
                under=_lines_under(step),
            )
    return table(paper, grid, "Steps")


def _lines_under(step: StepOut) -> list[TextRun]:
    """What stands under a step: how, with which loose parts, how tight."""
    waits = listed(step["waits_for"])
    found = [
        f"After step {waits}" if waits else "",
        *step["instructions"],
        f"Special tools: {listed(step['tools'], '; ')}" if step["tools"] else "",
    ]
    parts = [TextRun(use["sentence"], bold=True) for use in step["loose_parts"]]
    tight = [TextRun(f"Tighten: {plain(value)}", bold=True) for value in step["tightenings"]]
    return [*(TextRun(text) for text in found if text), *parts, *tight]


def _sections(paper: Paper, facts: FittingOut) -> list[Flowable]:
    grid = Grid([left("Section", 90), right("Taking off", 28), right("Fitting", 28), right("Together", 28)])
    for section in facts["sections"]:
        grid.add(
            [TextRun(section["title"], bold=True)],
            hours(section["removing"]),
            hours(section["fitting"]),
            hours(section["minutes"]),
        )
    least = ", at least" if facts["steps_without_time"] else ""
    grid.add(
        [TextRun(f"All sections{least}", bold=True)], "", "", [TextRun(hours(facts["minutes"]), bold=True)]
    )
    return table(paper, grid, "Labour a section")
