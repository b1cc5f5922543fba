"""The guide as pages, and as the Markdown that they are made of."""

from functools import lru_cache

from fastapi import Request
from markdown_it import MarkdownIt
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from graftbook.guide.book import PAGES, page_text
from graftbook.guide.made import problem_types
from graftbook.http.responses import ASK_AGAIN
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router
from graftbook.problems import NothingHere

router = pages_router()


@lru_cache
def _html(name: str) -> tuple[Markup, list[tuple[str, str]]]:
    """A page's text as HTML, nothing in it is taken for HTML; and where each of its parts begins."""
    made = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = made.parse(page_text(name))
    parts = []
    for at, token in enumerate(tokens):
        if token.type == "heading_open":
            title = tokens[at + 1].content
            token.attrSet("id", "-".join(title.lower().split()))
            if token.tag == "h2":
                parts.append((str(token.attrs["id"]), title.replace("`", "")))
        if token.type in ("table_open", "fence", "code_block"):
            token.attrSet("tabindex", "0")
    return Markup(made.renderer.render(tokens, made.options, {})), parts


@router.get("/guide")
def guide(request: Request) -> Response:
    """The list of pages, each with its parts."""
    parts = {name: _html(name)[1] for name in PAGES}
    return page(request, "guide.html", pages=PAGES, name="", text="", parts=parts)


@router.get("/problems/{name}")
def problem_type(name: str) -> Response:
    """The `type` of a problem document is an address: it leads to where all of them are told."""
    if f"/problems/{name}" not in problem_types():
        raise NothingHere()
    return RedirectResponse("/guide/integrating#errors", 303, ASK_AGAIN)


@router.get("/guide/{name}")
def guide_page(request: Request, name: str) -> Response:
    """One page; as Markdown for who asks for that."""
    if name not in PAGES:
        raise NothingHere()
    if "text/markdown" in request.headers.get("accept", ""):
        return Response(page_text(name), media_type="text/markdown; charset=utf-8")
    text, parts = _html(name)
    return page(request, "guide.html", pages=PAGES, name=name, text=text, parts={name: parts})
