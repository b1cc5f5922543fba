"""Whose a finding is, and what a limit from memory may say: every combination."""

import pytest

from graftbook.checks.verdict import (
    Finding,
    FindingKind,
    Limit,
    Provenance,
    Verdict,
    before_after,
    figure,
    judge,
    scaled,
    shown,
    worst,
)

HOLDS, CAUTION, FAILS, OPEN = Verdict.holds, Verdict.caution, Verdict.fails, Verdict.not_determined


def finding(
    verdict: Verdict,
    was: Verdict | None = None,
    beyond: tuple[float | None, float | None] = (None, None),
    wrong: tuple[tuple[str, ...], tuple[str, ...]] = ((), ()),
) -> Finding:
    """A finding after `was` today; `beyond` and `wrong`: today and now."""
    today = None if was is None else Finding("c", "s", was, "", beyond=beyond[0], wrong=wrong[0])
    return Finding("c", "s", verdict, "", beyond=beyond[1], wrong=wrong[1], today=today)


@pytest.mark.parametrize(
    ("was", "now", "kind"),
    [
        (None, HOLDS, FindingKind.holds),
        (None, CAUTION, FindingKind.worse),
        (None, FAILS, FindingKind.worse),
        (None, OPEN, FindingKind.newly_not_determined),
        (HOLDS, HOLDS, FindingKind.holds),
        (HOLDS, CAUTION, FindingKind.worse),
        (HOLDS, FAILS, FindingKind.worse),
        (HOLDS, OPEN, FindingKind.newly_not_determined),
        (CAUTION, HOLDS, FindingKind.mended),
        (CAUTION, CAUTION, FindingKind.already_so),
        (CAUTION, FAILS, FindingKind.worse),
        (CAUTION, OPEN, FindingKind.newly_not_determined),
        (FAILS, HOLDS, FindingKind.mended),
        (FAILS, CAUTION, FindingKind.mended),
        (FAILS, FAILS, FindingKind.already_so),
        (FAILS, OPEN, FindingKind.newly_not_determined),
        (OPEN, HOLDS, FindingKind.holds),
        (OPEN, CAUTION, FindingKind.worse),
        (OPEN, FAILS, FindingKind.worse),
        (OPEN, OPEN, FindingKind.not_determined),
    ],
)
def test_whose_a_finding_is(was: Verdict | None, now: Verdict, kind: FindingKind):
    assert finding(now, was).kind is kind


def test_what_moves_further_from_its_limit_is_worse_and_what_comes_nearer_is_better():
    further, nearer, same = (finding(FAILS, FAILS, (0.2, now)) for now in (0.3, 0.1, 0.2))
    assert (further.kind, further.better) == (FindingKind.worse, False)
    assert (nearer.kind, nearer.better) == (FindingKind.already_so, True)
    assert (same.kind, same.better) == (FindingKind.already_so, False)


@pytest.mark.parametrize("beyond", [(None, 0.3), (0.2, None), (None, None)])
def test_without_both_figures_it_is_neither_further_nor_nearer(beyond: tuple[float | None, float | None]):
    found = finding(CAUTION, CAUTION, beyond)
    assert (found.kind, found.better) == (FindingKind.already_so, False)


def test_nothing_is_better_than_what_was_not_so_before():
    assert not finding(HOLDS, FAILS, (0.2, 0.1)).better, "it is mended"
    assert not finding(FAILS, None, (None, 0.1)).better


def test_one_more_that_disagrees_is_worse_and_one_less_is_not():
    assert finding(FAILS, FAILS, wrong=(("horn",), ("horn", "pump"))).kind is FindingKind.worse
    assert finding(FAILS, FAILS, wrong=(("horn",), ("pump",))).kind is FindingKind.worse
    assert finding(FAILS, FAILS, wrong=(("horn", "pump"), ("horn",))).kind is FindingKind.already_so


@pytest.mark.parametrize("provenance", Provenance)
@pytest.mark.parametrize("otherwise", [FAILS, CAUTION])
def test_only_a_limit_from_memory_is_no_reason_to_fail(provenance: Provenance, otherwise: Verdict):
    limit = Limit("at most 1", "a book", provenance)
    assert judge(None, limit, otherwise) is OPEN
    assert judge(True, limit, otherwise) is HOLDS
    assert judge(False, limit, otherwise) is (CAUTION if provenance is Provenance.memory else otherwise)


def test_the_worst_of_verdicts():
    assert worst([]) is HOLDS
    assert worst([HOLDS, CAUTION]) is CAUTION
    assert worst([CAUTION, OPEN, HOLDS]) is OPEN
    assert worst([OPEN, FAILS, CAUTION]) is FAILS


def test_figures_are_written_in_their_unit():
    assert shown(300.15, "degC") == pytest.approx(27)
    assert shown(0.0254, "in") == pytest.approx(1)
    assert scaled(10, "degC") == pytest.approx(10), "a difference has no zero of its own"
    assert scaled(0.0508, "in") == pytest.approx(2)
    assert shown(4.2, "m/s2") == 4.2
    told = figure("stop", None, 0.0254, "in")
    assert (told.before, told.after, told.unit) == (None, pytest.approx(1), "in")
    assert figure("stop", 0.0508, None, "in").before == pytest.approx(2)


def test_a_sentence_tells_today_only_where_it_differs():
    assert before_after(5.14, 7.9, 1, "m/s2") == "5.1 -> 7.9 m/s2"
    assert before_after(5.11, 5.14, 1) == "5.1"
    assert before_after(None, 7.9, 1) == "7.9"
    assert before_after(5.1, None, 1, "mm") == "5.1 -> not recorded mm"
