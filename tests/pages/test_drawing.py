"""The drawing of a vehicle and the picture of reasons: marks say what the document says, lines stay in."""

import math
import random
import re
from html import unescape

import httpx
import pytest
from sqlalchemy import Engine, select
from sqlmodel import Session

from graftbook.catalogue.store.drawing import Outline, marks_of, outlines_of
from graftbook.catalogue.store.tables import table
from graftbook.pages.answer.layers import draw

CHASSIS = "24PL-018412"
RANGE = "quillan-forward"
NEAREST = 25
"""Units between two marks of a view: a square with its number is 22 wide."""
MOST_BYTES = 25_000
ANSWERS = [
    {"chassis": CHASSIS},
    {"chassis": CHASSIS, "fit": "QB-3310"},
    {"chassis": "32CL-001000", "remedy_all": "severe"},
    {"chassis": "24XL-000200", "fit": "QB-3310"},
    {"chassis": "16PR-000200", "fit": "QL-7075"},
    {"chassis": CHASSIS, "remedy_all": "moderate"},
]
SEVERITIES = ("dangerous", "severe", "moderate", "minor")


def is_inside(at: tuple[int, int], outline: Outline) -> bool:
    """Whether a point is in a closed outline: a ray to the right crosses its edges an odd number of times."""
    (x, y), odd = at, False
    for (a, b), (c, d) in zip(outline.points, (*outline.points[1:], outline.points[0]), strict=True):
        if (b > y) != (d > y) and x < (c - a) * (y - b) / (d - b) + a:
            odd = not odd
    return odd


@pytest.mark.parametrize("body", ["van", "minibus", "cab"])
def test_every_position_of_the_demo_has_a_place_inside_its_outline(sqlite_demo: Engine, body: str) -> None:
    with Session(sqlite_demo) as session:
        connection = session.connection()
        positions = set(connection.execute(select(table("position").c.name)).scalars())
        sides = dict(connection.execute(select(table("position").c.name, table("position").c.side)).all())
        outlines, marks = outlines_of(connection, RANGE, body), marks_of(connection, RANGE)
    assert {mark.position for mark in marks} == positions
    for mark in marks:
        shapes = [one for one in outlines if one.view == mark.view and one.closed]
        assert any(is_inside(mark.at, shape) for shape in shapes), (body, mark)
        if side := sides[mark.position]:
            assert mark.view == "plan", mark
            assert (mark.at[1] > 210) == (side == "left"), mark
    for one in marks:
        for other in marks:
            if one is not other and one.view == other.view:
                assert math.dist(one.at, other.at) >= NEAREST, (one, other)


def test_the_bodies_look_different(sqlite_demo: Engine) -> None:
    with Session(sqlite_demo) as session:
        looks = [outlines_of(session.connection(), RANGE, body) for body in ("van", "minibus", "cab")]
        assert outlines_of(session.connection(), "nothing", "van") == []
    assert looks[0] != looks[1] != looks[2] != looks[0]


def drawing_in(page: httpx.Response) -> str:
    found = re.search(r'<details id="drawing".*?</details>', page.text, re.DOTALL)
    return found[0] if found else ""


MARK = re.compile(r'<a href="#([^"]+)"><title>([^<]*)</title>(.*?)</a>', re.DOTALL)


@pytest.mark.parametrize("asked", ANSWERS, ids=lambda asked: " ".join(asked.values()))
async def test_marks_say_what_the_document_says(browser: httpx.AsyncClient, asked: dict[str, str]) -> None:
    page = await browser.get("/answer", params=asked)
    found = (await browser.get("/v1/closures", params=asked)).json()["set"]
    drawing = drawing_in(page)
    assert 0 < len(drawing.encode()) < MOST_BYTES
    wrong: dict[str, list[str]] = {}
    for flaw in [*found["flaws_left"], *found["flaws_brought"]]:
        wrong.setdefault(flaw["position"], []).append(flaw["severity"])
    expected: dict[str, set[str]] = {}
    for change in found["changes"]:
        shapes = {"changed" if change["component"] else "off"}
        expected[change["position_title"]] = shapes | worst(wrong.get(change["position"], []))
    for place in found["stays"]:
        expected[place["position_title"]] = worst(wrong.get(place["position"], [])) or {"stays"}
    ids = re.findall(r'\bid="([^"]+)"', page.text)
    assert len(ids) == len(set(ids))
    told = {}
    for to, title, shapes in MARK.findall(drawing):
        assert to in ids, to
        words = unescape(title).replace("→", "->")
        name = next(t for t in sorted(expected, key=len, reverse=True) if words.lower().startswith(t.lower()))
        told[name] = set(re.findall(r'href="#m-(\w+)"', shapes))
        if line := re.search(r"line (\d+)", words):
            assert to == f"line-{line[1]}"
            assert f">{line[1]}</text>" in shapes, "the number is drawn"
            row = re.search(rf'id="line-{line[1]}" data-key="([^"]+)"', page.text)
            assert row is not None
            positions = {c["position"] for c in found["changes"] if c["position_title"] == name}
            assert positions & {key.split("=")[0] for key in row[1].split()}
        else:
            assert to.startswith("stay-" if told[name] == {"stays"} else "flaw-")
    assert told == expected


def worst(severities: list[str]) -> set[str]:
    return {min(severities, key=SEVERITIES.index)} if severities else set()


async def test_a_section_is_looked_at_alone_and_nearer(browser: httpx.AsyncClient) -> None:
    asked = {"chassis": CHASSIS, "fit": "QB-3310"}
    whole = drawing_in(await browser.get("/answer", params=asked))
    links = re.findall(r'<a href="([^"]+)" data-look', whole)
    assert len(links) == 11
    assert " open" not in whole.partition(">")[0]
    brakes = unescape(next(link for link in links if "look=brakes" in link))
    near = drawing_in(await browser.get(f"/answer{brakes}"))
    assert " open" in near.partition(">")[0]
    assert 0 < len(MARK.findall(near)) < len(MARK.findall(whole))
    areas = [
        [
            float(width) * float(height)
            for width, height in re.findall(r'viewBox="\S+ \S+ (\d+) (\d+)" width', text)
        ]
        for text in (near, whole)
    ]
    assert sum(areas[0]) < sum(areas[1])
    nowhere = drawing_in(await browser.get("/answer", params=asked | {"look": "sails"}))
    assert len(MARK.findall(nowhere)) == len(MARK.findall(whole)), "a section that is not there shows all"


CURVE = re.compile(r"M(-?\d+) (-?\d+)C(-?\d+) (-?\d+) (-?\d+) (-?\d+) (-?\d+) (-?\d+)")


@pytest.mark.parametrize("seed", range(20))
def test_the_lines_of_a_picture_stay_in_its_frame(seed: int) -> None:
    chance = random.Random(seed)
    columns = {f"n{number}": chance.randrange(4) for number in range(chance.randrange(2, 60))}
    names = list(columns)
    reasons = [(chance.choice(names), chance.choice(names), chance.random() < 0.5) for _ in names * 2]
    picture = draw(columns, reasons)
    assert picture.lines
    for line in picture.lines:
        found = CURVE.fullmatch(line.path)
        assert found is not None
        x, y = [list(map(int, found.groups()[axis::2])) for axis in (0, 1)]
        for step in range(21):
            t = step / 20
            share = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
            at = [sum(s * p for s, p in zip(share, points, strict=True)) for points in (x, y)]
            assert 0 <= at[0] <= picture.width, line
            assert 0 <= at[1] <= picture.height, line


async def test_a_box_says_its_side_and_so_does_the_list(browser: httpx.AsyncClient) -> None:
    asked = {"chassis": CHASSIS, "fit": "QB-3310"}
    page = await browser.get("/picture", params=asked)
    found = (await browser.get("/v1/closures", params=asked)).json()["set"]
    drawn = unescape(re.search(r"<svg viewBox.*?</svg>", page.text, re.DOTALL)[0])
    titles = re.findall(r'class="box (?:change|gone)".*?<title>([^<]*)</title>', drawn, re.DOTALL)
    for side in ("left", "right"):
        handed = [c for c in found["changes"] if side in c["position_title"]]
        assert len(handed) > 3
        assert len([title for title in titles if title.endswith(f", {side}")]) == len(handed)
        assert drawn.count(f'class="side">{side}<') == len(handed)
        listed = unescape(page.text).partition('id="list"')[2]
        assert len(re.findall(rf"<li><b>[^<]*</b>[^<]*, {side}<span", listed)) == len(handed)
