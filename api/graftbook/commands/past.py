"""`graftbook history`, `compare`, `take-back` and `remove`: what was edited, and undoing it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, islice
from typing import TYPE_CHECKING, Annotated, Any

import typer

from graftbook.commands import completion, distant
from graftbook.commands import console as c

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from graftbook.editing.schemas import EditOut, RecordChangeOut, RecordDifferenceOut, RevisionOut
    from graftbook.settings import Settings

PAGE = 500
MOST_TOLD = 20
"""So many reasons why an edit is refused are told."""
Kind = Annotated[
    str, typer.Argument(help="Kind of record, such as fitment.", autocompletion=completion.kinds)
]
Name = Annotated[
    str,
    typer.Argument(
        help="Name of the record, or a component's number.", autocompletion=completion.names_of_kind
    ),
]


@dataclass(frozen=True, slots=True)
class Opened:
    """The database, for whoever asks for nothing else of a service."""

    engine: "Engine"


def history(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="[KIND NAME | REVISION]",
            help="One record's changes, or what one revision changed; else the revisions.",
            autocompletion=completion.kinds,
        ),
    ] = "",
    name: Annotated[str, typer.Argument(hidden=True, autocompletion=completion.names_of_kind)] = "",
    limit: Annotated[int, typer.Option(min=1, max=PAGE, help="At most so many, the newest first.")] = 20,
    database: c.Database = None,
    as_json: c.AsJson = False,
    service: distant.Service = None,
) -> None:
    """Who changed what, when and why: `history`, `history 12`, `history component QB-3310`."""
    if kind and not name and not kind.isdigit():
        c.stop("give a kind and a name, or the number of a revision")
    with c.readable_errors():
        if not kind:
            revisions = distant.asked(
                service, database,
                lambda shop: list(islice(shop.revisions(), limit)), lambda settings: edits(settings, limit),
            )  # fmt: skip
            c.print_items(revisions, map(_edit_line, revisions), as_json)
            return
        if name:
            changes = distant.asked(
                service, database,
                lambda shop: list(islice(shop.record_history(_known_kind(kind), name), limit)),
                lambda settings: changes_of(settings, _known_kind(kind), name, limit),
            )  # fmt: skip
            lines = chain.from_iterable(map(_edit_and_change, changes))
        else:
            changes = distant.asked(
                service, database,
                lambda shop: list(islice(shop.revision_changes(int(kind)), limit)),
                lambda settings: changed_by(settings, int(kind), limit),
            )  # fmt: skip
            lines = chain(
                map(_edit_line, [changes[0]["edit"]] if changes else []),
                chain.from_iterable(map(_change_lines, changes)),
            )
    c.print_items(changes, lines, as_json)
    if not changes:
        c.say("No edit changed that.")
        raise typer.Exit(c.NO)


def compare(
    old: Annotated[int, typer.Argument(metavar="FROM", min=0, help="A revision; 0: before all.")],
    new: Annotated[
        int | None, typer.Argument(metavar="[TO]", min=0, help="Another; else as it is now.")
    ] = None,
    database: c.Database = None,
    as_json: c.AsJson = False,
    service: distant.Service = None,
) -> None:
    """What says something else as of two revisions: `graftbook compare 3` is what changed since."""
    with c.readable_errors():
        found = distant.asked(
            service, database,
            lambda shop: list(shop.compare_revisions(old, new)),
            lambda settings: differences(settings, old, new),
        )  # fmt: skip
    c.print_items(found, chain.from_iterable(map(_change_lines, found)), as_json)
    c.say(f"{c.counted(len(found), 'record')} {'says' if len(found) == 1 else 'say'} something else.")


def take_back(
    revision: Annotated[int, typer.Argument(min=1, help="The revision to undo, as `history` shows it.")],
    why: c.Why = "",
    dry_run: c.DryRun = False,
    database: c.Database = None,
    as_json: c.AsJson = False,
) -> None:
    """Undo one edit by a new one; refused where a later edit changed the same records."""
    with c.readable_errors():
        document = taken_back(c.settings_for(database), revision, why, dry_run=dry_run)
    _print_edit(document, as_json, f"Revision {revision} {'can be' if dry_run else 'is'} taken back")


def remove(
    kind: Kind,
    name: Name,
    with_own: Annotated[
        bool,
        typer.Option(
            "--with-own",
            help="Also what says nothing without it: a component's fitments, companions, offers.",
        ),
    ] = False,
    why: c.Why = "",
    dry_run: c.DryRun = False,
    database: c.Database = None,
    as_json: c.AsJson = False,
) -> None:
    """Take a record out of the catalogue; refused while another record or a build names it."""
    with c.readable_errors():
        document = removed(c.settings_for(database), _known_kind(kind), name, with_own, why, dry_run=dry_run)
    _print_edit(document, as_json, f"{kind} '{name}' {'can be' if dry_run else 'is'} taken out")


def edits(settings: "Settings", limit: int) -> "list[RevisionOut]":
    """What `GET /v1/revisions` lists."""
    from graftbook.editing import history as past

    return past.revisions(Opened(c.engine_for(settings)), "", limit)[0]


def changes_of(settings: "Settings", kind: str, name: str, limit: int) -> "list[RecordChangeOut]":
    """What `GET /v1/records/{kind}/{name}/history` lists."""
    from graftbook.editing import history as past

    return past.of_record(Opened(c.engine_for(settings)), kind, name, "", limit)[0]


def changed_by(settings: "Settings", revision: int, limit: int) -> "list[RecordChangeOut]":
    """What `GET /v1/revisions/{number}/changes` lists."""
    from graftbook.editing import history as past

    return past.of_revision(Opened(c.engine_for(settings)), revision, "", limit)[0]


def differences(settings: "Settings", old: int, new: int | None) -> "list[RecordDifferenceOut]":
    """What `GET /v1/revisions/compare` lists, page after page."""
    from graftbook.editing import history as past

    engine = c.engine_for(settings)
    found: list[RecordDifferenceOut] = []
    cursor: str | None = ""
    while cursor is not None:
        page, cursor = past.between(Opened(engine), old, new, cursor, PAGE)
        found += page
    return found


def taken_back(settings: "Settings", revision: int, why: str, *, dry_run: bool) -> "EditOut":
    """What `POST /v1/revisions/{number}/take-back` answers."""
    from graftbook.editing.records import service as editing

    author = editing.Author(c.who(), why)
    report = editing.take_back(c.engine_to_edit(settings), revision, author, dry_run=dry_run)
    return _edit_document(report)


def removed(
    settings: "Settings", kind: str, name: str, with_own: bool, why: str, *, dry_run: bool
) -> "EditOut":
    """What `DELETE /v1/records/{kind}/{name}` answers, of the record as it stands now."""
    from graftbook.editing.records import service as editing

    engine = c.engine_to_edit(settings)
    read = editing.record_state(engine, kind, name)
    author = editing.Author(c.who(), why)
    own = editing.own_records(engine, kind, name)
    taken = own if with_own else {}
    report = editing.remove_record(engine, kind, name, read.etag, author, dry_run=dry_run, own=taken)
    if own and not with_own and not report.ok:
        c.say("With --with-own what says nothing without it goes too.")
    return _edit_document(report)


def _edit_document(report: Any) -> "EditOut":
    if not report.ok:
        for mistake in report.mistakes[:MOST_TOLD]:
            typer.echo(f"graftbook: {mistake.message}", err=True)
        more = len(report.mistakes) - MOST_TOLD
        c.stop(f"{f'and {more} more; ' if more > 0 else ''}nothing was changed", c.REFUSED)
    return {
        "dry_run": report.dry_run,
        "changed": report.changed,
        "catalogue_revision": report.revision,
    }


def _print_edit(document: "EditOut", as_json: bool, done: str) -> None:
    if as_json:
        c.print_json(document)
    kept = "nothing is stored" if document["dry_run"] else f"revision {document['catalogue_revision']}"
    c.say(f"{done}: {c.counted(document['changed'], 'record')} changed, {kept}.")


def _known_kind(kind: str) -> str:
    from graftbook.catalogue.format.records import KIND_BY_WORD

    if kind not in KIND_BY_WORD:
        c.stop(f"there is no kind '{kind}'; there are {', '.join(KIND_BY_WORD)}")
    return kind


def _edit_line(edit: "RevisionOut") -> str:
    why = f": {edit['why']}" if edit["why"] else ""
    changed = c.counted(edit["changes"], "record")
    at = edit["at"][:16].replace("T", " ")
    return f"{edit['revision']:>6}  {at}  {edit['who'] or 'nobody'}, {changed}{why}"


def _edit_and_change(change: "RecordChangeOut") -> Iterator[str]:
    yield _edit_line(change["edit"])
    yield from _change_lines(change)


def _change_lines(change: "RecordChangeOut | RecordDifferenceOut") -> Iterator[str]:
    yield f"{change['what']} {change['kind']} {change['name']}"
    before, after = change["before"], change["after"]
    if len(before) == len(after) == 1:
        yield from _fields(before[0], after[0])
        return
    for mark, rows in (("-", before), ("+", after)):
        for row in rows:
            yield f"  {mark} {_row(row)}"


def _fields(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[str]:
    for field in dict.fromkeys(chain(before, after)):
        old, new = before.get(field), after.get(field)
        if old != new:
            yield f"    {field}: {_value(old)} -> {_value(new)}"


def _row(row: Mapping[str, Any]) -> str:
    return "; ".join(f"{field} {_value(value)}" for field, value in row.items())


def _value(value: Any) -> str:
    if value in (None, "", []):
        return "nothing"
    return (
        ", ".join(map(str, value))
        if isinstance(value, Iterable) and not isinstance(value, str)
        else str(value)
    )
