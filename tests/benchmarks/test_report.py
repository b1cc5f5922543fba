"""The routes that benchmarks hold answers against, beside trying everything; and the report they write."""

import json
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from xml.etree import ElementTree

import pytest

from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question
from graftbook.rulebook import model
from tests.benchmarks.plot import Plot, svg
from tests.benchmarks.releases import rule_sets
from tests.benchmarks.releases.transcribed import transcribed
from tests.benchmarks.report import Line, Table, at_least, write
from tests.benchmarks.routes import (
    Rules,
    Sits,
    Whole,
    Wishes,
    database_of,
    graph_of,
    query,
    resolve,
    smallest_contradiction,
    walk,
)

PLACES = 5


def small(shapes: tuple[str, ...], seeds: range) -> Iterator[tuple[str, Rules, Wishes]]:
    """Rule sets of so few places that every set can be tried."""
    for shape, seed in product(shapes, seeds):
        rules = Rules(rule_sets.SHAPES[shape](model, PLACES, seed))
        wishes = [(c, p) for c, p in rule_sets.wishes(shape, PLACES, seed, 1)]
        yield f"{shape} {seed}", rules, wishes


def every_set(rules: Rules, wishes: Wishes) -> list[Sits]:
    found = (dict(zip(rules.values, values, strict=True)) for values in product(*rules.values.values()))
    return [sits for sits in found if rules.fulfils(sits, wishes)]


def test_the_other_routes_agree_with_trying_everything_and_with_the_closure() -> None:
    possible = impossible = 0
    for name, rules, wishes in small(tuple(rule_sets.SHAPES), range(6)):
        sets = every_set(rules, wishes)
        best, some = Whole(rules, wishes).best(60), resolve(rules, wishes, 60)
        assert (best is None, some is None) == (not sets, not sets), name
        asked = Question(rule_sets.vehicle(model, 500), tuple(FitComponent(*wish) for wish in wishes))
        answer = answer_question(rules.book, asked)
        assert (answer.solution is None) == (not sets), name
        if best is None or answer.solution is None:
            impossible += 1
            continue
        assert some in sets, name
        assert best[1] in sets, name
        totals = answer.solution.totals
        figures = [totals.irreversible, totals.visible, totals.changes, totals.price]
        assert [*best[0][:3], best[0][5]] == figures, name
        reached = walk(graph_of(rules), rules, wishes)
        assert query(database_of(rules), rules, wishes) == reached, name
        assert {change.position for change in answer.solution.changes} <= reached, name
        possible += 1
    assert min(possible, impossible) > 3


def broken(rules: Rules, wishes: Wishes, sits: Sits) -> frozenset[str]:
    """The wishes and rules that a set breaks."""
    there = {component for component in sits.values() if component}
    return frozenset(
        [component for component, place in wishes if sits[place] != component]
        + [name for name, demander, ways in rules.needs if demander in there and not there & {*ways}]
        + [name for name, one, other in rules.clashes if {one, other} <= there]
    )


def some_hit_all(groups: list[frozenset[str]], most: int) -> bool:
    """Whether so few names have one of each group."""
    if not groups:
        return True
    return most > 0 and any(
        some_hit_all([group for group in groups if name not in group], most - 1)
        for name in min(groups, key=len)
    )


def test_the_smallest_contradiction_is_counted_right() -> None:
    """What contradicts itself has one of what each set breaks: so many do, and fewer never."""
    counted = []
    for name, rules, wishes in small(("typical", "hard"), range(12)):
        if every_set(rules, wishes):
            continue
        sets = (dict(zip(rules.values, values, strict=True)) for values in product(*rules.values.values()))
        groups = [*{broken(rules, wishes, sits) for sits in sets}]
        groups = [group for group in groups if not any(other < group for other in groups)]
        fewest = smallest_contradiction(rules, wishes)
        assert some_hit_all(groups, fewest), name
        assert not some_hit_all(groups, fewest - 1), name
        counted.append(fewest)
    assert len(counted) > 3
    assert max(counted) > 2


def test_the_same_seed_makes_the_same_rule_set() -> None:
    for shape, make in rule_sets.SHAPES.items():
        assert make(model, 40, 3) == make(model, 40, 3), shape
        assert make(model, 40, 3) != make(model, 40, 4), shape


def test_a_sheet_keeps_what_both_releases_read() -> None:
    sheet = '# words\n[part]\nname,size,new\na,"1, 2",x\nb,3,y\n\n[gone]\nname\nc\n'
    assert transcribed(sheet, {"part": ["name", "size"]}) == '[part]\nname,size\na,"1, 2"\nb,3\n'


@pytest.fixture
def table() -> Table:
    found = Table("Speed | of things", "How it was done.", "a rival", "ms", "how many times as fast ours is")
    found.lines.append(Line("one", 2.0, 31.0, 15.5, checked="same set", **at_least(15.5, 15)))
    found.lines.append(Line("two", 4.0, 8.0, 2.0, more={"kB": 12345.0}, **at_least(2.0, 5)))
    plot = Plot("Time", "places", "ms")
    for size in (10, 100, 1000):
        plot.add("ours & yours", size, size * 2)
        plot.add("beside", size, size**1.5)
    found.plots.append(plot)
    return found


def test_a_report_is_markdown_json_and_a_plot(table: Table, tmp_path: Path) -> None:
    told = write(tmp_path, _machine(), {"speed": [table]}).read_text("utf-8")
    assert "| one | 2 | 31 | 15.5 | at least 15 | reached |" in told
    assert "| two | 4 | 8 | 2 | at least 5 | **missed** | 12,345 |" in told
    assert "Of 2 figures with a target, 1 reach it." in told
    assert "![Time](speed-1.svg)" in told
    figures = json.loads((tmp_path / "report.json").read_text("utf-8"))
    assert figures["subjects"]["speed"][0]["lines"][0]["ratio"] == 15.5
    assert (tmp_path / "speed-1.svg").exists()


def test_a_plot_has_its_points_where_their_logarithms_are(table: Table) -> None:
    drawn = ElementTree.fromstring(svg(table.plots[0]))
    marks = [float(mark.get("cx", 0)) for mark in drawn.iter("{http://www.w3.org/2000/svg}circle")][-3:]
    assert marks[1] - marks[0] == pytest.approx(marks[2] - marks[1], abs=0.2)
    texts = [text.text for text in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert {"10", "100", "1,000", "ours & yours", "beside", "places", "ms"} <= set(texts)


def test_a_plot_without_points_is_still_one() -> None:
    assert ElementTree.fromstring(svg(Plot("Nothing", "size", "time"))) is not None


def _machine() -> dict[str, object]:
    return {
        "at": "2020-01-01", "commit": "abc", "processor": "a processor", "cores": 2, "memory_gigabytes": 8,
        "system": "a system", "load_of_one_minute": 0.5, "versions": {"Python": "3"},
    }  # fmt: skip
