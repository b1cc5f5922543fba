"""The command that asks whether the tests would notice makes the changes it says and counts right."""

import gc
import importlib
import json
import os
import sys
import time

import pytest

pytest.importorskip("cosmic_ray", reason="the extra `mutation` is not installed")

from cosmic_ray.mutating import MutationVisitor

from tests.mutation.changes import ROOMS, ROOT, Change, all_changes, modules, sample
from tests.mutation.covering import Map, _file_by_file, _module, _named_in, _words, carried
from tests.mutation.made import program
from tests.mutation.mapping import AT_IMPORT
from tests.mutation.operators import LeaveOutArgument, LeaveOutCall, operators
from tests.mutation.results import Results, noticed_elsewhere, same
from tests.mutation.running import Limits, _Changed, _Functions, _watched


@pytest.mark.parametrize("operator", [LeaveOutArgument(), LeaveOutCall()])
def test_our_own_operators_do_what_their_examples_say(operator):
    for example in operator.examples():
        made = MutationVisitor.mutate_code(example.pre_mutation_code, operator, example.occurrence)
        assert made.replace(" ", "") == example.post_mutation_code.replace(" ", "")


def test_a_named_argument_is_left_out_one_at_a_time():
    code = "f(1, *more, a=2, b=3)\n"
    made = [MutationVisitor.mutate_code(code, LeaveOutArgument(), i) for i in range(3)]
    assert made == ["f(1, *more, b=3)\n", "f(1, *more, a=2,)\n", None]


def test_every_room_has_modules_and_the_sample_is_the_same_each_time():
    for name, room in ROOMS.items():
        assert all((ROOT / path).exists() for path in (*room.paths, *room.tests)), name
        assert modules(room), name
    once, again = sample("once", size=10), sample("once", size=10)
    assert once == again
    assert len({change.name for change in once}) == 10
    assert sample("once", seed="another", size=10) != once


def test_a_change_is_one_line_that_differs():
    for _, change in list(all_changes("once"))[::9]:
        before, after = change.lines()
        assert before != after, change


def test_no_operator_is_missing():
    assert {
        "AddNot",
        "NumberReplacer",
        "LeaveOutCall",
        "ReplaceComparisonOperator_Lt_LtE",
    } <= operators().keys()


def test_what_is_said_to_be_the_same_is_a_change_and_says_why():
    assert all(len(why) > 20 for why in same().values())
    known = {change.name for room in ROOMS for _, change in all_changes(room)}
    assert same().keys() | noticed_elsewhere().keys() <= known


def test_what_is_noticed_on_postgresql_alone_names_a_test_that_there_is():
    assert noticed_elsewhere()
    for test in noticed_elsewhere().values():
        path, _, name = test.removesuffix("[postgresql]").partition("::")
        assert test.endswith("[postgresql]")
        assert f"def {name}(" in (ROOT / path).read_text(encoding="utf-8")


def test_a_test_that_reads_a_table_of_a_module_is_known_by_what_its_file_imports():
    assert _module("api/graftbook/rulebook/units.py") in _named_in("tests/rulebook/test_units.py")
    assert _module("api/graftbook/checks/chassis/wheels.py") not in _named_in("tests/rulebook/test_units.py")


def test_what_ran_a_line_is_known_where_the_line_has_moved():
    before, now = "a\nb\nc\n", "new\na\nB\nc\n"
    ran = {1: {AT_IMPORT}, 2: {"of b"}, 3: {"of c"}}
    assert carried(ran, before, before) == ran
    assert carried(ran, before, now) == {1: {AT_IMPORT}, 2: {AT_IMPORT}, 3: {"of b", "of c"}, 4: {"of c"}}


def _change_of(path: str, function: str, operator: str) -> Change:
    room = next(name for name, room in ROOMS.items() if path.startswith(room.paths))
    return next(
        change
        for _, change in all_changes(room)
        if (change.path, change.function, change.operator) == (path, function, operator)
    )


def test_a_function_is_changed_though_it_was_frozen():
    from graftbook.rulebook.slips import _narrowed

    change = _change_of("api/graftbook/rulebook/slips.py", "_narrowed", "ReplaceComparisonOperator_Gt_LtE")
    before = _narrowed.__code__
    gc.freeze()
    try:
        assert _narrowed((2.0, 5.0)) == (2.5, 4.0)
        _Functions().change(change)
        assert _narrowed((2.0, 5.0)) != (2.5, 4.0)
    finally:
        _narrowed.__code__ = before


def test_a_change_that_no_function_here_has_is_not_taken_for_made():
    nobody = _Functions()
    nobody._found.clear()
    with pytest.raises(LookupError):
        nobody.change(_change_of("api/graftbook/rulebook/slips.py", "_narrowed", "NumberReplacer"))


def test_a_module_is_imported_with_its_change_in_it():
    change = next(
        change
        for _, change in all_changes("rulebook")
        if change.path.endswith("/units.py") and change.lines()[0].startswith("MILE =")
    )
    kept = importlib.import_module("graftbook.rulebook.units")
    del sys.modules[kept.__name__]
    finder = _Changed(change)
    sys.meta_path.insert(0, finder)
    try:
        changed = importlib.import_module(kept.__name__)
        assert finder.found
        assert changed.MILE != 1609.344
    finally:
        sys.meta_path.remove(finder)
        sys.modules[kept.__name__] = sys.modules["graftbook.rulebook"].units = kept


def test_tests_of_one_file_are_run_together_in_steps_that_grow():
    tests = [f"{file}::{n}" for n in range(20) for file in "ab"]
    order = _file_by_file(tests)
    assert sorted(order) == sorted(tests)
    assert order[:8] == [f"{file}::{n}" for file in "ab" for n in range(4)]
    assert [test[0] for test in order[8:24]] == ["a"] * 8 + ["b"] * 8


@pytest.mark.parametrize(
    ("said", "state", "by", "ran"),
    [
        (['["starts", "a"]', '["passed", "a"]', '["done"]'], "survived", "", 1),
        (['["starts", "a"]', '["failed", "a", "assert 1 == 2"]'], "noticed", "a", 1),
        (['["failed", "at import", "NameError"]'], "noticed", "at import", 0),
        (['["starts", "a"]'], "noticed", "(end of the process)", 0),
        (['["starts", "a"]', "sleep"], "timed out", "a", 0),
        ([], "not made", "", 0),
        (["raise"], "not made", "", 0),
    ],
)
def test_what_a_child_tells_is_counted_as_what_it_is(said, state, by, ran):
    def work(pipe: int) -> None:
        for line in said:
            if line == "sleep":
                time.sleep(60)
            elif line == "raise":
                raise LookupError
            else:
                os.write(pipe, f"{line}\n".encode())

    ended = _watched(work, Limits(change=5, test=0.2), lambda test: 0.0)
    assert (ended.state, ended.by, ended.ran) == (state, by, ran)
    assert ended.seconds < 30


def test_a_test_that_is_called_after_what_is_changed_comes_first(tmp_path):
    change = _change_of(
        "api/graftbook/checks/joints/corrosion.py", "MetalJoint.anode_alone", "ReplaceAndWithOr"
    )
    assert _words(change) == ["alone", "anode", "corrosion", "joint", "metal"]
    known = Map(tmp_path)
    tests = ["tests/checks/test_a.py::quick", "tests/checks/test_b.py::a_coat_on_the_anode_alone"]
    known.seconds = dict(zip(tests, (0.01, 0.1), strict=True))
    assert known._ordered(change, tests) == tests[::-1]


def test_what_noticed_a_change_in_an_earlier_run_comes_first_and_is_no_result_of_another_program(tmp_path):
    change = _change_of(
        "api/graftbook/checks/joints/corrosion.py", "MetalJoint.anode_alone", "ReplaceAndWithOr"
    )
    slow, quick = "tests/orders/test_far.py::slow", "tests/checks/test_a.py::anode_alone"
    line = {"name": change.name, "path": change.path, "state": "noticed", "by": slow, "at": "2026-11-30"}
    (tmp_path / "results-a.jsonl").write_text(json.dumps(line | {"program": "another"}) + "\n")
    known = Map(tmp_path)
    known.seconds = {quick: 0.01, slow: 10.0}
    assert known._ordered(change, [quick, slow]) == [slow, quick]
    assert Results(tmp_path).found == {}
    (tmp_path / "results-b.jsonl").write_text(json.dumps(line | {"program": program()}) + "\n")
    assert Results(tmp_path).found == {change.name: line | {"program": program()}}
