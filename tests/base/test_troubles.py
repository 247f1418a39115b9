"""A full disk, a read-only folder, a server that is gone: a sentence that says what is safe, never a trace."""

import errno
import json
import logging
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import DatabaseError, OperationalError, connection
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens, machine_faults
from breeder.base.machine_faults import trouble_of
from breeder.people.models import Person

FULL, READ_ONLY = "The disk is full", "The folder of the book cannot be written to"
SAFE = "Nothing of this was written; what was in the book before is safe."


def of_server(state: str) -> OperationalError:
    """Return a fault as a server reports it; its states are those of PostgreSQL's appendix A, error codes."""
    cause, fault = Exception("as the server says it"), OperationalError("as the server says it")
    cause.sqlstate = state  # type: ignore[attr-defined]
    fault.__cause__ = cause
    return fault


@pytest.mark.parametrize(
    ("fault", "heading"),
    [
        (OSError(errno.ENOSPC, "No space left on device", "/x/photo.jpg"), FULL),
        (OSError(errno.EDQUOT, "Disk quota exceeded"), FULL),
        (OSError(errno.EROFS, "Read-only file system", "/x"), READ_ONLY),
        (PermissionError(errno.EACCES, "Permission denied", "/x"), READ_ONLY),
        (OSError(errno.EIO, "Input/output error", "/x"), "The disk does not answer as it should"),
        (OperationalError("database or disk is full"), FULL),
        (OperationalError("attempt to write a readonly database"), READ_ONLY),
        (OperationalError("database is locked"), "The book is busy"),
        (DatabaseError("database disk image is malformed"), "The database file is damaged"),
        (of_server("53100"), FULL),
        (of_server("25006"), READ_ONLY),
        (of_server("57P01"), "The database server does not answer"),
    ],
    ids=str,
)
def test_a_trouble_of_the_machine_has_its_sentence(fault: Exception, heading: str) -> None:
    trouble = trouble_of(fault)
    assert trouble is not None
    assert trouble.heading == heading
    assert trouble.sentence.startswith(heading)


@pytest.mark.parametrize(
    "fault", [ValueError("disk is full"), OperationalError("no such table: x"), FileNotFoundError(2, "No such file")]
)
def test_a_fault_of_the_program_stays_one(fault: Exception) -> None:
    assert trouble_of(fault) is None


def test_what_cannot_be_opened_is_looked_at_closer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite says no more than that it could not open or write a file; the disk itself tells why."""
    fault = OperationalError("unable to open database file")
    monkeypatch.setattr(machine_faults.os, "access", lambda path, mode: False)
    assert trouble_of(fault).heading == READ_ONLY  # type: ignore[union-attr]
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(machine_faults.shutil, "disk_usage", lambda path: usage._replace(free=4096))
    assert trouble_of(fault).heading == FULL  # type: ignore[union-attr]


@pytest.fixture
def full_book(db: None) -> Iterator[None]:
    """A book in which no more pages fit, as SQLite itself counts them; what is free inside takes a person or two."""
    if connection.vendor != "sqlite":
        pytest.skip("a server cannot be filled up here; its code for it is asked above")
    with connection.cursor() as cursor:
        pages = cursor.execute("PRAGMA page_count").fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        yield
        cursor.execute("PRAGMA max_page_count = 1073741823")


def long_person(token: str) -> dict[str, str]:
    return {"name": "Ada Marsh", "kind": "customer", "note": "x" * 900, "without_place": "on", "token": token}


@pytest.mark.usefixtures("full_book")
def test_a_form_that_finds_no_room_says_so_and_what_is_safe(keeper_client: Client) -> None:
    tokens = [form_tokens.new_token() for _ in range(200)]
    answers = [keeper_client.post(reverse("people:new"), long_person(token)) for token in tokens]
    refused = [answer for answer in answers if answer.status_code != 302]
    said = refused[0].content.decode()
    assert {answer.status_code for answer in refused} == {503}
    assert FULL in said
    assert SAFE in said
    assert str(settings.DATA_DIR) not in said
    assert Person.objects.count() == len(answers) - len(refused)


@pytest.mark.django_db
def test_what_was_written_before_the_trouble_is_answered_as_written(keeper_client: Client, monkeypatch: Any) -> None:
    """The action is done and then the session finds no room: the keeper must not type it again."""

    def no_room(*args: Any, **kwargs: Any) -> None:
        raise OperationalError("database or disk is full")

    keeper_client.raise_request_exception = False
    monkeypatch.setattr("django.contrib.sessions.backends.db.SessionStore.save", no_room)
    token = form_tokens.new_token()
    sent = {"name": "Liner", "on_shelf": "1", "order_below": "5", "add": "1", "token": token}
    answer = keeper_client.post(reverse("shipments:supplies"), sent)
    assert (answer.status_code, answer["Location"]) == (302, reverse("shipments:supplies"))
    asked = keeper_client.post(reverse("shipments:supplies"), sent | {"token": form_tokens.new_token()})
    assert asked.status_code == 422


def test_the_log_says_a_trouble_in_one_line_and_a_fault_of_the_program_with_its_trace() -> None:
    def logged(fault: Exception) -> logging.LogRecord:
        record = logging.LogRecord("x", logging.ERROR, "", 0, "%s: it failed", ("/x/",), (type(fault), fault, None))
        assert machine_faults.SayTrouble().filter(record)
        return record

    assert logged(OSError(errno.ENOSPC, "No space")).exc_info is None
    assert SAFE in logged(OSError(errno.ENOSPC, "No space")).getMessage()
    assert logged(ValueError("x")).exc_info is not None


@pytest.mark.parametrize(
    "words", [("check_ledger",), ("backup", "book.zip"), ("serve", "--port", "8765")], ids=" ".join
)
def test_a_command_on_a_file_that_is_no_database_says_so_without_a_trace(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    (tmp_path / "breeder.sqlite3").write_bytes(b"bark and leaves " * 400)
    done = run(words, {"BREEDER_DATA": str(tmp_path), "BREEDER_DATABASE": ""})
    assert done.returncode == 1
    assert "The database file is damaged" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_command_without_its_server_says_so_without_a_trace(tmp_path: Path) -> None:
    where = {"BREEDER_DATA": str(tmp_path), "BREEDER_DATABASE": "postgresql://nobody@127.0.0.1:9/none"}
    done = run(("check_ledger",), where)
    assert done.returncode == 1
    assert "The database server does not answer" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("below", ["", "book"])
def test_a_data_folder_where_a_file_stands_in_the_way_gets_a_sentence(tmp_path: Path, below: str) -> None:
    (tmp_path / "file").write_text("x")
    done = run(("check_ledger",), {"BREEDER_DATA": str(tmp_path / "file" / below), "BREEDER_DATABASE": ""})
    assert done.returncode == 1
    assert str(tmp_path / "file") in done.stderr
    assert "Traceback" not in done.stderr


def run(words: tuple[str, ...], where: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=settings.BASE_DIR,
        env=os.environ | where | {"DJANGO_SETTINGS_MODULE": "breeder.settings"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


SMALL_DISK = """
mount -t tmpfs -o size=6m tmpfs "$CRAMPED_DISK" && mkdir "$BREEDER_DATA" || exit 1
"$CRAMPED_PYTHON" -m tests.base.cramped """


def cramped(how: str, disk: Path) -> dict[str, Any]:
    """Run a book on a small disk of its own, which nobody but this process sees."""
    if subprocess.run(
        ["unshare", "-m", "mount", "-t", "tmpfs", "tmpfs", disk], capture_output=True, check=False
    ).returncode:
        pytest.skip("no disk can be mounted here (Linux and root are needed); the tests above stand for it")
    own = {"CRAMPED_DISK": str(disk), "BREEDER_DATA": str(disk / "book"), "TMPDIR": str(disk / "book")}
    own |= {"CRAMPED_PYTHON": sys.executable, "BREEDER_DATABASE": ""}
    done = subprocess.run(
        ["unshare", "-m", "sh", "-c", SMALL_DISK + how],
        cwd=settings.BASE_DIR,
        env=os.environ | own,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    return dict(json.loads(done.stdout))


@pytest.mark.skipif(shutil.which("unshare") is None, reason="no disk can be mounted here")
@pytest.mark.parametrize(("how", "heading"), [("fill", FULL), ("read-only", READ_ONLY)])
def test_a_book_on_such_a_disk_says_so_everywhere_and_goes_on_afterwards(
    tmp_path: Path, how: str, heading: str
) -> None:
    """The disk is real: a small one, filled to the last block, then one that is made read-only."""
    found = cramped(how, tmp_path)
    for name in ("page", "orders", "form", "log-in", "photo"):
        assert (found[name]["status"], heading in found[name]["text"]) == (503, True), name
        assert SAFE in found[name]["text"]
        assert str(tmp_path) not in found[name]["text"]
    for name, done in found["commands"].items():
        assert done["code"] == 1, name
        assert "Traceback" not in done["text"], name
        assert heading in done["text"], done["text"]
    assert found["people meanwhile"] == 0
    assert (found["after"]["status"], found["people"], found["differences"]) == (302, 1, 0)
