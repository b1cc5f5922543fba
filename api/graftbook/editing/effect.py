"""What an edit would do before it is kept: which rule books it changes, and which answers.

`EffectLook.take` stands at the end of an edit's transaction (`last` of `load`). There it notes what the edit
leaves; everything else comes in `compare`, when the transaction is undone and no other editor waits. What
`compare` has no time for is looked at afterwards by `finish`, in the background.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import groupby
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from graftbook.builds.service import list_specifications
from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.compiling.queries import book_revision
from graftbook.catalogue.format.fields import Conditional
from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.history.as_of import texts_in, with_edit
from graftbook.catalogue.history.changes import Edit, before_edit, edit_of
from graftbook.catalogue.history.snapshots import Fields, images, rows_in
from graftbook.catalogue.loading.load import LoadReport
from graftbook.catalogue.store.tables import table
from graftbook.closure.answer import Answer, Outcome
from graftbook.closure.question import Question
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.words import phrases
from graftbook.database import Source, reading
from graftbook.editing.answer_difference import AnswerDifference, compare_answers, difference_between
from graftbook.editing.asked_before import MOST_STORED, Subject, lately_and_builds, on_variants
from graftbook.problems import Busy, Problem, UnknownVariant
from graftbook.process.background import BackgroundJob
from graftbook.process.service import Service
from graftbook.questions.reading import Asked, ask
from graftbook.questions.vehicles.service import of_one_revision
from graftbook.rulebook.model import RuleBook, Supply

SECONDS_TO_COMPILE = 2.5
"""For the rule books."""
SECONDS_TO_ANSWER = 2.5
"""For the answers."""
SECONDS_A_QUESTION = 2.0
SECONDS_A_QUESTION_LATER = 10.0
"""For both answers to one question that is looked at in the background."""
SECONDS_LATER = 300.0
"""For all that is looked at in the background."""
MOST_CONDITIONS = 200
"""So many records of an edit are looked at to see which variants they are for."""
MOST_LINES = 12
"""Lines shown of one answer's change, and of one rule book's places."""

_CONDITIONS = {
    "variants": "name",
    "generations": "generation",
    "bodies": "body",
    "engines": "engine",
    "drives": "drive",
    "steering": "steering",
    "markets": "market",
}


@dataclass(frozen=True, slots=True)
class PlaceEffect:
    """Components that may sit at a position after the edit and could not before, and the other way."""

    position: str
    title: str
    gained: tuple[str, ...]
    lost: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BookEffect:
    """A variant whose rule book changes."""

    variant: str
    title: str
    places: tuple[PlaceEffect, ...]


@dataclass(frozen=True, slots=True)
class AnswerEffect:
    """A question: what it asks, and in sentences what is different or what stopped the comparison.

    `extra`: what its parts cost more with the edit, in minor units.
    """

    label: str
    asks: str
    sentences: tuple[str, ...] = ()
    extra: int = 0


@dataclass(slots=True)
class Effect:
    """What an edit would do. Each question that concerns a changed rule book stands in one of the lists.

    `same` have the same answer; `undecided` were looked at and not decided, with what stopped it;
    `not_looked` were not looked at. `beyond` of those cannot be looked at before the edit is kept: there was
    no time for their rule books (`unread_books`).
    """

    books: list[BookEffect] = field(default_factory=list)
    impossible: list[AnswerEffect] = field(default_factory=list)
    possible: list[AnswerEffect] = field(default_factory=list)
    changed: list[AnswerEffect] = field(default_factory=list)
    same: list[AnswerEffect] = field(default_factory=list)
    undecided: list[AnswerEffect] = field(default_factory=list)
    not_looked: list[AnswerEffect] = field(default_factory=list)
    beyond: list[AnswerEffect] = field(default_factory=list)
    unread_books: list[str] = field(default_factory=list)
    read_books: int = 0
    about: str = ""
    """What is edited, in words."""

    @property
    def looked(self) -> int:
        """Questions whose two answers were compared."""
        return len(self.impossible) + len(self.possible) + len(self.changed) + len(self.same)

    @property
    def total(self) -> int:
        """Questions that concern what the edit touches."""
        return self.looked + len(self.undecided) + len(self.not_looked) + len(self.beyond)

    @property
    def dearer(self) -> int:
        """Answers whose parts cost more with the edit."""
        return sum(one.extra > 0 for one in self.changed)

    @property
    def cheaper(self) -> int:
        """Answers whose parts cost less with the edit."""
        return sum(one.extra < 0 for one in self.changed)

    @property
    def whole(self) -> bool:
        """Whether everything was looked at and decided."""
        return not (self.undecided or self.not_looked or self.beyond or self.unread_books)


@dataclass(slots=True)
class _Kept:
    """A question after the edit, or why it can no longer be asked."""

    subject: Subject
    before: Asked
    after: Asked | Problem


class _Left(NamedTuple):
    """What an edit leaves of a record: the rows before, and the image after; None: it was removed."""

    kind: str
    name: str
    before: list[Fields]
    after: str | None


class EffectLook:
    """One look at what an edit would do: made before the edit, `take` in it, `compare` after it."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._asked = list(self._asked_today(lately_and_builds(service)))
        self._before: dict[str, RuleBook] = {}
        self._after: dict[str, RuleBook] = {}
        self._changed: list[str] = []
        self._kept: list[_Kept] = []
        self._unread: list[str] = []
        self._beyond: list[AnswerEffect] = []
        self._undone: tuple[Edit, list[_Left]] | None = None
        """What was tried in the database itself and is undone by now."""

    def _asked_today(self, some: Iterable[Subject]) -> Iterator[tuple[Subject, Asked]]:
        """Each question as it is understood today, the same one once. One that cannot be asked has no
        answer to change."""
        known: list[tuple[str, Question]] = []
        for subject in some:
            with suppress(Problem):
                asked = of_one_revision(partial(ask, self._service, subject.body))
                same = (subject.label, replace(asked.question, alternatives=0, seconds=0.0))
                if same not in known:
                    known.append(same)
                    yield subject, asked

    def take(self, connection: Connection, report: LoadReport) -> None:
        """Note what the edit leaves. In a copy (of a large load) nobody waits: all is looked up there."""
        edit = edit_of(connection, report.revision) if report.changed and report.revision else None
        if edit is None:
            return
        left = list(_left_by(connection, edit))
        if connection.engine.pool is self._service.engine.pool:
            self._undone = edit, left
        else:
            self._look_up(edit, left, connection, self._service.engine)

    def _look_up_undone(self, edit: Edit, left: list[_Left]) -> None:
        words = {text for subject, _ in self._asked for text in texts_in(subject.text)}
        words |= {row["name"] for row in list_specifications(self._service.source, "", MOST_STORED)}
        changed = [(one.kind, one.name, one.after) for one in left]
        with with_edit(self._service.engine, edit, changed, words) as (now, then):
            self._look_up(edit, left, then, now)

    def _look_up(self, edit: Edit, left: list[_Left], connection: Connection, now: Source) -> None:
        """Keep the rule books and the questions as they are with the edit; `now`: as they are without."""
        then = replace(
            self._service, inside=connection, books=Books(connection, self._service.settings.books_kept)
        )
        self._compile(then, _variants_of(connection, edit, left), now)
        books = [self._before[variant] for variant in self._changed]
        for subject, before in [*self._asked, *self._asked_today(on_variants(self._service, books))]:
            variant = before.book.variant.name
            if variant in self._unread:
                self._beyond.append(AnswerEffect(subject.label, _asks(before)))
            elif variant in self._changed:
                self._kept.append(_Kept(subject, before, _asked_then(then, subject)))

    def _compile(self, then: Service, variants: list[str], now: Source) -> None:
        """The rule books before and with the edit, those first that somebody asks about."""
        asked = {before.book.variant.name for _, before in self._asked}
        until = Deadline(SECONDS_TO_COMPILE)
        for variant in sorted(variants, key=lambda name: (name not in asked, name)):
            if until.left() <= 0:
                self._unread.append(variant)
                continue
            after = self._after[variant] = then.books.book(variant)
            with suppress(UnknownVariant):
                before = self._before[variant] = self._book_now(variant, now)
                if replace(before, revision=after.revision) != after:
                    self._changed.append(variant)

    def _book_now(self, variant: str, now: Source) -> RuleBook:
        """The rule book without the edit: not one that somebody edited since. Raises UnknownVariant."""
        kept = self._service.books.book(variant)
        with reading(now) as session:
            same = kept.revision == book_revision(session, variant)
        return kept if same else Books(now).book(variant)

    def compare(self) -> Effect:
        """Both answers to every question, within the time limit. Raises Busy, ChangedAgain."""
        if self._undone:
            self._look_up_undone(*self._undone)
        effect = Effect(
            books=list(self._book_effects()),
            beyond=self._beyond,
            unread_books=self._unread,
            read_books=len(self._after),
        )
        if self._kept:
            with self._service.turn():
                self._compare_all(effect)
        return effect

    def _compare_all(self, effect: Effect) -> None:
        until = Deadline(SECONDS_TO_ANSWER)
        left_over: list[_Kept] = []
        for kept in self._kept:
            left = until.left()
            if left <= 0:
                effect.not_looked.append(_answer_effect(kept))
                left_over.append(kept)
            elif _compare_one(self._service, effect, kept, min(left, SECONDS_A_QUESTION)):
                left_over.append(kept)
        self._kept = left_over

    def finish(self, owner: str, effect: Effect) -> BackgroundJob | None:
        """Go on in the background with what `compare` left; None when nothing is left, or too much waits.

        The job's result is the effect, which grows while it works.
        """
        if not self._kept:
            return None
        left_over, service = self._kept, self._service

        def work(job: BackgroundJob) -> None:
            until = Deadline(SECONDS_LATER)
            for kept in left_over:
                if job.to_stop or until.left() <= 0:
                    return
                found = Effect()
                with suppress(Busy), service.turn():
                    _compare_one(service, found, kept, min(until.left(), SECONDS_A_QUESTION_LATER))
                with job.lock:
                    _replace(effect, _answer_effect(kept), found)

        return service.background.begin(owner, effect, work)

    def _book_effects(self) -> Iterator[BookEffect]:
        for variant, after in self._after.items():
            before = self._before.get(variant)
            if before is None or variant in self._changed:
                yield BookEffect(variant, after.variant.title, tuple(_places(before, after)))


def _asked_then(then: Service, subject: Subject) -> Asked | Problem:
    """The question with the edit, or why it can no longer be asked."""
    try:
        return ask(then, subject.body)
    except Problem as problem:
        return problem


def _left_by(connection: Connection, edit: Edit) -> Iterator[_Left]:
    """What the edit leaves of each record that it changes."""
    changes = before_edit(connection, edit.revision, edit.changes)
    for kind, some in groupby(changes, key=lambda change: change[0]):
        before = {name: rows for _, name, rows in some}
        after = images(connection, kind, list(before))
        yield from (_Left(kind, name, rows, after.get(name)) for name, rows in before.items())


def _variants_of(connection: Connection, edit: Edit, left: Sequence[_Left]) -> list[str]:
    """The variants whose rule books the edit may change: of its ranges, those for which one of its records
    held or holds. An edit of very many records may change them all."""
    variant = table("variant")
    found = list(connection.execute(select(variant).where(variant.c.range.in_(edit.ranges))))
    if edit.changes > MOST_CONDITIONS:
        return sorted(row.name for row in found)
    return sorted(row.name for row in found if any(_may_concern(one, row) for one in left))


def _may_concern(left: _Left, variant: Any) -> bool:
    """Whether a record held for the variant before, or holds after; one without conditions always may."""
    if not issubclass(KIND_BY_WORD[left.kind], Conditional):
        return True
    return any(_may_hold(rows[0], variant) for rows in (left.before, rows_in(left.after)) if rows)


def _may_hold(row: Mapping[str, Any], variant: Any) -> bool:
    """By what the variant is; days and options are the vehicle's own."""
    own = {column: getattr(variant, attribute) for column, attribute in _CONDITIONS.items()}
    return all(not row.get(column) or value in row[column] for column, value in own.items())


def _places(before: RuleBook | None, after: RuleBook) -> Iterator[PlaceEffect]:
    old, new = _candidates(before), _candidates(after)
    for position in sorted(old.keys() | new.keys()):
        was, now = old.get(position, frozenset()), new.get(position, frozenset())
        if was != now:
            book = after if position in after.positions else before or after
            title = phrases.position(book, position)
            yield PlaceEffect(position, title, tuple(sorted(now - was)), tuple(sorted(was - now)))


def _candidates(book: RuleBook | None) -> Mapping[str, frozenset[str]]:
    """Position → what may newly sit there, which must be to be had, and what may sit there from new."""
    found: dict[str, set[str]] = {}
    for fitment in book.fitments if book else ():
        component = book.components.get(fitment.component) if book else None
        if fitment.from_new or (component and component.supply is Supply.current):
            found.setdefault(fitment.position, set()).add(fitment.component)
    return {position: frozenset(numbers) for position, numbers in found.items()}


def _replace(effect: Effect, question: AnswerEffect, found: Effect) -> None:
    """Put what was found of one question in the place of its not being known."""
    if not found.total:
        return  # nobody had a turn for it
    for unknown in (effect.not_looked, effect.undecided):
        for one in unknown:
            if (one.label, one.asks) == (question.label, question.asks):
                unknown.remove(one)
                break
    for name in ("impossible", "possible", "changed", "same", "undecided"):
        getattr(effect, name).extend(getattr(found, name))


def _compare_one(service: Service, effect: Effect, kept: _Kept, seconds: float) -> bool:
    """Put one question into the effect's lists; whether more time may tell more."""
    if isinstance(kept.after, Problem):
        problem = kept.after.detail or kept.after.title
        effect.impossible.append(_answer_effect(kept, [f"It can no longer be asked: {problem}"]))
        return False
    found = _compare_answers(service, kept.before, kept.after, seconds)
    getattr(effect, found.how).append(_answer_effect(kept, found.sentences, found.extra))
    return found.more_time


def _compare_answers(service: Service, before: Asked, after: Asked, seconds: float) -> AnswerDifference:
    """Both answers compared, where reasoning is done. The book of an edit that is undone is in no database:
    it goes as a value."""
    deadline = Deadline(seconds)
    one, other = (
        replace(posed, question=replace(posed.question, alternatives=0))
        for posed in (asked.posed(service.settings.currency, deadline) for asked in (before, after))
    )
    try:
        return service.reasoner.run(compare_answers, one, other, deadline=deadline)
    except OutOfTime:
        late = Answer(Outcome.not_proved)
        return difference_between(one, late, other, late)


def _asks(asked: Asked) -> str:
    return " ".join(phrases.of_wish(wish, asked.book) for wish in asked.question.wishes)


def _answer_effect(kept: _Kept, sentences: Sequence[str] = (), extra: int = 0) -> AnswerEffect:
    more = len(sentences) - MOST_LINES
    shown = [*sentences[:MOST_LINES], *([f"… and {more} more"] if more > 0 else [])]
    return AnswerEffect(kept.subject.label, _asks(kept.before), tuple(shown), extra)
