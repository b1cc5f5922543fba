"""The helper that the other tests of soundness lean on does what it says."""

from tests.soundness.server import Served


def test_a_service_starts_takes_a_change_and_ends_cleanly(served: Served):
    with served.client() as client:
        assert client.get("/readyz").status_code == 200
        stored = client.post("/v1/builds", json={"name": "red", "chassis": "24PL-018412"})
        assert stored.status_code == 201, stored.text
    assert served.stop() in (0, -15)
    assert not served.faults()
