"""A stored build that says on which day the vehicle was built is asked about by that day."""

import httpx
import pytest

pytestmark = pytest.mark.anyio


async def test_the_day_that_a_build_says_is_the_vehicles(writer: httpx.AsyncClient):
    build = {"name": "dated", "chassis": "24PL-018412", "built": "1969-05-02"}
    assert (await writer.post("/v1/builds", json=build)).status_code == 201
    answer = await writer.post("/v1/closures", json={"vehicle": {"build": "dated"}, "wishes": []})
    assert answer.status_code == 200, answer.text
    vehicle = answer.json()["vehicle"]
    assert (vehicle["built"], vehicle["built_is_estimated"]) == ("1969-05-02", False)
