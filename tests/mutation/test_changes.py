"""The command that asks whether the tests would notice makes the changes it says and counts right."""

import os
import time

import pytest

pytest.importorskip("cosmic_ray", reason="the extra `mutation` is not installed")

from cosmic_ray.mutating import MutationVisitor

from tests.mutation.changes import ROOMS, ROOT, all_changes, modules, sample
from tests.mutation.operators import LeaveOutArgument, LeaveOutCall, operators
from tests.mutation.results import same
from tests.mutation.running import Limits, _watched


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


def test_what_is_said_to_be_the_same_says_why():
    assert all(len(why) > 20 for why in same().values())


@pytest.mark.parametrize(
    ("said", "state", "by", "ran"),
    [
        (['["starts", "a"]', '["passed", "a"]', '["done"]'], "survived", "", 1),
        (['["starts", "a"]', '["failed", "a", "assert 1 == 2"]'], "noticed", "a", 1),
        (['["failed", "at import", "NameError"]'], "noticed", "at import", 0),
        (['["starts", "a"]'], "noticed", "(end of the process)", 0),
        (['["starts", "a"]', "sleep"], "timed out", "a", 0),
    ],
)
def test_what_a_child_tells_is_counted_as_what_it_is(said, state, by, ran):
    def work(pipe: int) -> None:
        for line in said:
            if line == "sleep":
                time.sleep(60)
            else:
                os.write(pipe, f"{line}\n".encode())

    ended = _watched(work, Limits(change=5, test=1), lambda test: 0.0)
    assert (ended.state, ended.by, ended.ran) == (state, by, ran)
    assert ended.seconds < 30
