"""The records of a drawing: entry, mistakes, the way back, and that no rule book knows of them."""

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import IntegrityError

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.format.exports import export_text
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.drawing import Mark, Outline, marks_of, outlines_of
from graftbook.editing.records import service as editing
from graftbook.editing.records.service import Author
from tests.catalogue.sheet import sheet

ANNA = Author("Anna (k1)", "")
DRAWN = """[outline]
name,range,view,points,closed,bodies
bed,tern,side,900 10; 20 120; 380 120; 900 10,yes,
handle,tern,plan,380 120; 47 4,no,flat; tall
[mark]
position,range,view,x,y
brake,tern,side,0,1000
brake,tern,plan,7,8
"""


def test_a_drawing_is_kept_in_its_order_and_comes_back(tern: Engine) -> None:
    books = Books(tern)
    before = books.book("T2-L")
    report = load(tern, sheet(DRAWN))
    assert (report.ok, report.changed) == (True, 4), report.mistakes
    assert books.book("T2-L") is before, "no rule book knows of it"
    with tern.connect() as connection:
        bed, handle = outlines_of(connection, "tern", "tall")
        assert bed == Outline("side", ((900, 10), (20, 120), (380, 120), (900, 10)), closed=True)
        assert handle == Outline("plan", ((380, 120), (47, 4)), closed=False)
        assert outlines_of(connection, "tern", "round") == [bed]
        assert marks_of(connection, "tern") == [
            Mark("plan", "brake", (7, 8)),
            Mark("side", "brake", (0, 1000)),
        ]
        assert marks_of(connection, "other") == []
    again = load(tern, sheet("".join(export_text(tern))))
    assert (again.ok, again.changed) == (True, 0), again.mistakes
    (row,) = editing.record_state(tern, "mark", "brake@plan of tern").rows
    assert (row["x"], row["y"]) == (7, 8)
    moved = load(tern, sheet("[mark]\nposition,range,view,x,y\nbrake,tern,plan,9,8\n"))
    assert (moved.ok, moved.changed) == (True, 1)
    assert editing.take_back(tern, moved.revision, ANNA).revision == moved.revision + 1
    with tern.connect() as connection:
        assert marks_of(connection, "tern")[0].at == (7, 8)


OUTLINE = "[outline]\nname,range,view,points,closed\n"
MARK = "[mark]\nposition,range,view,x,y\n"
MISTAKES = {
    f"{OUTLINE}x,tern,side,1 2; 3 4; 5 1001,yes\n": "'5 1001' is no point",
    f"{OUTLINE}x,tern,side,1 2; 3 nan; 5 6,yes\n": "'3 nan' is no point",
    f"{OUTLINE}x,tern,side,1 2; 3 -4; 5 6,yes\n": "'3 -4' is no point",
    f"{OUTLINE}x,tern,side,1 2; 3 4 5; 5 6,yes\n": "'3 4 5' is no point",
    f"{OUTLINE}x,tern,side,1 2; 3 4; 1 2,yes\n": "a shape has three different points",
    f"{OUTLINE}x,tern,side,1 2; 1 2,no\n": "a line has two different points",
    f"{OUTLINE}x,tern,side,1 2,no\n": "points",
    f"{OUTLINE}x,tern,below,1 2; 3 4,no\n": "view",
    f"{OUTLINE}x,turn,side,1 2; 3 4,no\n": "there is no range 'turn'",
    f"{MARK}brake,tern,side,1001,0\n": "x",
    f"{MARK}brake,tern,side,1,-1\n": "y",
    f"{MARK}brake,tern,side,inf,1\n": "x",
    f"{MARK}break,tern,side,1,1\n": "there is no position 'break'",
    f"{MARK}brake,turn,side,1,1\n": "there is no range 'turn'",
}


@pytest.mark.parametrize("wrong", MISTAKES)
def test_mistakes_of_a_drawing_are_told(sqlite_tern: Engine, wrong: str) -> None:
    report = load(sqlite_tern, sheet(wrong))
    assert not report.ok
    assert any(MISTAKES[wrong] in str(mistake) for mistake in report.mistakes), list(
        map(str, report.mistakes)
    )


@pytest.mark.parametrize(
    "wrong",
    [
        "UPDATE mark SET x = 1001",
        "UPDATE mark SET y = -1",
        "UPDATE mark SET view = 'top'",
        "UPDATE outline SET view = ''",
    ],
)
def test_the_database_itself_refuses(tern: Engine, wrong: str) -> None:
    assert load(tern, sheet(DRAWN)).ok
    with pytest.raises(IntegrityError), tern.begin() as connection:
        connection.execute(text(wrong))
