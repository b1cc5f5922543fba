"""What tests of the reasoning share."""

import pytest

from graftbook.closure.search import concede, eliminate


@pytest.fixture
def solver_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is narrow enough for elimination or concession: what propagation leaves goes to the solver."""
    monkeypatch.setattr(eliminate, "MOST_CELLS", 0)
    monkeypatch.setattr(concede, "MOST_CONFLICTS", -1)
