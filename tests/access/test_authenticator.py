"""Keys against the database: let in, refused, revoked, on both engines and across processes."""

import json
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, event, text
from sqlalchemy.exc import OperationalError
from sqlmodel import select

from graftbook.access import service as access
from graftbook.access import store
from graftbook.access.authenticator import Authenticator
from graftbook.access.keys import checksum, new_key, presented
from graftbook.access.principal import Caller
from graftbook.access.scopes import Scope
from graftbook.access.tables import AccessEventRow, KeyRow
from graftbook.database import make_engine, reading, writing
from graftbook.problems import InvalidRequest, KeyNeeded, SlowDown, UnknownKey
from tests.conftest import make_key

ROOT = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-c", "from graftbook.commands.cli import main; main()"]
HERE = Caller(client="192.0.2.1")


@pytest.fixture
def authenticator(app: FastAPI) -> Authenticator:
    found: Authenticator = app.state.authenticator
    return found


def test_a_key_is_stored_as_a_digest_only(engine: Engine):
    made = make_key(engine)
    with engine.connect() as connection:
        stored = " ".join(
            str(value) for row in connection.execute(text("SELECT * FROM access_key")) for value in row
        )
    assert presented(made).digest in stored
    assert made not in stored
    assert made.split("_")[2] not in stored


def test_a_right_key_is_let_in_and_named(authenticator: Authenticator, engine: Engine):
    key = access.create_key(engine, "  the   counter ", Scope.ORDER, None, Caller(who="tests"))
    principal = authenticator.authenticate(presented(key.text), HERE)
    assert (principal.scope, principal.who) == (Scope.ORDER, f"the counter ({key.row.id})")


def expired(engine: Engine, key: str) -> None:
    with writing(engine) as session:
        row = session.exec(select(KeyRow).where(KeyRow.id == key)).one()
        row.expires = access.moment() - timedelta(seconds=1)


def revoked(engine: Engine, key: str) -> None:
    access.revoke_key(engine, key, HERE)


def gone(engine: Engine, key: str) -> None:
    with engine.begin() as connection:
        connection.execute(text("DELETE FROM access_key"))


@pytest.mark.parametrize("ended", [expired, revoked, gone])
def test_a_key_that_ended_is_refused_in_the_same_words(
    authenticator: Authenticator, engine: Engine, ended: Callable[[Engine, str], None]
):
    key = presented(make_key(engine))
    assert authenticator.authenticate(key, HERE)
    ended(engine, key.id)
    with pytest.raises(KeyNeeded) as refusal:
        authenticator.authenticate(key, HERE)
    with pytest.raises(KeyNeeded) as nobody:
        authenticator.authenticate(new_key()[1], HERE)
    assert refusal.value.document() == nobody.value.document()


def test_another_secret_under_the_same_id_is_refused(authenticator: Authenticator, engine: Engine):
    key = make_key(engine)
    other = new_key()[0]
    start = "_".join(["graftbook", key.split("_")[1], other.split("_")[2][:-6]])
    with pytest.raises(KeyNeeded):
        authenticator.authenticate(presented(start + checksum(start)), HERE)


def test_each_request_reads_the_key_once_and_what_cannot_be_one_reads_nothing(
    authenticator: Authenticator, engine: Engine
):
    key = presented(make_key(engine))
    authenticator.authenticate(key, HERE)
    authenticator.close()
    asked: list[str] = []

    @event.listens_for(engine, "before_cursor_execute")
    def count(_connection, _cursor, statement, *_rest):
        asked.append(statement)

    authenticator.authenticate(key, HERE)
    assert sum(statement.startswith("SELECT") for statement in asked) == 1
    assert "access_key.id = " in asked[-1]
    asked.clear()
    with pytest.raises(KeyNeeded):
        authenticator.authenticate(presented("graftbook_12345678_" + "x" * 38), HERE)
    assert asked == []


def test_revocation_acts_at_once_in_every_engine(authenticator: Authenticator, url: str):
    key = presented(make_key(url))
    assert authenticator.authenticate(key, HERE)
    elsewhere = make_engine(url)
    access.revoke_key(elsewhere, key.id, HERE)
    elsewhere.dispose()
    with pytest.raises(KeyNeeded):
        authenticator.authenticate(key, HERE)


def test_revocation_by_the_command_acts_at_once_in_a_running_process(authenticator: Authenticator, url: str):
    key = presented(make_key(url))
    assert authenticator.authenticate(key, HERE)
    done = subprocess.run(
        [*COMMAND, "keys", "revoke", key.id, "--database", url],
        cwd=ROOT, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    with pytest.raises(KeyNeeded):
        authenticator.authenticate(key, HERE)


def last_used(engine: Engine, key: str) -> str | None:
    (row,) = [row for row in access.list_keys(engine, None, 10) if row["id"] == key]
    return row["last_used"]


def test_when_a_key_was_last_used_is_written_once_a_minute_behind_the_answer(
    authenticator: Authenticator, engine: Engine
):
    key = presented(make_key(engine))
    assert last_used(engine, key.id) is None
    authenticator.authenticate(key, HERE)
    authenticator.close()
    first = last_used(engine, key.id)
    assert first is not None
    for _ in range(20):
        authenticator.authenticate(key, HERE)
    authenticator.close()
    assert last_used(engine, key.id) == first
    with writing(engine) as session:
        row = session.exec(select(KeyRow).where(KeyRow.id == key.id)).one()
        row.used = access.moment() - timedelta(seconds=61)
    authenticator.authenticate(key, HERE)
    authenticator.close()
    assert last_used(engine, key.id) > first


def test_refusals_of_several_clients_wait_beside_each_other(authenticator: Authenticator, engine: Engine):
    at_work = threading.Event()
    authenticator.write_behind("slow", lambda _session: at_work.wait(10) and None)
    for last in range(3):
        authenticator.refused(Caller(client=f"192.0.2.{last}"), "GET /v1/keys: 401")
    at_work.set()
    authenticator.close()
    told = access.list_events(engine, None, 10, outcome="refused")
    assert [row["client"] for row in told] == ["192.0.2.2", "192.0.2.1", "192.0.2.0"]


def test_a_last_use_that_cannot_be_written_fails_nothing(
    authenticator: Authenticator,
    engine: Engine,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
):
    key = presented(make_key(engine))

    def full(*_given):
        raise OperationalError("UPDATE", {}, Exception("disk full"))

    monkeypatch.setattr(store, "mark_used", full)
    assert authenticator.authenticate(key, HERE)
    authenticator.close()
    assert "OperationalError" in caplog.text


def test_failed_attempts_wait_and_a_right_key_from_elsewhere_does_not(
    authenticator: Authenticator, engine: Engine
):
    key = presented(make_key(engine))
    for _ in range(10):
        with pytest.raises(KeyNeeded):
            authenticator.authenticate(new_key()[1], HERE)
    with pytest.raises(KeyNeeded):
        authenticator.authenticate(None, HERE)
    with pytest.raises(SlowDown) as slow:
        authenticator.authenticate(new_key()[1], HERE)
    assert slow.value.answer_status == 429
    assert int(slow.value.headers["Retry-After"]) >= 1
    with pytest.raises(SlowDown):
        authenticator.authenticate(key, HERE)
    assert authenticator.authenticate(key, Caller(client="198.51.100.9"))


@pytest.mark.parametrize("label", ["", "  ", "x" * 121, "a\x00b", "a\u202eb"])
def test_a_label_says_something(engine: Engine, label: str):
    with pytest.raises(InvalidRequest):
        access.create_key(engine, label, Scope.READ, None, HERE)


def test_a_key_that_never_was_cannot_be_revoked_and_a_second_time_changes_nothing(engine: Engine):
    with pytest.raises(UnknownKey):
        access.revoke_key(engine, "nobody", HERE)
    key = presented(make_key(engine))
    access.revoke_key(engine, key.id, HERE)
    (first,) = access.list_keys(engine, None, 10)
    access.revoke_key(engine, key.id, HERE)
    assert access.list_keys(engine, None, 10) == [first]
    assert first["revoked"]


def test_times_keep_their_zone_on_both_engines(engine: Engine):
    until = access.read_expiry("2099-06-30", access.moment())
    made = access.create_key(engine, "long", Scope.READ, until, HERE)
    (row,) = access.list_keys(engine, None, 10)
    assert row["expires"] == "2099-07-01T00:00:00+00:00"
    assert made.document()["expires"] == row["expires"]
    assert access.read_expiry("90d", until) == until + timedelta(days=90)
    for wrong in ("", "d", "-5d", "1e3d", "99999999999d", "tomorrow", "2099-13-01"):
        with pytest.raises(InvalidRequest):
            access.read_expiry(wrong, until)
    with pytest.raises(InvalidRequest, match="expired already"):
        access.create_key(engine, "late", Scope.READ, access.moment(), HERE)


def test_a_key_that_ends_this_very_moment_is_not_made(engine: Engine, monkeypatch: pytest.MonkeyPatch):
    """It would open nothing: a key is good before its last moment only."""
    now = access.moment()
    monkeypatch.setattr(access, "moment", lambda: now)
    with pytest.raises(InvalidRequest, match="expired already"):
        access.create_key(engine, "late", Scope.READ, now, HERE)
    made = access.create_key(engine, "just in time", Scope.READ, now + timedelta(seconds=1), HERE)
    assert access.usable(made.row, now)


def test_no_usable_key_means_none_that_opens(engine: Engine):
    assert not access.any_usable_key(engine)
    key = presented(make_key(engine))
    assert access.any_usable_key(engine)
    expired(engine, key.id)
    assert not access.any_usable_key(engine)


def test_making_and_revoking_a_key_is_in_the_trail_in_the_same_transaction(engine: Engine):
    key = presented(make_key(engine))
    access.revoke_key(engine, key.id, Caller(who="x", key="abc", request="r-1", client="192.0.2.1"))
    with reading(engine) as session:
        events = session.exec(select(AccessEventRow).order_by(AccessEventRow.number)).all()
        told = [(row.what, row.key, row.request) for row in events]
    assert told == [
        (f"key {key.id} made: tests, may administer", None, ""),
        (f"key {key.id} revoked: tests", "abc", "r-1"),
    ]
    assert json.dumps(told).count(key.digest) == 0
