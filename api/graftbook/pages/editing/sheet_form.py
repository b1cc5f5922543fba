"""A sheet as a form sends it, pasted or as a file, and its mistakes beside its lines."""

from collections.abc import Sequence
from typing import TypedDict

from starlette.datastructures import FormData, UploadFile

from graftbook.catalogue.format.delimited import text_of
from graftbook.catalogue.format.grid import CATALOGUE, NotASheet
from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.loading.removing import kind_words
from graftbook.problems import begun

LONGEST_SHEET = 600_000
"""Bytes of a sheet on a page, which sends it back and forth; the API and the commands take longer ones."""
LONGEST_LINE_SHOWN = 300
MOST_LINES_SHOWN = 200


def field(form: FormData, name: str) -> str:
    """A field's text; empty when it is not there or is a file."""
    value = form.get(name)
    return value if isinstance(value, str) else ""


async def sheet_in(form: FormData, elsewhere: str) -> tuple[str, str]:
    """The text of the field `sheet`, or of the file in its place, and why it cannot be read; empty: it can.

    `elsewhere` says where a longer one goes.
    """
    text, refused = field(form, "sheet"), ""
    upload = form.get("file")
    if isinstance(upload, UploadFile) and upload.filename:
        content = await upload.read(LONGEST_SHEET + 1)
        try:
            text = _text_in(content) if len(content) <= LONGEST_SHEET else "x" * (LONGEST_SHEET + 1)
        except NotASheet as error:
            refused = f"{begun(str(error))}."
    if len(text.encode("utf-8", "replace")) > LONGEST_SHEET:
        text, refused = "", f"The sheet has more than {LONGEST_SHEET:,} bytes. {elsewhere}"
    if not refused and not text.strip():
        refused = "Choose a file, or paste the sheet."
    return text.replace("\r\n", "\n").replace("\r", "\n"), refused


def _text_in(content: bytes) -> str:
    """A file's text. Raises NotASheet for an empty one and for what a sheet was taken for by mistake."""
    text = text_of(content)
    if not text.strip():
        raise NotASheet("the file is empty")
    if "\0" in text or text.startswith("%PDF-"):
        raise NotASheet("this is no text that can be read; save the sheet as CSV in UTF-8")
    return text


class WrongCell(TypedDict):
    """Where in a workbook a mistake is, and what is wrong."""

    sheet: str
    cell: str
    wrong: str


def cells_with_mistakes(mistakes: Sequence[Mistake]) -> list[WrongCell]:
    """The cells of a workbook that have mistakes, in their order."""
    found: list[WrongCell] = []
    for mistake in mistakes:
        place = mistake.place
        cell = place.cell or (f"row {place.line}" if place.line else "")
        found.append({"sheet": place.sheet or place.file, "cell": cell, "wrong": _mistake_sentence(mistake)})
    return found


def _mistake_sentence(mistake: Mistake) -> str:
    """What is wrong, with its field; of a record that was there before also which it is."""
    which = f"{kind_words(mistake.kind)} {mistake.name}" if mistake.place == CATALOGUE else ""
    where = ", ".join(filter(None, (which.strip(), mistake.field)))
    return begun(f"{where}: {mistake.message}" if where else mistake.message)


class WrongLine(TypedDict):
    """A line of a sheet, and what is wrong with it."""

    line: int
    text: str
    wrong: list[str]


def lines_with_mistakes(text: str, mistakes: Sequence[Mistake]) -> list[WrongLine]:
    """The lines of a sheet that have mistakes, each with its text and what is wrong, in their order."""
    written = text.split("\n")
    found: dict[int, WrongLine] = {}
    for mistake in mistakes:
        number = mistake.place.line
        line = written[number - 1] if 0 < number <= len(written) else ""
        row = found.setdefault(number, {"line": number, "text": line[:LONGEST_LINE_SHOWN], "wrong": []})
        row["wrong"].append(_mistake_sentence(mistake))
    return [found[number] for number in sorted(found)]
