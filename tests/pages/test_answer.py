"""The pages of an answer: same words and figures as the API, addresses that stay, reasons that lead back."""

import re
import zlib
from decimal import Decimal
from html import unescape
from itertools import pairwise
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.types import Message, Receive, Scope, Send

from graftbook.http.compression import zstd
from graftbook.pages.answer import answer as answer_page
from graftbook.pages.answer.layers import HEIGHT, MOST_ROWS, WIDTH, draw
from graftbook.pages.answer.picture import graph_of
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.frame import SEND, pieces_of
from graftbook.pages.words import both_sides, paired, said_once
from tests.pages.conftest import text_of

CHASSIS = "24PL-018412"
DISCS = {"chassis": CHASSIS, "fit": "QB-3310"}
HTML = {"Accept": "text/html"}


class _AsItIs:
    def decompress(self, piece: bytes) -> bytes:
        return piece


UNPACKING: dict[str, Any] = {
    "zstd": zstd.ZstdDecompressor,
    "gzip": lambda: zlib.decompressobj(wbits=31),
    "identity": _AsItIs,
}


async def read(browser: httpx.AsyncClient, path: str, **params: object) -> httpx.Response:
    answer = await browser.get(path, params=params, headers=HTML, follow_redirects=True)
    assert answer.headers["content-type"].startswith("text/html"), answer.text
    return answer


async def test_an_answer_says_what_the_api_says(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/answer", **DISCS)
    assert page.status_code == 200
    asked = (await browser.get("/v1/closures", params=DISCS)).json()
    text = unescape(page.text)
    said = asked["sentences"][0].partition(". ")[0] + "."
    assert text.index(said) < text.index('class="set"'), "that it is proved, before the set"
    for change in asked["set"]["changes"]:
        assert (change["component"] or change["replaces"]) in text
        other_side = change["why"].replace("right", "left")
        other_row = change["because"]["how"] == "together"
        assert other_row or change["why"][1:] in text or other_side[1:] in text
    every = [sentence for caution in asked["cautions"] for sentence in caution.rstrip(".").split(". ")]
    assert len(every) > len(set(every)), "several end in the same words"
    box = text.partition('class="cautions"')[2].partition("</section>")[0]
    assert [box.count(sentence) for sentence in set(every)] == [1] * len(set(every)), "and each stands once"
    assert any(" -> " in finding["sentence"] for finding in asked["checks"]["findings"])
    assert " -> " not in text, "a page prints an arrow as one"
    assert any(" degC" in finding["sentence"] for finding in asked["checks"]["findings"])
    assert " degC" not in text_of(page), "and degrees as they are written"
    ids = re.findall(r'id="line-(\d+)"', page.text)
    assert [int(number) for number in ids] == list(range(1, len(ids) + 1))
    keys = " ".join(re.findall(r'id="line-\d+" data-key="([^"]+)"', page.text)).split()
    assert sorted(keys) == sorted(
        f"{change['position']}={change['component'] or ''}" for change in asked["set"]["changes"]
    ), "each change stands in one row"
    assert len(ids) < len(keys), "a pair that changes alike is one row"
    assert set(re.findall(r'href="#line-(\d+)"', page.text)) <= set(ids)


async def test_what_was_wished_stands_first_and_then_the_sections(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/answer", **DISCS)
    heads = re.findall(r'<th scope="rowgroup"[^>]*>([^<]+)<', page.text)
    assert heads[0] == "As you wished"
    assert heads[-1] == "Fluids, gaskets, fasteners"
    assert len(heads) == len(set(heads)) > 4
    first = page.text.index('id="line-1"')
    assert "QB-3310" in page.text[first : page.text.index('id="line-2"')]


def test_what_several_cautions_end_in_stands_once_after_them() -> None:
    told = said_once(
        ["Brakes hold lives. Ask a fitter.", "Fuel burns. Ask a fitter.", "QB-9001: harmful", "Acid."]
    )
    assert told == ["Brakes hold lives.", "Fuel burns.", "QB-9001: harmful", "Acid.", "Ask a fitter."]
    assert said_once(["Brakes hold lives. Ask a fitter."]) == ["Brakes hold lives. Ask a fitter."]
    assert said_once(["Acid.", "Acid."]) == ["Acid."]
    assert said_once(["Brakes. Ask.", "Fuel: burns. Ask."], "Ask and obey.") == [
        "Brakes.",
        "Fuel: burns.",
        "Ask and obey.",
    ]
    assert said_once(["A-1: acid: wear gloves", "Heat: no flame.", "A-2: acid: wear gloves"]) == [
        "A-1, A-2: acid: wear gloves",
        "Heat: no flame.",
    ]


def test_rows_that_differ_in_their_side_alone_are_one() -> None:
    left, right = {"place": "hub, left", "part": "hub"}, {"place": "hub, right", "part": "hub"}
    other, spare = {"place": "hub, right", "part": "shaft"}, {"place": "spare wheel", "part": None}
    assert paired([left, other, right, spare], "place", "part") == [[left, right], [other], [spare]]


def test_a_pair_is_told_as_both_sides() -> None:
    assert both_sides(["front hub, left", "front hub, right"]) == "front hub, both sides"
    assert both_sides(["left lamp (clear)", "right lamp (clear)"]) == "both sides lamp (clear)"
    assert both_sides(["fuse box"]) == "fuse box"
    assert both_sides(["upper arm, left", "lower arm, left"]) == "upper arm, left; lower arm, left"


async def test_an_answer_carries_the_question_to_go_on_with(browser: httpx.AsyncClient) -> None:
    """The form beside the set says what was asked; a flaw of this vehicle is ticked there."""
    flaw = (await browser.get(f"/v1/vehicles/{CHASSIS}")).json()["flaws"][0]["flaw"]
    page = await read(browser, "/answer", **DISCS, remedy=flaw, keep_section="engine", as_of=1)
    form = page.text[page.text.index("data-bench") : page.text.index('id="result"')]
    assert 'name="fit" value="QB-3310"' in form
    assert re.search(f'name="remedy" value="{flaw}" checked', form)
    assert re.search('name="keep_section" value="engine" checked', form)
    assert 'name="as_of"' not in form, "what is asked on is asked of the catalogue as it is"
    away = next(unescape(a) for a in re.findall(r'class="noprint away" href="([^"]+)"', form))
    assert "fit=" not in away
    assert f"remedy={flaw}" in away


async def test_a_flaw_of_both_sides_is_one_box_and_one_line(browser: httpx.AsyncClient) -> None:
    left, right = "half-shaft-twists-left", "half-shaft-twists-right"
    page = await read(browser, "/answer", chassis=CHASSIS, remedy_all="dangerous")
    form, _, result = page.text.partition('id="result"')
    box = f'name="remedy" value="{left},{right}">'
    assert form.count(box) == 1
    assert form.count(left) == form.count(right) == 1
    assert "QA-1010, QA-1011 at rear half shaft, both sides;" in form
    listed = result[result.index('id="flaws"') :]
    assert listed.count(f"remedy={left}&amp;remedy={right}") == 1


async def test_a_box_for_both_sides_wishes_both(browser: httpx.AsyncClient) -> None:
    left, right = "half-shaft-twists-left", "half-shaft-twists-right"
    both = await read(browser, "/answer", chassis=CHASSIS, remedy=f"{left},{right}")
    assert both.url.params.get_list("remedy") == [left, right]
    assert f'value="{left},{right}" checked>' in both.text
    one = await read(browser, "/answer", chassis=CHASSIS, remedy=right)
    assert f'value="{right}" checked>' in one.text
    assert f'value="{left}">' in one.text


async def test_what_was_so_already_is_not_the_fault_of_a_set(browser: httpx.AsyncClient) -> None:
    for asked in ({"chassis": CHASSIS}, {"chassis": CHASSIS, "fit": "QL-7075"}):
        page = await read(browser, "/answer", **asked)
        section = text_of(page).partition("Does it work together? ")[2]
        section = section.partition("Does it work together? ")[2] or section
        facts = (await browser.get("/v1/closures", params=asked)).json()["checks"]
        assert section.startswith("This set makes no check fail or worse."), section[:80]
        assert "This set makes it fail or worse" not in page.text
        already = section.partition("It was already so")[2].partition("What holds")[0]
        for finding in facts["findings"]:
            if finding["kind"] == "already so":
                said = finding["sentence"][1:].replace("m/s2", "m/s²").replace(" degC", " °C")
                assert said.replace(" -> ", " → ") in already
                assert finding["caution"] is None or finding["caution"] in already


async def test_what_a_set_makes_worse_comes_first_and_then_the_rest(browser: httpx.AsyncClient) -> None:
    listed = "QW-7750 @ tyre.road\nQW-7655 @ wheel.road\nQL-7075\nQB-2090"
    page = await browser.get("/check", params={"chassis": CHASSIS, "list": listed}, follow_redirects=True)
    shown = text_of(page)
    heads = ("This set makes it fail or worse", "It was already so", "What holds")
    places = [shown.index(head) for head in heads]
    assert places == sorted(places)
    worse, already, _ = (shown[a:b] for a, b in zip(places, [*places[1:], len(shown)], strict=True))
    assert "Current in the charging cable at full output" in worse
    assert "Today it holds." in worse
    assert "Ethanol that is safe for the feed line and hoses" in already
    assert "Front brakes after 15 stops of the fade test" in worse, "the valve gives the front more to do"
    assert "Laden deceleration with one circuit failed" in already
    assert "fuse every added cable at the source" in worse, "the caution of what is made worse"


async def test_an_address_names_its_revision_and_stays(browser: httpx.AsyncClient) -> None:
    first = await read(browser, "/answer", **DISCS)
    assert "as_of=" in str(first.url)
    again = await browser.get(str(first.url), headers=HTML)
    assert again.status_code == 200
    assert again.text == first.text


@pytest.mark.parametrize("part", ["result", "both"])
async def test_the_bench_is_given_the_result_without_the_frame_and_where_it_stands(
    browser: httpx.AsyncClient, part: str
) -> None:
    """At once, where a page goes to the address with its revision first; kept apart from the page."""
    wished = {"chassis": CHASSIS, "upgrade": "front-discs"}
    page = await read(browser, "/answer", **wished)
    only = await browser.get("/answer", params=wished, headers=HTML | {"Graftbook-In-Place": part})
    assert not only.history
    assert only.headers["content-location"] == str(page.url.raw_path, "ascii")
    assert "Graftbook-In-Place" in page.headers["vary"]
    assert "Graftbook-In-Place" in only.headers["vary"]
    begins = '<div class="heading">'
    result = only.text[only.text.index(begins) :]
    assert result.rstrip().removesuffix("</div>").rstrip() in page.text
    assert ("<form data-bench>" in only.text) == (part == "both")
    assert "<style>" not in only.text
    impossible = await browser.get(
        "/answer", params=wished | {"keep_section": "wheels"}, headers={"Graftbook-In-Place": part}
    )
    assert "It cannot be, as asked" in impossible.text


async def test_a_tick_beside_a_part_that_is_wished_brings_no_form_either(browser: httpx.AsyncClient) -> None:
    """Only words that are no part may be an upgrade, for which the question is asked anew."""
    alone = HTML | {"Graftbook-In-Place": "result"}
    page = await browser.get("/answer", params=DISCS, headers=alone)
    assert '<div class="heading">' in page.text
    assert "<form data-bench>" not in page.text
    meant = await browser.get("/answer", params={"chassis": CHASSIS, "fit": "front discs"}, headers=alone)
    assert "&upgrade=front-discs" in meant.headers["content-location"]
    unknown = await browser.get("/answer", params={"chassis": CHASSIS, "fit": "QB-331O"}, headers=alone)
    assert not unknown.is_success


async def test_an_impossible_question_offers_its_ways_out(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/answer", **DISCS, keep_section="wheels")
    assert re.search(r"<li>Between wheel and brake 3 mm stay free[^<]*\.? *<details", page.text)
    assert "Rule wheel/front-brake-left" not in page.text, "a rule is named only on opening"
    assert "<summary>the rule</summary>wheel/front-brake-left, measured</details>" in page.text
    addresses = [unescape(a) for a in re.findall(r'class="button" href="([^"]+)"', page.text)]
    assert len(addresses) >= 3
    for address in addresses:
        way = await browser.get(address, headers=HTML, follow_redirects=True)
        assert re.search("<h1>(What it becomes|As it stands)</h1>", way.text), address


async def test_a_choice_is_a_link_to_the_set_with_it(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/answer", **DISCS)
    address = next(unescape(a) for a in re.findall(r'href="([^"]+)">Take this', page.text) if "QB-7090" in a)
    other = await browser.get(address, headers=HTML, follow_redirects=True)
    assert re.search(r'id="line-\d+".*?QB-7090', other.text, re.DOTALL)


@pytest.mark.parametrize("path", ["/picture", "/order", "/fitting", "/quotation"])
async def test_what_an_answer_leads_to(browser: httpx.AsyncClient, path: str) -> None:
    page = await read(browser, path, **DISCS)
    assert page.status_code == 200
    assert "QB-3310" in page.text
    assert "script-src 'self'" in page.headers["content-security-policy"]
    assert not re.search(r"<script(?![^>]*src=)|style=|onclick=", page.text)
    impossible = await read(browser, path, **DISCS, keep_section="wheels")
    assert "It cannot be, as asked" in impossible.text


async def test_the_fitting_sequence_folds_by_runs_of_one_section(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/fitting", **DISCS)
    runs = page.text.split('<details class="folds"')[1:]
    assert len(runs) > 5
    assert [run.startswith(" open>") for run in runs] == [True] + [False] * (len(runs) - 1)
    steps = [[int(step) for step in re.findall(r'tick">(\d+)<', run)] for run in runs]
    assert [step for within in steps for step in within] == list(range(1, steps[-1][-1] + 1))
    for run, within in zip(runs, steps, strict=True):
        told = f"steps {within[0]} to {within[-1]}" if len(within) > 1 else f"step {within[0]}"
        assert told in run.partition("</summary>")[0]
    titles = [re.search(r"<b>([^<]+)", run)[1] for run in runs]
    assert all(one != other for one, other in pairwise(titles))


async def test_what_time_cut_short_is_not_called_impossible(
    browser: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That nothing was found in time says nothing of whether it can be, nor of ways out."""
    late = {"outcome": "not proved in time", "set": None, "sentences": ["Time ran out."], "ways_out": []}
    made = answer_page.closure_document

    def cut_short(*asked: Any) -> tuple[Any, Any]:
        question, document = made(*asked)
        return question, document | late

    monkeypatch.setattr(answer_page, "closure_document", cut_short)
    page = await read(browser, "/answer", **DISCS)
    assert "<h1>Not found in time</h1>" in page.text
    assert "It cannot be" not in page.text
    assert "Ways out" not in page.text


@pytest.mark.parametrize("form", ["pdf", "xlsx", "csv"])
async def test_documents_are_taken_away(browser: httpx.AsyncClient, form: str) -> None:
    answer = await browser.get(f"/order.{form}", params=DISCS)
    assert answer.status_code == 200
    assert f".{form}" in answer.headers["content-disposition"]


async def test_a_wrong_number_is_told_on_a_page_with_what_is_close(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/answer", chassis="24PL-018412", fit="QB-33109")
    assert page.status_code == 422
    assert "QB-3310" in page.text
    nothing = await read(browser, "/nowhere")
    assert nothing.status_code == 404
    program = await browser.get("/nowhere", headers={"Accept": "*/*"})
    assert program.headers["content-type"] == "application/problem+json"


async def test_the_form_keeps_what_the_question_says(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/ask", **DISCS, keep_section="wheels", nothing_visible="true")
    assert 'value="QB-3310"' in page.text
    assert re.search(r'name="keep_section" value="wheels" checked', page.text)
    assert re.search(r'name="nothing_visible" value="true" checked', page.text)


async def test_the_form_asks_which_rules_bind_and_the_answer_goes_by_them(browser: httpx.AsyncClient) -> None:
    asked = {"chassis": CHASSIS, "fit": "QL-7075", "rules": "type approval"}
    form = (await read(browser, "/ask", **asked)).text
    assert re.search(r'<label for="rules">[^<]+</label>', form)
    assert "as the house has set it (in service)" in form
    choices = re.search(r'<select id="rules" name="rules".*?</select>', form, re.DOTALL)
    assert choices
    assert re.findall(r'value="([^"]*)"( selected)?>', choices[0]) == [
        ("", ""), ("in service", ""), ("type approval", " selected"),
    ]  # fmt: skip
    usual, stricter = [await read(browser, "/answer", **one) for one in (asked | {"rules": ""}, asked)]
    assert stricter.text.count(">fails</span>") > usual.text.count(">fails</span>")
    said = "Judged by the rules of type approval too."
    assert said in text_of(stricter)
    assert said not in text_of(usual)


async def test_pages_are_packed_for_who_takes_it(browser: httpx.AsyncClient) -> None:
    plain = await browser.get("/look-up", headers=HTML | {"Accept-Encoding": "identity"})
    packed = await browser.get("/look-up", headers=HTML | {"Accept-Encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip"
    assert packed.text == plain.text
    assert "Accept-Encoding" in packed.headers["vary"]


@pytest.mark.parametrize("coding", ["zstd", "gzip", "identity"])
@pytest.mark.parametrize(
    ("page", "begins", "goes_on"), [("answer", 'class="totals"', 'class="set"'), ("picture", "<h1", "<svg")]
)
async def test_the_head_of_a_long_page_is_sent_while_the_rest_is_written(
    app: FastAPI, coding: str, page: str, begins: str, goes_on: str
) -> None:
    pieces: list[bytes] = []

    async def listening(scope: Scope, receive: Receive, send: Send) -> None:
        async def heard(message: Message) -> None:
            pieces.append(message.get("body", b""))
            await send(message)

        await app(scope, receive, heard)

    there = httpx.ASGITransport(listening)
    async with httpx.AsyncClient(transport=there, base_url="http://127.0.0.1") as client:
        headers = HTML | {"Accept-Encoding": coding}
        await client.get(f"/{page}?chassis={CHASSIS}&fit=QB-3310&as_of=1", headers=headers)
    first, whole = (
        UNPACKING[coding]().decompress(sent).decode()
        for sent in (next(filter(None, pieces)), b"".join(pieces))
    )
    assert whole.startswith(first)
    assert begins in first
    assert goes_on not in first
    assert goes_on in whole
    assert whole.rstrip().endswith("</html>")


async def test_what_the_bench_waits_for_whole_comes_in_one_piece(browser: httpx.AsyncClient) -> None:
    asked = {**DISCS, "as_of": 1}
    page = await browser.get("/answer", params=asked, headers=HTML)
    part = await browser.get("/answer", params=asked, headers=HTML | {"Graftbook-In-Place": "result"})
    assert ("content-length" in page.headers, "content-length" in part.headers) == (False, True)
    assert 'class="set"' in part.text


def test_what_follows_is_not_written_before_the_head_of_a_page_is_sent() -> None:
    written = iter(["head", SEND, "set", SEND, "rest"])
    pieces = pieces_of(written)
    assert next(pieces) == ("head", True)
    assert list(pieces) == [("set", True), ("rest", False)]
    written = iter(["head", SEND, "set"])
    next(pieces_of(written))
    assert next(written) == "set", "nobody has asked for it yet"


def test_a_question_travels_in_its_address() -> None:
    sent = [
        ("fit", " QB-3310 "),
        ("fit", ""),
        ("chassis", "24"),
        ("fitted_at", "brake"),
        ("fitted_number", "X"),
    ]
    question = PageQuestion.of([*sent, ("effort_at_most", "cutting"), ("unknown", "1")])
    assert question.pairs == (("chassis", "24"), ("fitted", "brake=X"), ("fit", "QB-3310"))
    more = question.adding("fit", "QB-1").adding("chassis", "25")
    assert more.values("fit") == ["QB-3310", "QB-1"]
    assert more.values("chassis") == ["25"]
    assert more.without("fit", "QB-1").values("fit") == ["QB-3310"]
    assert more.without("fit").address() == "/answer?chassis=25&fitted=brake%3DX"


def test_boxes_never_overlap_and_every_line_is_drawn() -> None:
    columns = {f"n{i}": 0 if i == 0 else 1 + i % 3 for i in range(70)}
    reasons = [("n0" if i % 3 == 0 else f"n{i - 1}", f"n{i}", True) for i in range(1, 70)]
    drawing = draw(columns, [*reasons, ("n3", "n1", False), ("nobody", "n1", True)])
    assert len(drawing.boxes) == 70
    assert len(drawing.lines) == 70
    for place, box in enumerate(drawing.boxes):
        assert box.x >= 0
        assert box.x + WIDTH <= drawing.width
        assert box.y + HEIGHT <= drawing.height
        for other in drawing.boxes[place + 1 :]:
            apart = abs(box.x - other.x) >= WIDTH or abs(box.y - other.y) >= HEIGHT
            assert apart, (box, other)
    tallest = max(sum(1 for box in drawing.boxes if box.x == x) for x in {box.x for box in drawing.boxes})
    assert tallest <= MOST_ROWS
    assert draw(columns, reasons) == draw(dict(columns), list(reasons))


@pytest.mark.parametrize(
    ("asked", "said", "then"),
    [
        ({"fit": "ventilated disc"}, "There is no component 'ventilated disc'", {"fit": "QB-3302"}),
        ({"fit": ["QB-3310", "QB-331O"]}, "Do you mean", {"fit": ["QB-3310", "QB-3311"]}),
        ({"fit": "QB-3310@brake.front.lfet"}, "There is no position", {"fit": "QB-3310@brake.front.left"}),
        ({"fitted": "brake.master=QB-2O50"}, "There is no component", {"fitted": "brake.master=QB-2050"}),
    ],
)
@pytest.mark.parametrize("path", ["/answer", "/order"])
async def test_a_name_that_is_not_known_is_mended_by_one_link(
    browser: httpx.AsyncClient, path: str, asked: dict[str, Any], said: str, then: dict[str, Any]
) -> None:
    wished = {"fit": "QB-3310"} | asked
    page = await browser.get(path, params={"chassis": CHASSIS} | wished)
    assert page.status_code == 422
    assert said in text_of(page)
    ways = [unescape(href) for href in re.findall(rf'<a class="number" href="({path}[^"]+)"', page.text)]
    wanted = httpx.QueryParams({"chassis": CHASSIS} | wished | then).multi_items()
    assert any(
        sorted(wanted) == sorted(httpx.URL(way).params.remove("as_of").multi_items()) for way in ways
    ), ways
    form = re.search(r'href="(/ask[^"]+)">Mend the question', page.text)
    assert form
    assert (await browser.get(unescape(form[1]))).status_code == 200


@pytest.mark.parametrize(
    ("said", "then"),
    [
        ("brake discs", {"upgrade": "front-discs"}),
        ("speeds, five of them", {"upgrade": "five-speed"}),
        ("pedal goes soft on hot days", {"remedy": "hose-rear-swells"}),
    ],
)
async def test_words_that_were_wished_may_mean_an_upgrade_or_a_flaw(
    browser: httpx.AsyncClient, said: str, then: dict[str, str]
) -> None:
    """What the search finds for them is offered where they are refused; the rest of the question stays."""
    page = await browser.get("/answer", params={"chassis": CHASSIS, "fit": ["QB-3310", said]})
    assert page.status_code == 422
    ways = [unescape(href) for href in re.findall(r'<a class="number" href="(/answer[^"]+)"', page.text)]
    wanted = httpx.QueryParams({"chassis": CHASSIS, "fit": "QB-3310"} | then).multi_items()
    offered = [sorted(httpx.URL(way).params.remove("as_of").multi_items()) for way in ways]
    assert sorted(wanted) in offered


async def test_a_mistake_in_the_form_keeps_the_rest(browser: httpx.AsyncClient) -> None:
    asked = {"chassis": CHASSIS, "fit": "QB-3310", "price_at_most": "ten"}
    page = await browser.get("/answer", params=asked)
    assert page.status_code == 422
    assert "Price at most: A price is a number" in text_of(page)
    form = re.search(r'href="(/ask[^"]+)">Mend the question', page.text)
    assert form
    filled = await browser.get(unescape(form[1]))
    assert 'value="QB-3310"' in filled.text
    assert 'value="ten"' in filled.text


async def test_an_unknown_chassis_keeps_the_wishes(browser: httpx.AsyncClient) -> None:
    page = await browser.get("/answer", params={"chassis": "24PL-999999", "fit": "QB-3310"})
    assert page.status_code == 422
    near = [unescape(href) for href in re.findall(r'<a class="number" href="([^"]+)"', page.text)]
    assert near
    assert all(httpx.URL(href).params["fit"] == "QB-3310" for href in near)


async def test_what_is_welded_and_what_is_not_priced_stand_on_the_page(browser: httpx.AsyncClient) -> None:
    kept = await read(browser, "/answer", chassis=CHASSIS, fit="QF-7000", keep="exhaust.system")
    text = text_of(kept)
    assert "Cut or welded 1 QF-9650" in text
    assert "Note: welding: battery, control unit and sensors off first" in text
    limited = {"effort_at_most": "machining", "keep": "exhaust.system"}
    impossible = text_of(await read(browser, "/answer", chassis=CHASSIS, fit="QF-7000", **limited))
    assert "Accept cutting or welding" in impossible
    assert "1 cannot be put back (QF-9650)" in impossible
    seats = text_of(await read(browser, "/answer", chassis="24PR-020000", fit="QE-7400"))
    assert "Machined 1 QE-7400" in seats


async def test_an_unknown_price_is_said_in_sums_and_differences(browser: httpx.AsyncClient) -> None:
    text = text_of(await read(browser, "/answer", **DISCS))
    known = (await browser.get("/v1/components/QB-3302")).json()["component"]["price"]
    less = f"known parts −{2 * Decimal(known)}"
    assert f"Parts cannot be compared: the price of QB-7302 is not known ({less})" in text
    asked = {"chassis": "24FL-012000", "fit": "QA-7352"}
    unpriced = text_of(await read(browser, "/answer", **asked))
    facts = (await browser.get("/v1/closures", params=asked)).json()["set"]
    priced = [Decimal(one["price"]) for one in (*facts["changes"], *facts["loose_parts"]) if one["price"]]
    assert f"{sum(priced)} GBP and what QA-7352 costs, which is not known" in unpriced
    ceiling = {"chassis": CHASSIS, "fit": "QB-7302", "price_at_most": "2000"}
    out = text_of(await read(browser, "/answer", **ceiling))
    assert "Accept what QB-7302 costs, which is not known" in out
    assert "raise the ceiling to" not in out.lower()


async def test_the_reason_of_the_calipers_is_the_disc_that_was_wished(browser: httpx.AsyncClient) -> None:
    page = await read(browser, "/answer", chassis=CHASSIS, fit="QB-3302")
    words = text_of(page)
    assert (
        "The front drum or disc, left needs it: A disc 20 mm thick runs in the slot of a four-piston caliper."
        in words
    )
    assert "These shoes are ground for" not in words, "the rule of the shoes that go is nobody's reason"


async def test_each_flaw_of_the_picture_stands_behind_the_wish_that_asks_for_it(
    browser: httpx.AsyncClient,
) -> None:
    wishes = [
        {"remedy_all": "severe", "section": "brakes"},
        {"remedy_all": "severe", "section": "electrical"},
    ]
    asked = {"vehicle": {"chassis": CHASSIS}, "wishes": wishes}
    document = (await browser.post("/v1/closures", json=asked, headers={"Accept": "application/json"})).json()
    nodes, reasons = graph_of(document, document["set"])
    sections = {flaw["flaw"]: flaw["section"] for flaw in document["set"]["flaws_gone"]}
    asked_by = {end: start for start, end, _ in reasons if nodes[end]["kind"] == "flaw"}
    assert set(asked_by.values()) == {wish["name"] for wish in document["wishes"]}
    for flaw, wish in asked_by.items():
        assert wish.endswith(f" in {sections[flaw.removeprefix('flaw ')]}"), (flaw, wish)


async def test_a_way_out_of_what_a_build_wishes_has_no_address(writer: httpx.AsyncClient) -> None:
    build = {"name": "decided", "chassis": CHASSIS, "decided": [{"fit": "QB-3310"}]}
    made = await writer.post("/v1/builds", json=build)
    assert made.status_code == 201, made.text
    page = await read(writer, "/answer", build="decided", keep_section="wheels")
    for address in (unescape(a) for a in re.findall(r'class="button" href="([^"]+)"', page.text)):
        assert "keep_section" not in httpx.URL(address).params, "the wish of the build is not in the address"
    assert "Give up wishing QB-3310" in text_of(page)


async def test_a_way_out_gives_up_one_wish_of_an_upgrade(browser: httpx.AsyncClient) -> None:
    asked = {"chassis": CHASSIS, "upgrade": "front-discs", "keep_section": "wheels"}
    page = await read(browser, "/answer", **asked)
    addresses = [unescape(a) for a in re.findall(r'class="button" href="([^"]+)"', page.text)]
    assert (
        len(addresses)
        == len(re.findall(r'<ol class="ways">.*?</ol>', page.text, re.DOTALL)[0].split("<li>")) - 1
    )
    for address in addresses:
        way = await browser.get(address, headers=HTML, follow_redirects=True)
        assert re.search("<h1>(What it becomes|As it stands)</h1>", way.text), address


async def test_an_upgrade_is_wished_by_what_it_is_called(browser: httpx.AsyncClient) -> None:
    for typed in ("front discs", "Front disc brakes"):
        page = await read(browser, "/answer", chassis=CHASSIS, fit=typed)
        assert "upgrade=front-discs" in str(page.url)
        assert "What it becomes" in page.text
    unknown = await read(browser, "/answer", chassis=CHASSIS, upgrade="front-dics")
    assert unknown.status_code == 422
