"""Whatever a page links to or a form of it sends is understood: no parameter is refused that a page made."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

import httpx
import pytest

from graftbook import pages
from tests.conftest import HERE
from tests.pages.conftest import BROWSER

pytestmark = pytest.mark.anyio

TEMPLATES = Path(pages.__file__).with_name("templates")

DISCS = "chassis=24PL-018412&fit=QB-3310"
STARTS = (
    "/",
    "/ask?chassis=24PL-018412",
    f"/answer?{DISCS}&alternatives=2",
    f"/answer?{DISCS}&keep_section=wheels",
    f"/order?{DISCS}&also=chassis%3D16PR-000200%26fit%3DQL-7075",
    f"/quotation?{DISCS}&months=3",
    "/check?chassis=24PL-018412&list=QB-3310",
    "/look-up?text=caliper&chassis=24PL-018412",
    "/component/QB-3310?chassis=24PL-018412",
    "/vehicle?chassis=24PL-018412",
    f"/compare?{DISCS}&other=24PR-000200",
    "/history",
    "/orders",
    "/builds",
    "/specifications",
    "/store",
    "/edit?kind=fitment&text=QB",
    "/edit/component/QB-3310",
    "/edit/fitment",
    "/store/count",
)
MOST = 60


class Ways(HTMLParser):
    """The addresses to which a page leads: its links, and its forms as sent with the first two of each row of
    boxes ticked (with all of them it would be a question that takes its ten seconds)."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.action: str | None = None
        self.fields: list[tuple[str, str]] = []
        self.select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "a" and given.get("href", "").startswith("/"):
            self.found.append(given["href"].partition("#")[0])
        elif tag == "form":
            self.action = given.get("action", "") if given.get("method", "get").lower() == "get" else None
            self.fields = []
        elif tag == "select":
            self.select = given.get("name", "")
            self.fields.append((self.select, ""))
        elif tag in ("input", "textarea", "button") and given.get("name"):
            self._field(tag, given)
        elif tag == "option" and "selected" in given:
            self.fields[-1] = (self.select, given.get("value", ""))

    def _field(self, tag: str, given: dict[str, str]) -> None:
        radio = given.get("type") == "radio"
        if radio and "checked" not in given:
            return
        alike = sum(name == given["name"] for name, _ in self.fields)
        if alike < (2 if tag == "input" else 1):
            self.fields.append((given["name"], given.get("value", "")))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form" and self.action is not None:
            path, _, query = self.action.partition("?")
            self.found.append(f"{path}?{urlencode([*parse_qsl(query), *self.fields])}")
            self.action = None


def ways_of(address: str, page: httpx.Response) -> Iterator[str]:
    """Where a page leads, without what leaves this house."""
    reader = Ways()
    reader.feed(page.text)
    for found in reader.found:
        yield found if found.startswith("/") else urlsplit(address).path + found


def kind_of(address: str) -> tuple[str, tuple[str, ...]]:
    """What tells one way from another: the page, and which parameters it is given."""
    parts = urlsplit(address)
    names = [name for name, _ in parse_qsl(parts.query, keep_blank_values=True)]
    return re.sub(r"[^/]*[0-9][^/]*", "N", parts.path), tuple(sorted(set(names)))


def test_no_attribute_of_a_template_sticks_to_the_one_before():
    """The end of a line behind a block is taken away, and the blanks before the next."""
    templates = [(path, path.read_text(encoding="utf-8")) for path in TEMPLATES.glob("*.html")]
    assert len(templates) > 60
    glued = [
        (path.name, text.count("\n", 0, found.start()) + 1)
        for path, text in templates
        for found in re.finditer(r"%}\n[ \t]*(?:{%[^%]*%})?[\w-]+=\"", text)
        if text.rfind("<", 0, found.start()) > text.rfind(">", 0, found.start())
    ]
    assert glued == []


async def test_no_page_leads_to_a_parameter_that_is_refused(writer: httpx.AsyncClient):
    waiting, seen, asked = list(STARTS), set(), set()
    while waiting and len(seen) < MOST:
        address = waiting.pop(0)
        if kind_of(address) in seen or address.startswith("/signout"):
            continue
        seen.add(kind_of(address))
        page = await writer.get(address, headers=BROWSER, follow_redirects=True)
        assert "there is no such parameter" not in page.text, address
        assert "it stands twice" not in page.text, address
        asked.add(urlsplit(address).path)
        if "text/html" in page.headers.get("content-type", ""):
            waiting += ways_of(str(page.url).removeprefix(HERE), page)
    assert {"/answer", "/order", "/look-up", "/fitting", "/quotation", "/picture", "/check"} <= asked
    assert len(seen) == MOST
