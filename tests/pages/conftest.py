"""The pages asked through ASGI as a browser would, on the demo range."""

import re
from collections.abc import AsyncIterator
from html import unescape

import httpx
import pytest
from fastapi import FastAPI

from tests.conftest import client_of

BROWSER = {"Accept": "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}


@pytest.fixture
async def browser(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client that asks as a browser does, and goes where it is sent."""
    async with client_of(app, headers=BROWSER, follow_redirects=True) as client:
        yield client


def text_of(page: httpx.Response) -> str:
    """What a reader sees, roughly: tags out, spaces joined."""
    words = unescape(re.sub(r"<[^>]+>", " ", page.text)).replace("\u00a0", " ")
    return re.sub(r"\s+([,.;:])", r"\1", " ".join(words.split()))
