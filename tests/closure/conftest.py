"""What tests of the reasoning share."""

import pytest

from graftbook.closure.search import eliminate


@pytest.fixture
def solver_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is narrow enough for elimination: what propagation leaves goes to the solver."""
    monkeypatch.setattr(eliminate, "MOST_CELLS", 0)
