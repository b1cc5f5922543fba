"""Every operation of the OpenAPI document, asked with data that it allows and data that it does not.

This is the short form, the same questions each time, of SQLite: what an address answers is held to the
document, and the document knows no engine. The long one, tens of thousands of requests and other questions
each time, of both: `python -m tests.soundness schema`.
"""

import pytest

from tests.soundness.conftest import Serve
from tests.soundness.schema_run import SERVICE, run_schemathesis

LEAST_OPERATIONS = 66


@pytest.mark.one_engine
def test_every_answer_is_as_documented(own_demo_url: str, start: Serve):
    served = start(own_demo_url, **SERVICE)
    asked = run_schemathesis(
        served, "--phases", "fuzzing,stateful", "--max-examples", "3", "--workers", "1",
        "--generation-deterministic",
    )  # fmt: skip
    assert asked.ok, asked.printed[-20_000:]
    assert asked.operations >= LEAST_OPERATIONS
    assert asked.cases > 200
    assert not served.faults()
