"""Flat lists: kept under a name, an issue put in, questions answered, what is decided taken."""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Engine
from sqlmodel import Session

from graftbook.catalogue.format.fields import SLUG_PATTERN
from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from graftbook.database import reading, writing
from graftbook.editing.flat import store
from graftbook.editing.flat.mapping import FlatMapping, line_with, missing
from graftbook.editing.flat.parts import ListedPart
from graftbook.editing.flat.problems import UnknownFlatList, WrongName
from graftbook.editing.flat.questions import FOR_ALL, KINDS, ListQuestion
from graftbook.editing.flat.rows import IssueRows, Rows, heads_of, rows_of
from graftbook.editing.flat.tables import FlatListRow
from graftbook.editing.flat.turning import Turned, turn
from graftbook.editing.flat.words import by_number
from graftbook.editing.records.service import Author
from graftbook.http.preconditions import require_match
from graftbook.problems import (
    InvalidRequest,
    PreconditionFailed,
    PreconditionRequired,
)

MOST_DECISIONS = 50_000
LONGEST_ANSWER = 300
LONGEST_FILE = 200
MOST_OFFERED = 2_000
_NAME = re.compile(SLUG_PATTERN)


@dataclass(frozen=True, slots=True)
class FlatList:
    """A list as it is kept. `rows` is empty when no issue is worked at."""

    name: str
    version: int
    mapping: FlatMapping
    decisions: dict[str, str]
    rows: Rows
    assumed: tuple[str, ...]
    file: str
    taken: dict[str, ListedPart]
    taken_file: str
    taken_revision: int | None
    changed: datetime

    @property
    def etag(self) -> str:
        """What a change that must not overwrite another's sends as If-Match."""
        return f'"flat-{self.name}-{self.version}"'

    @property
    def heads(self) -> list[str]:
        """The heads of the issue's columns."""
        return heads_of(self.rows, self.mapping.head_line)


def _list_of_row(row: FlatListRow) -> FlatList:
    issue = json.loads(row.issue)
    return FlatList(
        row.name, row.version, FlatMapping.model_validate_json(row.mapping), json.loads(row.decisions),
        issue.get("rows", []), tuple(issue.get("assumed", ())), row.issue_file, json.loads(row.taken),
        row.taken_file, row.taken_revision, row.changed,
    )  # fmt: skip


def _row(session: Session, name: str) -> FlatListRow:
    if (row := store.flat_list(session, name)) is None:
        raise UnknownFlatList(name, [one.name for one in store.flat_lists(session, "", 5)])
    return row


def _touch(row: FlatListRow) -> None:
    row.version += 1
    row.changed = datetime.now(UTC)


def flat_lists(engine: Engine, after: str, most: int) -> list[FlatList]:
    """The kept lists by name."""
    with reading(engine) as session:
        return [_list_of_row(row) for row in store.flat_lists(session, after, most)]


def flat_list(engine: Engine, name: str) -> FlatList:
    """One list. Raises UnknownFlatList."""
    with reading(engine) as session:
        return _list_of_row(_row(session, name))


def put_mapping(engine: Engine, name: str, mapping: FlatMapping, if_match: str | None) -> FlatList:
    """Keep a mapping under a name that is new, or in the place of one that still has the ETag.

    Raises PreconditionRequired, PreconditionFailed, InvalidRequest for names that the catalogue lacks.
    """
    with writing(engine) as session:
        _require_known(session.connection(), mapping)
        row = store.flat_list(session, name)
        if row is None:
            if if_match is not None:
                raise PreconditionFailed("There is no such list any more")
            row = FlatListRow(name=name, version=0, changed=datetime.now(UTC))
        else:
            _require_read(_list_of_row(row), if_match)
        row.mapping = mapping.model_dump_json()
        _touch(row)
        session.add(row)
        return _list_of_row(row)


def _require_read(kept: FlatList, if_match: str | None) -> None:
    if if_match is None:
        raise PreconditionRequired("This list exists; send If-Match with its ETag")
    require_match(if_match, kept.etag, "the list")


def _require_known(connection: Connection, mapping: FlatMapping) -> None:
    """Whatever a mapping names for every row stands in the catalogue."""
    for kind in ("range", "section", "supplier", "evidence"):
        name = getattr(mapping, kind)
        if name and name not in (known := store.names_of(connection, kind)):
            there = f"There is no {kind} '{name}'; there are {', '.join(known[:20])}"
            raise InvalidRequest(there, pointer=f"/{kind}")
    heads = [head for head in mapping.columns.values() if head]
    if twice := next((head for head in heads if heads.count(head) > 1), ""):
        raise InvalidRequest(f"The column '{twice}' is mapped twice", pointer="/columns")


def put_issue(engine: Engine, name: str, file: str, content: bytes) -> FlatList:
    """Put an issue of a list in, in the place of one that was not taken. Raises UnknownFlatList, TooLarge,
    InvalidRequest."""
    table = rows_of(file, content)
    with writing(engine) as session:
        row = _row(session, name)
        row.issue = _as_text(table)
        row.issue_file = file[:LONGEST_FILE]
        _touch(row)
        session.add(row)
        return _list_of_row(row)


def _as_text(table: IssueRows) -> str:
    return json.dumps({"rows": table.rows, "assumed": table.assumed}, ensure_ascii=False)


def decide(engine: Engine, name: str, answers: Mapping[str, str | None]) -> FlatList:
    """Keep answers with the mapping; null: ask again. Raises UnknownFlatList, InvalidRequest."""
    for key, answer in answers.items():
        kind, _, about = key.partition(":")
        if kind not in KINDS or not about:
            raise InvalidRequest(
                f"'{key}' names no question; take the key from the question", pointer="/answers"
            )
        if answer is not None and not 0 < len(answer) <= LONGEST_ANSWER:
            raise InvalidRequest(f"An answer has 1 to {LONGEST_ANSWER} characters")
    with writing(engine) as session:
        row = _row(session, name)
        decisions = json.loads(row.decisions) | answers
        decisions = {key: answer for key, answer in decisions.items() if answer is not None}
        if len(decisions) > MOST_DECISIONS:
            raise InvalidRequest(f"A list keeps at most {MOST_DECISIONS:,} decisions")
        row.decisions = json.dumps(decisions, ensure_ascii=False)
        _touch(row)
        session.add(row)
        return _list_of_row(row)


def for_all(kind: str) -> str:
    """The key under which one answer is kept for every question of a kind."""
    return f"{kind}:{FOR_ALL}"


def forget(engine: Engine, name: str, if_match: str | None) -> None:
    """Take a list away with its decisions; what was taken into the catalogue stays."""
    with writing(engine) as session:
        row = _row(session, name)
        _require_read(_list_of_row(row), if_match)
        session.delete(row)


def look(engine: Engine, name: str) -> tuple[FlatList, Turned]:
    """What the issue that is worked at becomes. Raises UnknownFlatList, InvalidRequest where it cannot be
    read by the mapping."""
    with reading(engine) as session:
        kept = _list_of_row(_row(session, name))
        return kept, turned(session.connection(), kept)


def turned(connection: Connection, kept: FlatList) -> Turned:
    """What a list's issue becomes by its mapping. Raises InvalidRequest."""
    if not kept.rows:
        raise InvalidRequest("No issue of this list is being worked on; put one in")
    if not kept.mapping.columns.get("number"):
        raise InvalidRequest("Say first which column has the part number", pointer="/columns")
    if lacking := missing(kept.mapping, kept.heads):
        sentence = f"This issue has no column '{lacking[0]}'; its columns are {', '.join(kept.heads[:30])}"
        if line := line_with(kept.rows, kept.mapping.columns.values()):
            raise InvalidRequest(f"{sentence}. The heads stand in line {line}: set `head_line` to {line}")
        raise InvalidRequest(f"{sentence}. Change the mapping, or send the right file")
    known = store.known_for(connection, kept.mapping, kept.rows, kept.taken)
    return turn(kept.rows, kept.mapping, kept.decisions, known, kept.taken, only_range=not known.range)


def take(
    engine: Engine,
    name: str,
    if_match: str | None,
    author: Author,
    *,
    dry_run: bool = False,
    last: Callable[[Connection, LoadReport], None] | None = None,
) -> tuple[LoadReport, Turned]:
    """Load whatever of the issue is decided, by the loader of every import; the rest stays to be asked.

    Once nothing waits the issue is done, and the next one is compared with it. Raises UnknownFlatList,
    InvalidRequest, PreconditionRequired, PreconditionFailed when the list or the catalogue changed meanwhile.
    """
    with reading(engine) as session:
        kept = _list_of_row(_row(session, name))
        _require_read(kept, if_match)
        found = turned(session.connection(), kept)
        revision = current_revision(session.connection())

    def first(connection: Connection) -> None:
        if current_revision(connection) != revision:
            raise PreconditionFailed("The catalogue changed meanwhile; look at the list again")

    def stored(connection: Connection, report: LoadReport) -> None:
        if report.ok and not dry_run:
            store.keep_taken(
                connection, kept.name, kept.version, _row_once_taken(kept, found, report.revision)
            )
        if last:
            last(connection, report)

    report = load(
        engine, found.objects, dry_run=dry_run, who=author.who,
        why=author.why or f"flat list {name}, {kept.file}", removals=found.removals or None,
        first=None if dry_run else first, last=stored,
    )  # fmt: skip
    return report, found


def _row_once_taken(kept: FlatList, found: Turned, revision: int | None) -> dict[str, Any]:
    """What the list's row holds once what is decided is in the catalogue."""
    done = not found.waiting and not found.questions
    return {
        "taken": json.dumps(found.taken, ensure_ascii=False),
        "taken_file": kept.file,
        "taken_revision": revision,
        "changed": datetime.now(UTC),
        "version": kept.version + 1,
        **({"issue": "{}", "issue_file": ""} if done else {}),
    }


def begin(engine: Engine, name: str, file: str, content: bytes) -> None:
    """A new list with its first issue and no mapping yet. Raises WrongName, TooLarge, InvalidRequest."""
    if not _NAME.fullmatch(name):
        raise WrongName("A name has letters, digits, dots and dashes, and no spaces, such as works-spares")
    table = rows_of(file, content)
    with writing(engine) as session:
        if store.flat_list(session, name) is not None:
            raise WrongName(f"There is a list '{name}' already: open it, and put the next issue in there")
        now = datetime.now(UTC)
        row = FlatListRow(name=name, issue=_as_text(table), issue_file=file[:LONGEST_FILE], changed=now)
        session.add(row)


def with_mapping(kept: FlatList, mapping: FlatMapping) -> FlatList:
    """A list as it would be with another mapping; nothing is kept."""
    return replace(kept, mapping=mapping)


def becomes(
    engine: Engine, kept: FlatList, most: int
) -> tuple[list[tuple[int, list[str]]], list[ListQuestion]]:
    """What the first rows of an issue become, in words by line, and what is asked of them."""
    first = replace(kept, rows=kept.rows[: kept.mapping.head_line + most], taken={})
    with reading(engine) as session:
        found = turned(session.connection(), first)
    by_its_number = by_number(found.objects)
    at = first.heads.index(first.mapping.columns["number"])
    rows = enumerate(first.rows[first.mapping.head_line :], start=first.mapping.head_line + 1)
    numbers = {line: row[at] for line, row in rows if at < len(row) and row[at]}
    meant = {as_typed(number): number for number in by_its_number}
    return [
        (line, by_its_number.get(meant.get(as_typed(n), ""), [])) for line, n in numbers.items()
    ], found.questions


def choices(engine: Engine) -> dict[str, list[str]]:
    """What may be typed where a list asks: names by kind, bounded."""
    with reading(engine) as session:
        connection = session.connection()
        kinds = ("range", "section", "supplier", "evidence", "position", "variant")
        return {kind: store.names_of(connection, kind)[:MOST_OFFERED] for kind in kinds}
