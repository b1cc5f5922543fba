"""What a form of the builds' pages says, as the body that the API takes."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

from graftbook.http.errors import validated
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.checking.checked import body_of
from graftbook.pages.checking.typed_list import read_list
from graftbook.problems import InvalidRequest
from graftbook.process.state import Service
from graftbook.questions.checks.service import check_what_is_known
from graftbook.questions.closures.query import ClosureQuery
from graftbook.questions.schemas import ClosureIn

Form = Mapping[str, str]
MOST_TOLD = 6


def said(form: Form, *names: str) -> dict[str, str]:
    """These fields of a form, blanks left out."""
    return {name: value for name in names if (value := form.get(name, "").strip())}


def question_in(text: str, chassis: str) -> ClosureIn:
    """What somebody wishes: numbers, one a line, or the address of an answer. Raises InvalidRequest."""
    if "?" in text or "=" in text:
        pairs = parse_qsl(text.strip().partition("#")[0].rpartition("?")[2])
        kept = [(name, value) for name, value in pairs if name not in ("build", "on", "as_of")]
        question = PageQuestion.of([("chassis", chassis), *(pair for pair in kept if pair[0] != "chassis")])
        return question.body()
    numbers = [word.strip() for word in text.replace(",", "\n").splitlines() if word.strip()]
    return validated(ClosureQuery, {"chassis": chassis, "fit": numbers}).body()


def wishes_in(text: str, chassis: str) -> list[dict[str, Any]]:
    """The wishes of it."""
    return [wish.model_dump(exclude_unset=True) for wish in question_in(text, chassis).wishes]


def placed(
    service: Service, text: str, question: PageQuestion
) -> tuple[dict[str, str | None], dict[str, int]]:
    """A typed list of numbers: position → component, and loose number → pieces; read as the check reads it.

    Raises InvalidRequest with every line that cannot be placed.
    """
    entries, unread = read_list(text)
    wrong = {(one.line, one.text): one.why for one in unread}
    if not entries and not wrong:
        return {}, {}
    body, sources = body_of(question, entries)
    _answering, proposed = check_what_is_known(service, body)
    for pointer, problem in proposed.wrong.items():
        entry = sources[pointer][0]
        wrong[entry.line, entry.text] = problem.detail
    if wrong:
        raise InvalidRequest(_mistakes_by_line(wrong), pointer="/list")
    return proposed.sits, proposed.loose


def _mistakes_by_line(wrong: Mapping[tuple[int, str], str]) -> str:
    """What is wrong with a list, line by line."""
    lines = [f"Line {line}, “{text}”: {why.rstrip('.')}" for (line, text), why in sorted(wrong.items())]
    more = [f"and {len(lines) - MOST_TOLD} more"] if len(lines) > MOST_TOLD else []
    return f"Nothing was recorded. {' — '.join([*lines[:MOST_TOLD], *more])}"
