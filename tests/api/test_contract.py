"""The API does not change without a line in the change log."""

import copy
from typing import Any

import pytest

from tests.api import contract

LOG = "- 2026-11-25: the first version, all of it new.\n"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return contract.document()


def test_the_contract_is_the_one_that_the_change_log_tells_of(document: dict[str, Any]):
    held, entries, then = contract.recorded(
        contract.HELD.read_text(encoding="utf-8"), contract.LOG.read_text(encoding="utf-8")
    )
    changes = contract.differences(held, contract.digests(document))
    assert not changes, contract.advice(changes)
    assert entries == then, f"the log has a new line; run `{contract.COMMAND}`"


def test_every_change_that_an_asker_notices_shows(document: dict[str, Any]):
    before = contract.digests(document)

    def after(change: Any) -> list[str]:
        other = copy.deepcopy(document)
        change(other)
        return contract.differences(before, contract.digests(other))

    def gone(d: dict[str, Any]) -> None:
        del d["paths"]["/v1/closures"]["post"]

    def moved(d: dict[str, Any]) -> None:
        d["paths"]["/v2/ranges"] = d["paths"].pop("/v1/ranges")

    def member(d: dict[str, Any]) -> None:
        d["components"]["schemas"]["LimitsIn"]["properties"]["colour"] = {"type": "string"}

    def status(d: dict[str, Any]) -> None:
        del d["paths"]["/livez"]["get"]["responses"]["200"]

    def words(d: dict[str, Any]) -> None:
        d["paths"]["/v1/ranges"]["get"]["summary"] = "better put"
        d["components"]["schemas"]["LimitsIn"]["description"] = "better put"

    assert after(gone) == ["makeClosure is gone"]
    assert after(moved) == ["listRanges asks or answers otherwise"]
    assert "makeClosure asks or answers otherwise" in after(member), "a schema inside"
    assert after(status) == ["isAlive asks or answers otherwise"]
    assert after(words) == []


def test_members_called_like_words_are_members():
    def bare(properties: dict[str, Any]) -> Any:
        item = {"get": {"operationId": "x", "schema": {"properties": properties}}}
        return contract.digests({"paths": {"/x": item}})

    assert bare({"title": {"type": "string"}}) != bare({})


def test_digests_are_written_only_with_a_new_line_in_the_log():
    first = contract.rewritten("", LOG, {"ask": "1", "answer": "2"})
    assert contract.recorded(first, LOG) == ({"ask": "1", "answer": "2"}, 1, 1)
    assert contract.rewritten(first, LOG, {"ask": "1", "answer": "2"}) == first

    with pytest.raises(LookupError, match="answer asks or answers otherwise"):
        contract.rewritten(first, LOG, {"ask": "1", "answer": "3"})
    told = "- 2026-12-01: answers more than before.\n" + LOG
    second = contract.rewritten(first, told, {"ask": "1", "answer": "3"})
    assert contract.recorded(second, told) == ({"ask": "1", "answer": "3"}, 2, 2)


def test_what_to_do_is_said():
    said = contract.advice(["makeClosure is gone"])
    assert "makeClosure is gone" in said
    assert contract.COMMAND in said
