"""The pages of flat lists: a list put in, mapped beside its rows, worked through by clicks, taken."""

import re
from html import unescape

import httpx
import pytest

from tests.pages import test_edit
from tests.pages.test_edit import OWN, Editor, text_of, token_in

pytestmark = pytest.mark.anyio
editor = test_edit.editor

SHEET = (
    "Part No;Description;Model;Price;Supplier\nFL-1;battery;24 vna;1,250;works\nFL-2;sundry;24;4.50;works\n"
)
AT = "/edit/flat/spares"


async def put_in(
    editor: Editor, sheet: str = SHEET, name: str = "spares", to: str = "/edit/flat"
) -> httpx.Response:
    token = token_in((await editor.get("/edit/flat")).text)
    files = {"form_token": (None, token), "name": (None, name), "file": ("march.csv", sheet.encode())}
    return await editor.client.post(to, files=files, headers=OWN)


async def keep_mapping(editor: Editor, **said: str) -> httpx.Response:
    page = (await editor.get(f"{AT}/mapping")).text
    fields = {
        "form_token": token_in(page),
        "etag": unescape(re.findall(r'name="etag" value="([^"]*)"', page)[0]),
        "do": "keep",
    }
    for name, options in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', page, re.S):
        if chosen := re.search(r'value="([^"]*)" selected', options):
            fields[name] = unescape(chosen[1])
    return await editor.post(f"{AT}/mapping", fields | said)


async def click(editor: Editor, key: str, answer: str, **more: str) -> httpx.Response:
    """The button of an answer, as the page offers it."""
    page = (await editor.get(f"{AT}?kind={key.partition(':')[0]}")).text
    form = next(one for one in re.findall(r"<form .*?</form>", page, re.S) if f'value="{key}"' in one)
    assert f'name="answer" value="{answer}"' in form
    return await editor.post(
        f"{AT}/decide", {"form_token": token_in(form), "key": key, "answer": answer, **more}
    )


async def test_a_list_from_file_to_catalogue(editor: Editor) -> None:
    mapping = await put_in(editor)
    assert mapping.url.path == f"{AT}/mapping"
    shown = text_of(mapping)
    assert "Lines 2, 3 wait for an answer, or are passed over." in shown
    assert "“24 vna” is not known" in shown, "what the first rows ask stands beside the mapping"
    page = await keep_mapping(editor, origin="modern")
    assert "of 2 numbers in 2 rows, 0 can be taken; 2 wait; 3 questions open" in text_of(page)
    assert "Line 2 FL-1 · battery · 24 vna · 1,250 · works" in text_of(await editor.get(f"{AT}?kind=fits"))
    await click(editor, "fits:24 vna", "24 van")
    await click(editor, "price_mark:1,250", "point", all="1")
    page = await click(editor, "position:sundry", "loose")
    assert "No section is said for “sundry”" in text_of(page)
    page = await click(editor, "section:sundry", "chassis")
    assert "2 can be taken (2 of them new to the catalogue)." in text_of(page)
    fields = {
        "form_token": token_in(page.text),
        "do": "take",
        "etag": unescape(re.findall(r'name="etag" value="([^"]*)"', page.text)[0]),
    }
    assert "Say in a sentence why" in text_of(await editor.post(f"{AT}/take", fields))
    tried = await editor.post(f"{AT}/take", fields | {"do": "try"})
    assert "Nothing is stored yet" in text_of(tried)
    taken = await editor.post(f"{AT}/take", fields | {"why": "the march list"})
    assert "It is revision 2" in text_of(taken)
    assert editor.rows("offer", "works:FL-1")[0]["price"] == "1250.00"
    assert editor.rows("fitment", "FL-1@battery")[0]["bodies"] == ["van"]


async def test_the_next_issue_shows_what_changed_and_asks_nothing_again(editor: Editor) -> None:
    await test_a_list_from_file_to_catalogue(editor)
    page = await put_in(editor, SHEET.replace("4.50", "4.80").replace("FL-1;", "FL-3;"), to=f"{AT}/issue")
    shown = text_of(page)
    assert "1 new, 1 gone, 1 price moved, 0 spans moved, 0 other changes" in shown
    assert "is not in this one" in shown
    assert "Words for vehicles" not in shown[: shown.index("Answers that are kept")]
    token = token_in(page.text)
    again = await editor.post(f"{AT}/decide", {"form_token": token, "key": "fits:24 vna", "do": "again"})
    assert "Words for vehicles that are not known 1" in text_of(again)


@pytest.mark.parametrize(
    ("name", "sheet", "told"),
    [
        ("two words", SHEET, "A name has letters, digits, dots and dashes"),
        ("spares", "", "Choose a file, or paste the list"),
        ("spares", "PK\x03\x04", "march.csv cannot be read: the workbook is damaged"),
        ("spares", "a;" * 300, "at most 200 columns"),
    ],
)
async def test_what_cannot_be_read_is_told_beside_the_field(
    editor: Editor, name: str, sheet: str, told: str
) -> None:
    answer = (
        await put_in(editor, sheet, name)
        if sheet
        else await editor.post("/edit/flat", {"form_token": await editor.token(), "name": name})
    )
    assert answer.status_code == 422
    assert told in text_of(answer)


async def test_markup_in_a_list_stays_text(editor: Editor) -> None:
    page = await put_in(editor, SHEET.replace("battery", "<script>alert(1)</script>"))
    assert "<script>alert" not in page.text
    await keep_mapping(editor)
    assert "<script>alert" not in (await editor.get(AT)).text


async def test_a_list_can_be_forgotten(editor: Editor) -> None:
    await put_in(editor)
    page = (await editor.get(AT)).text
    fields = {
        "form_token": token_in(page),
        "etag": unescape(re.findall(r'name="etag" value="([^"]*)"', page)[0]),
    }
    left = await editor.post(f"{AT}/forget", fields)
    assert left.url.path == "/edit/flat"
    assert (await editor.get(AT)).status_code == 404


async def test_a_wrong_name_is_told_beside_the_name_and_the_file_asked_for_again(editor: Editor) -> None:
    """A browser does not send the same file a second time by itself."""
    page = (await put_in(editor, name="two words")).text
    assert re.search(r'id="name-wrong"[^>]*>A name has letters, digits', page)
    assert re.search(r'id="file-wrong"[^>]*>Choose march.csv again', page)
    assert 'value="two words"' in page
    await put_in(editor)
    taken = (await put_in(editor)).text
    assert re.search(r'id="name-wrong"[^>]*>There is a list &#39;spares&#39; already', taken)


async def test_a_mapping_that_cannot_be_kept_stays_as_it_was_typed(editor: Editor) -> None:
    await put_in(editor)
    wrong = {"head_line": "first", "currency": "pounds", "section": "brakes", "decimal": "comma"}
    answer = await keep_mapping(editor, **wrong, **{"column.note": "Model", "column.fits": ""})
    assert answer.status_code == 422
    told = text_of(answer)
    assert "Line of the heads: a whole number is needed here" in told
    assert "currency: three capital letters are needed, such as EUR" in told
    for kept in (
        'name="head_line" value="first"',
        'name="currency" value="pounds"',
        'name="section" value="brakes"',
        '<option value="comma" selected>',
    ):
        assert kept in answer.text, kept
    note = re.search(r'<select [^>]*name="column\.note".*?</select>', answer.text, re.S)
    assert note
    assert '<option value="Model" selected>' in note[0]
    currency = await keep_mapping(editor, currency="gbp")
    assert currency.status_code == 200, "small letters are the same currency"


async def test_a_pasted_issue_that_cannot_be_read_is_not_lost(editor: Editor) -> None:
    await put_in(editor)
    await keep_mapping(editor)
    pasted = "a;" * 300
    fields = {"form_token": await editor.token(), "sheet": pasted}
    answer = await editor.post(f"{AT}/issue", fields)
    assert answer.status_code == 422
    assert "at most 200 columns" in text_of(answer)
    assert pasted in answer.text


async def test_what_the_first_rows_ask_says_in_which_line(editor: Editor) -> None:
    asked = text_of(await put_in(editor))
    assert "Line 2: “24 vna” is not known" in asked


async def test_what_is_long_goes_on_behind_its_first_page(
    editor: Editor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who cannot answer the first questions gets at the others; no change and no row is only counted."""
    for name in ("ON_A_PAGE", "CHANGES_SHOWN", "TOLD_SHOWN", "LISTS_ON_A_PAGE"):
        monkeypatch.setattr(f"graftbook.pages.editing.flat.{name}", 2)
    rows = "".join(f"fl 000{n};thing {n};24 van;4.50;works\n" * 2 for n in range(5))
    await put_in(editor, f"Part No;Description;Model;Price;Supplier\n{rows}")
    first = await keep_mapping(editor)
    asked, told = re.findall(r"“(thing \d)” names", text_of(first)), []
    address: str | None = AT
    seen: list[str] = []
    while address:
        page = (await editor.get(address)).text
        seen += re.findall(r"The description “(thing \d)” names", page)
        link = re.search(r'<a href="([^"]+)#questions">\d+\smore question', page)
        address = unescape(link[1]) if link else None
    assert (asked, seen) == (["thing 0", "thing 1"], [f"thing {n}" for n in range(5)])
    address = AT
    while address:
        page = (await editor.get(address)).text
        told += re.findall(r"Line (\d+)</span>", page.partition('id="told-head"')[2])
        link = re.search(r'<a href="([^"]+)#told-head">\d+\smore row', page)
        address = unescape(link[1]) if link else None
    assert told == ["2", "4", "6", "8", "10"], "each row that stands twice"
    for name in ("a-list", "b-list"):
        await put_in(editor, SHEET, name)
    start = await editor.get("/edit/flat")
    assert 'href="/edit/flat?after=b-list"' in start.text
    assert "spares" in text_of(await editor.get("/edit/flat?after=b-list")).partition("A new list")[0]
