"""No room left: changes answer 503 and change nothing, reading goes on, and it is well again by itself."""

import resource
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import event, make_url

from tests.soundness.databases import contents
from tests.soundness.every_kind import all_are_unavailable, all_are_well, changes_fail
from tests.soundness.server import Served
from tests.soundness.test_database_gone import asked

ROWS = "".join(f"FULL-{n:06d},A part with a rather long name {n},brakes,modern\n" for n in range(4_000))
WHO_ASKED = ("access_key", "access_event")
"""What is kept of whoever asks, and of what was refused him."""
LARGE = f"[component]\nnumber,name,section,origin\n{ROWS}"


@pytest.mark.anyio
async def test_a_sqlite_file_that_may_not_grow(demo_copy: Callable[[], str]):
    """`PRAGMA max_page_count` makes SQLite itself say that the disk is full (SQLITE_FULL)."""
    url = demo_copy()
    before = contents(url, WHO_ASKED)
    async with asked(url) as (app, client):
        engine = app.state.service.engine

        def narrow(connection: Any, _record: Any) -> None:
            connection.execute("PRAGMA max_page_count = 1").close()

        _fill_free_pages(url)
        engine.dispose()
        event.listen(engine, "connect", narrow)
        large = await client.post("/v1/imports", content=LARGE, headers={"Content-Type": "text/csv"})
        assert (large.status_code, large.json()["type"]) == (503, "/problems/unavailable")
        assert "make room" in large.json()["detail"]
        assert int(large.headers["retry-after"]) > 0
        for path in ("/v1/variants", "/readyz", "/v1/closures?chassis=24PL-018412&fit=QB-3310"):
            assert (await client.get(path)).status_code == 200
        assert contents(url, WHO_ASKED) == before
        event.remove(engine, "connect", narrow)
        engine.dispose()
        again = await client.post("/v1/imports", content=LARGE, headers={"Content-Type": "text/csv"})
        assert again.status_code == 200
        await all_are_well(client)


def _fill_free_pages(url: str) -> None:
    """Pages that stand free would take a small change in."""
    connection = sqlite3.connect(make_url(url).database or "", isolation_level=None)
    connection.execute("VACUUM")
    connection.close()


@pytest.mark.anyio
@pytest.mark.postgres
async def test_a_postgresql_server_without_room(own_demo_url: str):
    """The server's own error of class 53, 53100 disk_full (PostgreSQL documentation, appendix A)."""
    if not own_demo_url.startswith("postgresql"):
        pytest.skip("SQLite's own full disk is the test above")
    before = contents(own_demo_url, WHO_ASKED)
    async with asked(own_demo_url) as (_, client):
        for code in ("53100", "58030", "53200"):
            with changes_fail(own_demo_url, code):
                await all_are_unavailable(client, reads=False, writes=True)
                assert contents(own_demo_url, WHO_ASKED) == before
        await all_are_well(client)


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="only Linux can narrow a running process")
def test_a_running_process_whose_files_may_not_grow(
    demo_copy: Callable[[], str], start: Callable[..., Served]
):
    """The kernel refuses the write (EFBIG), as it does with ENOSPC; the process is never started anew."""
    url = demo_copy()
    served = start(url)
    with served.client() as client:
        assert _send(client).status_code == 200
        before = contents(url, WHO_ASKED)
        _, hard = resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE)
        grown = Path(make_url(url).database or "").stat().st_size
        resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (min(grown, 200_000), hard))
        narrow = client.post(
            "/v1/imports", content=LARGE.replace("FULL", "MORE"), headers={"Content-Type": "text/csv"}
        )
        assert (narrow.status_code, narrow.json()["type"]) == (503, "/problems/unavailable"), narrow.text
        assert client.get("/livez").status_code == 200
        resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (hard, hard))
        assert contents(url, WHO_ASKED) == before
        for _ in range(20):
            if client.get("/readyz").status_code == 200:
                break
            time.sleep(0.1)
        assert _send(client, "MORE").status_code == 200
        assert client.get("/v1/components/MORE-000001").status_code == 200
    assert served.process.returncode is None


def _send(client: httpx.Client, name: str = "FULL") -> httpx.Response:
    sheet = LARGE.replace("FULL", name)
    return client.post("/v1/imports", content=sheet, headers={"Content-Type": "text/csv"})
