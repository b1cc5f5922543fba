"""`graftbook flat`: a flat parts list by a mapping that is kept under a name."""

import shlex
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from graftbook.commands import console as c

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from graftbook.editing.flat.rows import Rows
    from graftbook.editing.flat.service import FlatList
    from graftbook.editing.flat.turning import Turned

MOST_SHOWN = 20
MOST_OF_A_KIND = 3


def flat(
    file: Annotated[
        Path,
        typer.Argument(help="The list: CSV with any separator, XLSX or ODS.", exists=True, dir_okay=False),
    ],
    mapping: Annotated[str, typer.Option("--mapping", help="Name of the mapping, such as works-spares.")],
    database: c.Database = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column", help="field=Head: this column is that field. Keeps the mapping. Repeatable."
        ),
    ] = None,
    set_: Annotated[
        list[str] | None,
        typer.Option("--set", help="supplier=works, decimal=comma, section=, …: for every row. Repeatable."),
    ] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option(
            "--answer", help="key=value: answer a question; 'kind:*=value' all of a kind. Repeatable."
        ),
    ] = None,
    decided: Annotated[
        bool, typer.Option("--decided", help="Take what is decided although questions are open.")
    ] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check everything, take nothing.")] = False,
    why: Annotated[str, typer.Option(help="Why, for the history.")] = "",
) -> None:
    """Read a parts list in columns of its own, show what it changes and what is unclear, and take it.

    The mapping and the answers are kept, so the next issue of the list asks nothing again. Fields:
    number, description, section, position, fits, from, to, quantity, replaces, price, currency, supplier,
    pack, lead_days, deposit, note. More: graftbook guide lists.
    """
    from graftbook.editing.flat import service
    from graftbook.editing.records.service import Author

    with c.readable_errors():
        engine = c.engine_to_edit(c.settings_for(database))
        _keep_mapping(engine, mapping, file, _pairs(column), _pairs(set_))
        service.put_issue(engine, mapping, file.name, file.read_bytes())
        answers = _pairs(answer)
        if answers:
            service.decide(engine, mapping, dict(answers))
        kept, found = service.look(engine, mapping)
        c.print_lines(_summary_lines(kept, found))
        for key in answers.keys() - found.served:
            c.say(f"Nothing is asked that the answer to '{key}' is for; take the key behind OPEN as it is.")
        if found.questions and not decided and not dry_run:
            c.stop("nothing was taken: answer what is open, or take the rest with --decided", c.NO)
        author = Author(c.who(), why)
        report, _ = service.take(engine, mapping, kept.etag, author, dry_run=dry_run)
    c.show_mistakes(report)
    if not report.ok:
        raise typer.Exit(c.REFUSED)
    done = "would change" if dry_run else f"changed as revision {report.revision}"
    typer.echo(
        f"{c.counted(report.changed, 'record')} {done}; {c.counted(len(found.waiting), 'number')} waiting."
    )


def _pairs(given: list[str] | None) -> dict[str, str]:
    """`a=b` as pairs; a key may hold `=` itself, so the last one parts."""
    found: dict[str, str] = {}
    for text in given or ():
        key, sign, value = text.rpartition("=")
        if not sign:
            c.stop(f"'{text}' is not of the form name=value")
        found[key.strip()] = value.strip()
    return found


def _keep_mapping(
    engine: "Engine", name: str, file: Path, columns: dict[str, str], said: dict[str, str]
) -> None:
    """Keep the mapping where options say something of it; a new one finds the line of its heads itself."""
    from pydantic import ValidationError

    from graftbook.editing.flat import service
    from graftbook.editing.flat.mapping import FlatMapping, as_meant, line_with, mistakes_in_words
    from graftbook.editing.flat.problems import UnknownFlatList
    from graftbook.editing.flat.rows import rows_of

    try:
        kept = service.flat_list(engine, name)
    except UnknownFlatList:
        rows = rows_of(file.name, file.read_bytes()).rows
        if not columns:
            heads_in = said.get("head_line", "")
            c.stop(_mapping_hint(name, rows, int(heads_in) if heads_in.isdecimal() else 0))
        kept = None
        if "head_line" not in said and (line := line_with(rows, columns.values())) > 1:
            c.say(f"The heads stand in line {line}.")
            said = {**said, "head_line": str(line)}
    if not columns and not said:
        return
    before = kept.mapping.model_dump() if kept else {"columns": {}}
    try:
        mapping = FlatMapping.model_validate(
            {**before, **as_meant(said), "columns": before["columns"] | columns}
        )
    except ValidationError as error:
        c.stop(mistakes_in_words(error.errors()))
    service.put_mapping(engine, name, mapping, kept.etag if kept else None)


def _mapping_hint(name: str, rows: "Rows", line: int) -> str:
    """What to say of a list whose columns nobody has named: the heads that it has, and what they may be."""
    from graftbook.editing.flat.mapping import guessed, head_line_of
    from graftbook.editing.flat.rows import heads_of

    line = line or head_line_of(rows)
    heads = heads_of(rows, line)
    found = guessed(heads) or {"number": heads[0]}
    options = " ".join(f"--column {shlex.quote(f'{field}={head}')}" for field, head in found.items())
    return (
        f"there is no mapping '{name}' yet: say once which column is what. The list's columns are "
        f"{', '.join(heads[:30])}, as line {line} says (another: --set head_line=…). Perhaps:\n  {options}"
    )


def _summary_lines(kept: "FlatList", found: "Turned") -> list[str]:
    """What is asked, what changed, and how many there are of each."""
    from graftbook.editing.flat.questions import KINDS

    lines = [*kept.assumed]
    kinds = Counter(question.kind for question in found.questions)
    shown: Counter[str] = Counter()
    for question in found.questions:
        shown[question.kind] += 1
        if shown[question.kind] > (MOST_OF_A_KIND if len(found.questions) > MOST_SHOWN else MOST_SHOWN):
            continue
        values = [one.value + f" ({one.words})" * (one.words != one.value) for one in question.choices[:6]]
        values += [f"another {question.typed}"] if question.typed else []
        line = f"Line {question.lines[0]}: " * (question.lines[0] > 0)
        lines += [f"OPEN {question.key}", f"     {line}{question.sentence}"]
        lines += [f"     Answers: {'; '.join(values)}"]
    if len(found.questions) > MOST_SHOWN:
        counts = ", ".join(f"{KINDS[kind].lower()} {count}" for kind, count in kinds.items())
        lines.append(f"     In all: {counts}. Each of them stands at /edit/flat/{kept.name}.")
    if found.questions:
        lines.append("     Answer with --answer 'key=value'; 'kind:*=value' answers all of a kind.")
    for remark in found.told[:MOST_SHOWN]:
        lines.append(f"TOLD {f'Line {remark.line}: ' * (remark.line > 0)}{remark.sentence}")
    if kept.taken_revision is not None:
        for one in found.changes[:MOST_SHOWN]:
            was, now = one["was"] or "nothing", one["now"] or "nothing"
            lines.append(f"{one['what'].upper()} {one['number']}: {was}, now {now}")
        lines.append(f"{len(found.changes)} changes since {kept.taken_file}.")
    lines.append(
        f"{found.numbers} numbers in {found.rows} rows: {found.unchanged} as taken before, {found.ready} can "
        f"be taken, {len(found.waiting)} wait; open questions {len(found.questions)}, assumed or passed over "
        f"{len(found.told) + found.untold}."
    )
    return lines
