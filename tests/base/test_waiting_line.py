"""Writers to a database file stand in line: first come, first served, and nobody waits for the dead."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError, transaction
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse

from breeder.base import actions
from breeder.base.environment import database_from
from breeder.base.queued_sqlite import write_queue
from breeder.base.queued_sqlite.base import DatabaseWrapper
from breeder.middleware import Troubles
from tests.base.test_house import TYPED

pytestmark = pytest.mark.skipif(
    not write_queue.LOCKS, reason="this system has no locks of the kind that the line needs"
)
LONG_S = 30.0


def numbers_taken(path: Path) -> int:
    return int.from_bytes(path.read_bytes()[: write_queue.COUNTER_BYTES], "big")


def standing(path: Path, do: Callable[[], None]) -> threading.Thread:
    """Start a thread that stands in line and does something in its turn; return once it has its number."""
    before = numbers_taken(path)

    def stand() -> None:
        place = write_queue.wait_in(str(path))
        assert place is not None
        do()
        place.leave()

    one = threading.Thread(target=stand)
    one.start()
    while numbers_taken(path) == before:
        one.join(0.001)
    return one


def test_who_came_first_goes_first(tmp_path: Path) -> None:
    path, went = tmp_path / "line", []
    first = write_queue.wait_in(str(path))
    assert first is not None
    waiting = [standing(path, lambda number=number: went.append(number)) for number in range(12)]
    assert went == []
    first.leave()
    for one in waiting:
        one.join(LONG_S)
    assert went == list(range(12))


def test_nobody_waits_for_a_process_that_was_killed(tmp_path: Path) -> None:
    path = tmp_path / "line"
    context = multiprocessing.get_context("fork")
    stands = context.Event()

    def stand_and_stay() -> None:
        write_queue.wait_in(str(path))
        stands.set()
        signal.pause()

    other = context.Process(target=stand_and_stay)
    other.start()
    assert stands.wait(LONG_S)
    went: list[str] = []
    waiting = standing(path, lambda: went.append("went"))
    assert went == []
    os.kill(other.pid or 0, signal.SIGKILL)
    waiting.join(LONG_S)
    other.join(LONG_S)
    assert went == ["went"]


def test_a_line_that_stands_still_is_left_for_the_patience_of_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(write_queue, "PATIENCE_S", 0.01)
    path = str(tmp_path / "line")
    stays, goes_on = write_queue.wait_in(path), write_queue.wait_in(path)
    assert stays is not None
    assert goes_on is not None
    stays.leave()
    goes_on.leave()


def test_where_nothing_can_be_written_there_is_no_line(tmp_path: Path) -> None:
    assert write_queue.wait_in(str(tmp_path / "no such folder" / "line")) is None


@pytest.fixture
def book(tmp_path: Path) -> DatabaseWrapper:
    """A database file of its own, with the settings that a keeper has."""
    plain = {"ATOMIC_REQUESTS": False, "AUTOCOMMIT": True, "CONN_MAX_AGE": 0, "CONN_HEALTH_CHECKS": False}
    return DatabaseWrapper(plain | {"TIME_ZONE": None, "TEST": {}} | database_from(None, tmp_path), "book")


@pytest.mark.django_db
@pytest.mark.parametrize("end", ["commit", "rollback", "close"])
def test_every_end_of_a_transaction_lets_the_next_go(book: DatabaseWrapper, end: str) -> None:
    book.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)
    assert book._place is not None
    getattr(book, end)()
    if end != "close":
        book.set_autocommit(True)
    assert book._place is None
    book.close()


@pytest.mark.django_db
def test_who_only_reads_sees_one_moment_and_keeps_nobody_from_writing(book: DatabaseWrapper) -> None:
    """So does a backup. A transaction of the usual kind would keep the writer out, as the second half shows."""
    writer = book.copy()
    writer.cursor().execute("CREATE TABLE tub (number integer)")
    writer.cursor().execute("PRAGMA busy_timeout = 50")
    with book.only_reading():
        book.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)
        before = book.cursor().execute("SELECT COUNT(*) FROM tub").fetchone()
        writer.cursor().execute("INSERT INTO tub VALUES (1)")
        assert book.cursor().execute("SELECT COUNT(*) FROM tub").fetchone() == before == (0,)
        book.rollback()
        book.set_autocommit(True)
    book.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)
    with pytest.raises(OperationalError, match="locked"):
        writer.cursor().execute("INSERT INTO tub VALUES (2)")
    book.rollback()
    book.close()
    writer.close()


@pytest.mark.django_db
def test_a_transaction_that_cannot_begin_leaves_the_line(book: DatabaseWrapper) -> None:
    book.connect()
    book.transaction_mode = "NO SUCH MODE"
    with pytest.raises(Exception, match="syntax error"):
        book.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)
    assert book._place is None
    book.close()


def test_who_waited_in_vain_is_told_that_nothing_was_written(
    keeper_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def in_vain(*args: Any, **kwargs: Any) -> None:
        raise OperationalError("database is locked")

    monkeypatch.setattr(actions, "save_settings", in_vain)
    answer = keeper_client.post(reverse("base:settings"), TYPED)
    assert (answer.status_code, answer["Retry-After"]) == (503, "60")
    assert "Nothing of this was written" in answer.content.decode()


def test_a_fault_of_the_program_is_no_waiting() -> None:
    layer = Troubles(lambda request: HttpResponse())
    assert layer.process_exception(RequestFactory().post("/"), OperationalError("no such column: turn")) is None
    assert layer.process_exception(RequestFactory().post("/"), ValueError("database is locked")) is None


@pytest.mark.django_db
def test_a_book_in_memory_has_no_line() -> None:
    with transaction.atomic():
        assert getattr(transaction.get_connection(), "_place", None) is None
