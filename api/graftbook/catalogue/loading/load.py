"""One load at work: records are checked one by one, written in batches, then checked together."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from sqlalchemy import Connection, delete, select

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.absurd import absurdities
from graftbook.catalogue.format.fields import is_printable
from graftbook.catalogue.format.kind_rules import Absurd, KindRule, rule_of, rule_of_row
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.format.sheets import Mistake, Place, Placed
from graftbook.catalogue.format.validation import findings
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.history.snapshots import begin_images, images, images_of, keep_images, remember
from graftbook.catalogue.loading.agreement import disagreements
from graftbook.catalogue.loading.expanding import expand_conditions
from graftbook.catalogue.loading.matching_names import unmatched_names
from graftbook.catalogue.loading.references import broken_references, broken_references_beside
from graftbook.catalogue.loading.removing import (
    REMOVED,
    Removals,
    counts_left,
    names_left,
    remove,
    still_named,
)
from graftbook.catalogue.loading.staging import (
    SPANS_OF,
    begin_staging,
    goes_on,
    kinds_brought,
    merged,
    remove_children,
    remove_words,
    stage,
    staged,
    write,
)
from graftbook.catalogue.loading.values import COMPARING, absurd_sentence, read_late, unlike_kinds
from graftbook.catalogue.store.tables import CLAIMS, table
from graftbook.catalogue.store.to_rows import MEASURED, Row, rows_of
from graftbook.database import listed
from graftbook.rulebook.sane import ANY
from graftbook.rulebook.units import NotAMeasure

BATCH = 4000
MOST_MISTAKES = 1000
LONGEST_NAME = 300
"""Of a record with mistakes, beyond which its name is not remembered: no record has a longer one."""

_BY_NAME = frozenset({"component", "claim", "characteristic", "fitment", "companion"})
"""Large tables whose key is the record's name, or has it: an empty catalogue gets each once in a load."""

_FURTHER = {"name", "fit", "at", "quantity", "amount", "having", "empty", "goes_on", "goes_in"}
"""The columns of a companion's further rows."""


class EnoughMistakes(Exception):
    """Nobody mends more at once; what comes behind is not looked at."""


@dataclass(slots=True)
class LoadReport:
    """What a load did, or what stops it. `revision` is None when nothing was kept.

    `changed` counts the records that say something else than before, new and removed ones included;
    when there are none, `revision` stays what it was. `etag`: of a record that was stored by itself.
    `unchanged` counts those that were not written, since they say what they said before.
    `assumed`: what was taken for granted to read the sheets, each in a sentence.
    `left`: how many records of the same kinds were not among those read and stay, by kind; `removed`: the
    names of those that a whole load takes away. Of chassis spans both mean variants.
    `stopped`: there are more mistakes than `MOST_MISTAKES`, and nothing behind those was looked at.
    """

    records: Counter[str] = field(default_factory=Counter)
    changed: int = 0
    unchanged: int = 0
    mistakes: list[Mistake] = field(default_factory=list)
    stopped: bool = False
    revision: int | None = None
    etag: str = ""
    assumed: list[str] = field(default_factory=list)
    left: dict[str, int] = field(default_factory=dict)
    removed: dict[str, list[str]] = field(default_factory=dict)
    dry_run: bool = False
    seconds: float = 0.0

    @property
    def ok(self) -> bool:
        """Whether every record can be kept."""
        return not self.mistakes

    @property
    def mistake_count(self) -> str:
        """How many mistakes there are, in words."""
        if self.stopped:
            return f"these are the first {MOST_MISTAKES:,} mistakes; there are more"
        return f"{len(self.mistakes)} {'mistake' if len(self.mistakes) == 1 else 'mistakes'}"

    def add(self, mistake: Mistake) -> None:
        """Note a mistake. Raises EnoughMistakes when there are `MOST_MISTAKES` already."""
        if len(self.mistakes) == MOST_MISTAKES:
            self.stopped = True
            raise EnoughMistakes
        self.mistakes.append(mistake)


class Load:
    """One load inside one transaction.

    `keeps_images`: what is replaced is remembered for the history. Without it, what was stored once is
    put back as it stood: no figure is doubted, and no name is asked whether something bears it.
    `whole`: what the load does not bring of its kinds is removed; False: counted; None: not looked at.
    """

    def __init__(
        self,
        connection: Connection,
        report: LoadReport,
        progress: Callable[[int], None] | None = None,
        *,
        keeps_images: bool = True,
        whole: bool | None = None,
    ) -> None:
        self.connection = connection
        self.whole = whole
        self.report = report
        self.progress = progress
        self.keeps_images = keeps_images
        self.absurd: list[tuple[Mistake, Absurd]] = []
        """What cannot be; how it is told waits for all that the load brings of its kind."""
        self.changed_kinds: set[str] = set()
        self.unread: set[str] = set()
        """Kinds of which there are records that could not be read: nobody knows what names they bear."""
        self.fresh = not current_revision(connection)

    @cached_property
    def kinds(self) -> dict[str, KindRule]:
        """The rules of every kind of characteristic, with those that the load brought; an edit that says
        nothing measured has no need of them."""
        rows = self.connection.execute(select(table("characteristic_kind")))
        return {row.name: self._as_stored(rule_of_row(row)) for row in rows}

    def run(self, records: Iterator[Placed | Mistake], removals: Removals | None = None) -> None:
        """Write and remove records and report every mistake; what to do with both is the caller's."""
        begin_staging(self.connection)
        begin_images(self.connection)
        removals = removals or {}
        for mistake in remove(self.connection, removals, keep_images=self.keeps_images):
            self.report.add(mistake)
        self._write_all(records)
        if self.whole and self.report.ok:  # a row with a mistake has no name, and would seem to be gone
            removals = {**removals, **self._remove_what_is_left()}
        elif self.whole is False:
            self.report.left = counts_left(self.connection)
        brought = kinds_brought(self.connection)
        mistaken = [*self.report.mistakes, *(mistake for mistake, _ in self.absurd)]
        late = [
            *still_named(self.connection, removals),
            *self._expand(brought),
            *broken_references(self.connection, brought, self.unread),
            *broken_references_beside(self.connection, mistaken, self.unread),
            *self._read_late(),
            *self._unlike_kinds(brought),
            *self._of_the_whole(brought),
        ]
        for mistake in (*late, *self._told_absurd()):
            self.report.add(mistake)

    def _expand(self, brought: set[str]) -> list[Mistake]:
        """What is wrong with conditions; of which variants they hold nobody knows while one is not read."""
        mistakes = list(expand_conditions(self.connection, brought))
        if self.unread & {"range", "variant"}:
            return []
        unsure = {"variant", "chassis_span"} & {mistake.kind for mistake in self.report.mistakes}
        return [mistake for mistake in mistakes if mistake.field == "range" or not unsure]

    def _of_the_whole(self, brought: set[str]) -> Iterator[Mistake]:
        """What does not agree; where a table was not read, nobody can say."""
        if self.unread:
            return
        yield from disagreements(self.connection, brought)
        if self.keeps_images:
            yield from unmatched_names(self.connection, brought)

    def _remove_what_is_left(self) -> Removals:
        self.report.removed = names_left(self.connection)
        for mistake in remove(self.connection, self.report.removed, keep_images=self.keeps_images):
            self.report.add(mistake)
        return self.report.removed

    def _read_late(self) -> Iterator[Mistake]:
        if self.changed_kinds:
            yield from read_late(self.connection, self.kinds, self.changed_kinds, fresh=self.fresh)

    def _unlike_kinds(self, brought: set[str]) -> Iterator[Mistake]:
        if self.changed_kinds or brought & COMPARING:
            yield from unlike_kinds(self.connection, self.kinds, self.changed_kinds)

    def _as_stored(self, rule: KindRule) -> KindRule:
        """A rule that takes every figure, where what was stored once is put back as it stood."""
        return rule if self.keeps_images else rule._replace(span=ANY)

    def _told_absurd(self) -> Iterator[Mistake]:
        for mistake, error in self.absurd:
            yield replace(mistake, message=absurd_sentence(self.connection, error))

    def _write_all(self, records: Iterator[Placed | Mistake]) -> None:
        waiting: dict[str, list[Placed]] = defaultdict(list)
        broken: dict[str, dict[str, Place]] = defaultdict(dict)
        read = held = 0
        for item in records:
            if isinstance(item, Mistake):
                self.report.add(item)
                if item.hides:
                    self.unread.add(item.hides)
                if item.name and len(item.name) <= LONGEST_NAME and is_printable(item.name):
                    broken[item.kind].setdefault(item.name, item.place)
                continue
            read, held = read + 1, held + 1
            waiting[item.record.kind_of_record].append(item)
            if held == BATCH:
                self._flush(waiting)
                held = 0
                if self.progress:
                    self.progress(read)
        self._flush(waiting)
        for kind, places in broken.items():
            stage(self.connection, kind, places, broken=True)
        if self.progress:
            self.progress(read)

    def _flush(self, waiting: dict[str, list[Placed]]) -> None:
        for kind, batch in waiting.items():
            self._write_batch(kind, batch)
        waiting.clear()

    def _write_batch(self, kind: str, batch: list[Placed]) -> None:
        named = [(name_of(placed.record), placed) for placed in batch]
        known = self._known_in_load(kind, [name for name, _ in named])
        rows: list[tuple[str, r.Record, dict[str, list[Row]]]] = []
        firsts: dict[str, Place] = {}
        broken: dict[str, Place] = {}
        slots = self._slots([name for name in known if kind == "companion"])
        for name, placed in named:
            mistakes = list(self._check(kind, name, placed, known))
            made = None if mistakes else self._rows(placed, mistakes)
            for found, message in mistakes:
                self.report.add(Mistake(placed.place, kind, found, message, name, dict(placed.record)))
            if made is None:
                broken.setdefault(name, placed.place)
                continue
            if kind == "companion":
                made = _numbered(made, slots, further=name in known)
            if name not in known:
                known[name] = (kind, placed.place)
                firsts[name] = placed.place
            rows.append((name, placed.record, made))
            self.report.records[kind] += 1
        unchanged = self._unchanged(kind, [record for name, record, _ in rows if name in firsts])
        self._clear(kind, [name for name in firsts if name not in unchanged], named)
        changed = (made for name, _, made in rows if name not in unchanged)
        write(self.connection, merged(changed), new=_BY_NAME if self.fresh else frozenset())
        stage(self.connection, kind, firsts, new=self.fresh, unchanged=unchanged)
        stage(self.connection, kind, {n: p for n, p in broken.items() if n not in firsts}, broken=True)

    def _known_in_load(self, kind: str, names: list[str]) -> dict[str, tuple[str, Place]]:
        """What the load has brought already under these names; claims share their names."""
        known = staged(self.connection, CLAIMS if kind in CLAIMS else (kind,), names)
        return {name: held for name, held in known.items() if held[1].file != REMOVED}

    def _slots(self, names: list[str]) -> Counter[str]:
        """How many alternatives these companions have so far."""
        if not names:
            return Counter()
        if further := goes_on(self.connection, "companion", names):
            remember(self.connection, "companion", further)
        alternative = table("companion_alternative")
        query = select(alternative.c.claim).where(alternative.c.claim.in_(listed(self.connection, names)))
        return Counter(self.connection.execute(query).scalars())

    def _check(
        self, kind: str, name: str, placed: Placed, known: dict[str, tuple[str, Place]]
    ) -> Iterator[tuple[str, str]]:
        yield from findings(placed.record)
        if self.keeps_images:
            yield from absurdities(placed.record)
        further = kind == "companion" and known.get(name, ("",))[0] == "companion"
        if further:
            yield from _further(placed.record, known[name][1])
        elif name in known:
            of_kind, place = known[name]
            where = str(place)
            named = "" if of_kind == kind else f" for a {of_kind}"
            yield (
                _name_field(placed.record),
                f"'{name}' stands already at {where}{named}; give one of the two another name",
            )
        elif isinstance(placed.record, r.CompanionRecord):
            for needed in ("component", "reason"):
                if not getattr(placed.record, needed):
                    yield needed, "the first row of a companion needs this; only further rows leave it empty"

    def _rows(self, placed: Placed, mistakes: list[tuple[str, str]]) -> dict[str, list[Row]] | None:
        record = placed.record
        if isinstance(record, r.CharacteristicKindRecord):
            rules = self._as_stored(
                rule_of(record.name, record.quantity, tuple(record.choices), record.least, record.most)
            )
            if self.kinds.get(record.name) != rules:
                self.changed_kinds.add(record.name)
            self.kinds[record.name] = rules
        try:
            return rows_of(record, self.kinds if record.kind_of_record in MEASURED else {})
        except Absurd as error:
            kind, field = record.kind_of_record, error.args[1]
            mistake = Mistake(placed.place, kind, field, "", name_of(record), dict(record))
            if len(self.absurd) < MOST_MISTAKES:
                self.absurd.append((mistake, error))
            else:
                mistakes.append((error.args[1], error.args[0]))
            return None
        except NotAMeasure as error:
            mistakes.append((error.args[1], error.args[0]))
            return None

    def _unchanged(self, kind: str, records: list[r.Record]) -> set[str]:
        """The names of the records that stand there already and say the same: they need not be written. What
        stands in place of the others is remembered."""
        if self.fresh or not self.keeps_images or kind == "chassis_span":
            return set()
        now = images_of(records)
        before = images(self.connection, kind, now)
        unchanged = {name for name, image in before.items() if image == now[name]}
        self.report.unchanged += len(unchanged)
        keep_images(self.connection, kind, {n: image for n, image in before.items() if n not in unchanged})
        return unchanged

    def _clear(self, kind: str, names: list[str], named: list[tuple[str, Placed]]) -> None:
        """Take away what belongs to the records that these replace."""
        if kind == "chassis_span":
            self._clear_spans(named)
        if self.fresh:
            return
        if kind == "component":
            remove_words(self.connection, names)
        elif kind in CLAIMS:
            self._clear_claims(kind, names, dict(named))

    def _clear_claims(self, kind: str, names: list[str], placed: dict[str, Placed]) -> None:
        claim = table("claim")
        query = select(claim.c.name, claim.c.kind).where(claim.c.name.in_(listed(self.connection, names)))
        replaced = self.connection.execute(query).all()
        for row in replaced:
            if row.kind != kind:
                message = f"'{row.name}' is already the name of a {row.kind}; choose another"
                item = placed[row.name]
                self.report.add(Mistake(item.place, kind, _name_field(item.record), message, row.name))
        remove_children(self.connection, [row.name for row in replaced])

    def _clear_spans(self, named: list[tuple[str, Placed]]) -> None:
        """The chassis spans that a load gives for a variant replace all that it had."""
        spans = ((placed.record, placed.place) for _, placed in named)
        variants = {span.variant: place for span, place in spans if isinstance(span, r.ChassisSpanRecord)}
        known = staged(self.connection, (SPANS_OF,), list(variants))
        new = {name: place for name, place in variants.items() if name not in known}
        if self.keeps_images:
            remember(self.connection, "chassis_span", list(new))
        span = table("chassis_span")
        self.connection.execute(delete(span).where(span.c.variant.in_(listed(self.connection, new))))
        stage(self.connection, SPANS_OF, new)


def _name_field(record: r.Record) -> str:
    return (
        "number"
        if isinstance(record, r.ComponentRecord)
        else "name"
        if "name" in type(record).model_fields
        else ""
    )


def _further(record: Any, first: Place) -> Iterator[tuple[str, str]]:
    for column in sorted(record.model_fields_set - _FURTHER):
        yield (
            column,
            f"the first row of this companion, {first}, says it; leave it empty here",
        )


def _numbered(rows: dict[str, list[Row]], slots: Counter[str], *, further: bool) -> dict[str, list[Row]]:
    """Number a companion's alternative; a further row brings nothing but its alternative."""
    alternative = rows["companion_alternative"][0]
    slot = slots[alternative["claim"]]
    slots[alternative["claim"]] += 1
    alternative["slot"] = slot
    for wanted in rows.get("wanted", ()):
        wanted["slot"] = slot
    if further:
        return {name: rows[name] for name in ("companion_alternative", "wanted") if name in rows}
    return rows
