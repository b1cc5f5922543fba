"""Edits in any order, on both engines: the catalogue says what a plain dict of the same edits says.

A long run: `python -m tests.soundness model`.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import Engine

from graftbook.builds.schemas import BuildIn
from graftbook.builds.service import create_build
from graftbook.builds.stored.documents import build_document
from graftbook.catalogue.format.exports import export_text
from graftbook.catalogue.history.changes import changes_of_edit
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from graftbook.database import make_engine, reading
from graftbook.editing.records.service import (
    Author,
    patch_record,
    put_record,
    record_state,
    remove_record,
    take_back,
)
from graftbook.problems import ChangedAgain, PreconditionFailed, PreconditionRequired, UnknownRecord
from tests.catalogue.undone import undone_to
from tests.running import cases
from tests.soundness.catalogue_model import (
    BASE,
    BATCHES,
    ORDER,
    Catalogue,
    Key,
    is_whole,
    objects_of,
    read_export,
    records,
    row_of,
    sheet_of,
)

EXAMPLES = cases(3)
STEPS = 20
NOBODY = Author("somebody", "model")


class Edits(RuleBasedStateMachine):
    """One catalogue, its model, and the model as of every revision."""

    databases: Any

    @initialize()
    def begin(self) -> None:
        self.engine: Engine = make_engine(self.databases.new())
        self.model: Catalogue = dict(BASE)
        report = load(self.engine, objects_of(BASE, BASE), who="somebody")
        assert report.ok, report.mistakes
        self.past: dict[int, Catalogue] = {0: {}, 1: dict(BASE)}
        self.tried = {}

    def teardown(self) -> None:
        if hasattr(self, "engine"):
            self.engine.dispose()

    @property
    def revision(self) -> int:
        return max(self.past)

    def happened(self, report: LoadReport, after: Catalogue, *, dry_run: bool = False) -> None:
        """The report says what the model says, and the model goes on."""
        assert report.ok == is_whole(after), report.mistakes
        if not report.ok or dry_run:
            assert report.revision is None
            return
        if after != self.model:
            self.past[self.revision + 1] = dict(after)
        changed = {key for key in after.keys() | self.model.keys() if after.get(key) != self.model.get(key)}
        assert (report.revision, report.changed) == (self.revision, len(changed))
        self.model = after

    @rule(batch=BATCHES, as_sheet=st.booleans(), dry_run=st.booleans(), data=st.data())
    def records_are_imported(
        self, batch: list[Any], as_sheet: bool, dry_run: bool, data: st.DataObject
    ) -> None:
        new = dict(batch)
        order = data.draw(st.permutations(list(new)))
        source = sheet_of(new, order) if as_sheet else objects_of(new, order)
        report = load(self.engine, source, dry_run=dry_run, who="somebody")
        self.happened(report, self.model | new, dry_run=dry_run)

    @rule(batch=BATCHES, wrong=st.sampled_from([{"record": "section", "name": "x"}, {"record": "what"}]))
    def a_load_with_a_mistake_keeps_nothing(self, batch: list[Any], wrong: dict[str, str]) -> None:
        new = dict(batch)
        report = load(self.engine, [*objects_of(new, new), wrong], who="somebody")
        assert not report.ok
        assert report.revision is None

    @rule()
    def an_export_loaded_again_changes_nothing(self) -> None:
        report = load(self.engine, sheet_of(self.model, self.in_order()), who="somebody")
        self.happened(report, dict(self.model))

    @rule(record=records(), read_first=st.booleans(), dry_run=st.booleans())
    def one_record_is_put(self, record: Any, read_first: bool, dry_run: bool) -> None:
        (kind, name), cells = record
        if not read_first and (kind, name) in self.model:
            with pytest.raises(PreconditionRequired):
                put_record(self.engine, kind, name, [row_of(cells)], None, NOBODY, dry_run=dry_run)
            return
        etag = self.etag_of(kind, name)
        report = put_record(self.engine, kind, name, [row_of(cells)], etag, NOBODY, dry_run=dry_run)
        self.happened(report, self.model | {(kind, name): cells}, dry_run=dry_run)

    @rule(record=records())
    def nobody_puts_over_what_he_did_not_read(self, record: Any) -> None:
        (kind, name), cells = record
        with pytest.raises(PreconditionFailed):
            put_record(self.engine, kind, name, [row_of(cells)], '"record-0123456789ab"', NOBODY)

    @precondition(lambda self: any(key[0] in ("component", "fitment") for key in self.model))
    @rule(data=st.data(), note=st.sampled_from(["patched", None]))
    def a_note_is_patched(self, data: st.DataObject, note: str | None) -> None:
        kind, name = data.draw(
            st.sampled_from(sorted(k for k in self.model if k[0] in ("component", "fitment")))
        )
        after = {column: cell for column, cell in self.model[kind, name].items() if column != "note"}
        after |= {"note": note} if note else {}
        etag = self.etag_of(kind, name)
        report = patch_record(self.engine, kind, name, {"note": note}, etag, NOBODY)
        self.happened(report, self.model | {(kind, name): after})

    @precondition(lambda self: len(self.model) > len(BASE))
    @rule(data=st.data(), dry_run=st.booleans())
    def one_record_is_removed(self, data: st.DataObject, dry_run: bool) -> None:
        kind, name = data.draw(st.sampled_from(sorted(self.model.keys() - BASE.keys())))
        etag = self.etag_of(kind, name)
        report = remove_record(self.engine, kind, name, etag, NOBODY, dry_run=dry_run)
        after = {key: cells for key, cells in self.model.items() if key != (kind, name)}
        self.happened(report, after, dry_run=dry_run)

    @rule(record=records())
    def what_is_not_there_cannot_be_removed(self, record: Any) -> None:
        (kind, name), _ = record
        if (kind, name) not in self.model:
            with pytest.raises(UnknownRecord):
                remove_record(self.engine, kind, name, '"record-0123456789ab"', NOBODY)

    @precondition(lambda self: self.revision > 1)
    @rule(data=st.data(), dry_run=st.booleans())
    def an_edit_is_taken_back(self, data: st.DataObject, dry_run: bool) -> None:
        number = data.draw(st.integers(2, self.revision))
        before, after = self.past[number - 1], self.past[number]
        changed = {key for key in before.keys() | after.keys() if before.get(key) != after.get(key)}
        if any(self.model.get(key) != after.get(key) for key in changed):
            with pytest.raises(ChangedAgain):
                take_back(self.engine, number, NOBODY, dry_run=dry_run)
            return
        undone = {key: cells for key, cells in self.model.items() if key not in changed}
        undone |= {key: before[key] for key in changed if key in before}
        self.happened(take_back(self.engine, number, NOBODY, dry_run=dry_run), undone, dry_run=dry_run)

    @rule(data=st.data())
    def the_past_is_as_it_was(self, data: st.DataObject) -> None:
        number = data.draw(st.integers(0, self.revision))
        with undone_to(self.engine, number) as connection:
            assert read_export("".join(export_text(connection))) == self.past[number]

    @rule(data=st.data())
    def the_history_tells_each_edit(self, data: st.DataObject) -> None:
        number = data.draw(st.integers(1, self.revision))
        before, after = self.past[number - 1], self.past[number]
        with reading(self.engine) as session:
            told = changes_of_edit(session.connection(), number, ("", ""), 100)
        changed = {key for key in before.keys() | after.keys() if before.get(key) != after.get(key)}
        assert {(change.kind, change.name) for change in told} == changed
        for change in told:
            key = (change.kind, change.name)
            assert (bool(change.before), bool(change.after)) == (key in before, key in after)

    @invariant()
    def the_catalogue_is_the_model(self) -> None:
        if not hasattr(self, "engine"):
            return
        assert read_export("".join(export_text(self.engine))) == self.model
        with reading(self.engine) as session:
            assert current_revision(session.connection()) == self.revision

    def etag_of(self, kind: str, name: str) -> str | None:
        return record_state(self.engine, kind, name).etag if (kind, name) in self.model else None

    def in_order(self) -> Iterator[Key]:
        yield from sorted(self.model, key=lambda key: (ORDER.index(key[0]), key[1]))


def run_edits(databases: Any, examples: int) -> None:
    """So many catalogues, each edited from its beginning."""
    bounds = settings(
        max_examples=examples, stateful_step_count=STEPS, deadline=None,
        suppress_health_check=list(HealthCheck), print_blob=True,
    )  # fmt: skip
    run_state_machine_as_test(type("Machine", (Edits,), {"databases": databases}), settings=bounds)


def test_the_catalogue_does_what_a_plain_dict_does(databases: Any):
    run_edits(databases, EXAMPLES)


def test_the_past_can_be_seen_although_a_build_names_what_came_later(engine: Engine):
    assert load(engine, objects_of(BASE, BASE)).ok
    create_build(engine, "red", BuildIn(chassis="L-100", variant="L1"))
    with undone_to(engine, 0) as connection:
        assert "".join(export_text(connection)) == ""
    with undone_to(engine, 1) as connection:
        assert read_export("".join(export_text(connection))) == BASE
    assert build_document(engine, "red")["variant"] == "L1"


def test_saying_the_same_again_is_no_edit_also_while_there_is_no_section(engine: Engine):
    for _ in range(2):
        report = load(engine, objects_of(BASE, BASE), who="somebody")
        assert (report.ok, report.revision) == (True, 1)
