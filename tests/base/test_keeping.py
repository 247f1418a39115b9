"""Backup and restore: every line's free number and every promise reads the same in another database."""

import hashlib
import json
import os
import random
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.core import serializers
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from breeder.base.models import Photo
from breeder.base.roles import KEEPER
from breeder.cultures.models import Culture, Entry, Promise
from breeder.cultures.queries.stock import stock_by_line
from breeder.evaluation.benchmarks import big_book
from breeder.management import backup_file
from breeder.orders.models import Order
from breeder.species.models import Line, Species
from tests.build import address, tub
from tests.conftest import user_in
from tests.orders.stand import agree, counted_line, pack
from tests.servers import postgresql

ONE_PROCESS = """
import sys, json, django; django.setup()
from django.core.management import call_command, CommandError
from django.contrib.auth.models import User
from breeder.cultures.models import Entry, Promise
from breeder.cultures.queries.stock import stock_by_line
call_command("restore", sys.argv[1], stdout=sys.stderr)
call_command("check_ledger", stdout=sys.stderr)
try:
    call_command("restore", sys.argv[1])
    again = ""
except CommandError as refusal:
    again = str(refusal)
first = Entry.objects.first()
moments = {"happened_at": first.happened_at, "recorded_at": first.happened_at}
looked = Entry.objects.create(culture=first.culture, kind="looked", **moments)
print(json.dumps({
    "free": {
        str(pk): {name: stage.free for name, stage in stock.stages.items()} for pk, stock in stock_by_line().items()
    },
    "promises": list(Promise.objects.order_by("pk").values_list("pk", "number", "state")),
    "people": list(User.objects.values_list("username", "groups__name")),
    "next": looked.pk,
    "again": again,
}))
"""


def run(where: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    own = {key: value for key, value in os.environ.items() if key != "BREEDER_DATABASE"} | where
    own["DJANGO_SETTINGS_MODULE"] = "breeder.settings"
    return subprocess.run(
        [sys.executable, *words],
        cwd=settings.BASE_DIR,
        env=own,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


# On a server a backup says how its own transaction sees the rows, so it cannot run inside that of a test.
on_rows = pytest.mark.django_db(transaction=connection.vendor == "postgresql")


@pytest.fixture
def book() -> None:
    """A book with counts, a correction-free ledger, a paid order and a held one."""
    keeper = user_in(KEEPER, "keeper")
    harbour, rook = counted_line("Harbour", 90, kept=20), counted_line("Rook", 60)
    tub(harbour)
    address()
    agree((pack(harbour), 2), by=keeper)
    agree((pack(rook), 1), by=keeper, name="Jürgen Ő")


def expected() -> dict[str, object]:
    return {
        "free": {
            str(pk): {name: stage.free for name, stage in stock.stages.items()} for pk, stock in stock_by_line().items()
        },
        "promises": [list(row) for row in Promise.objects.order_by("pk").values_list("pk", "number", "state")],
        "people": [["keeper", "keeper"]],
    }


@on_rows
@pytest.mark.parametrize("kind", ["a file", "a server"])
def test_every_free_number_and_promise_reads_the_same(book: None, tmp_path: Path, kind: str) -> None:
    kept = backup_file.write_backup(tmp_path / "book.zip")
    assert kept.rows["breeder.Promise"] == 2
    where = {"BREEDER_DATA": str(tmp_path / "other")}
    if kind == "a server":
        where["BREEDER_DATABASE"] = postgresql()
    done = run(where, "-c", ONE_PROCESS, str(tmp_path / "book.zip"))
    assert done.returncode == 0, done.stderr
    read = json.loads(done.stdout.splitlines()[-1])
    assert read.pop("next") > Entry.objects.latest("pk").pk
    assert "already holds" in read.pop("again")
    assert read == expected()


@on_rows
def test_a_damaged_backup_is_refused_whole(book: None, tmp_path: Path) -> None:
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    backup_file.write_backup(good)
    with zipfile.ZipFile(good) as there, zipfile.ZipFile(bad, "w") as here:
        for name in there.namelist():
            content = there.read(name)
            here.writestr(name, content.replace(b"Harbour", b"Harbor!") if name == backup_file.BOOK else content)
    with pytest.raises(backup_file.CannotRestore, match="is damaged"):
        backup_file.restore_backup(bad)


@on_rows
def test_a_backup_damaged_anywhere_gets_a_sentence(book: None, tmp_path: Path) -> None:
    """A sign that fell over on a stick or on the way; the places are drawn with a fixed seed."""
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    backup_file.write_backup(good)
    content, draw = good.read_bytes(), random.Random(4)
    for place in draw.sample(range(len(content)), 60):
        bad.write_bytes(content[:place] + bytes([content[place] ^ 0b101]) + content[place + 1 :])
        with pytest.raises(backup_file.CannotRestore):
            backup_file.restore_backup(bad)


@on_rows
def test_a_damaged_photo_is_met_before_a_row_is_written(book: None, tmp_path: Path) -> None:
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    backup_file.write_backup(good)
    with zipfile.ZipFile(good) as there, zipfile.ZipFile(bad, "w") as here:
        for name in there.namelist():
            here.writestr(name, there.read(name))
        here.writestr(f"{backup_file.PHOTOS}2026/05/tub.jpg", b"bark and leaves")
    bad.write_bytes(bad.read_bytes().replace(b"bark and leaves", b"bark and leavez"))
    with pytest.raises(backup_file.CannotRestore, match="is damaged: photos/2026/05/tub.jpg"):
        backup_file.restore_backup(bad)


@on_rows
def test_photos_that_cannot_be_written_leave_no_row_behind(book: None, tmp_path: Path) -> None:
    """Else the next try would be refused, since the book holds rows, and the photos were lost."""
    here, there = tmp_path / "book.zip", {"BREEDER_DATA": str(tmp_path / "other")}
    backup_file.write_backup(here)
    with zipfile.ZipFile(here, "a") as archive:
        archive.writestr(f"{backup_file.PHOTOS}2026/tub.jpg", b"bark and leaves")
    in_the_way = tmp_path / "other" / "photos"
    in_the_way.parent.mkdir()
    in_the_way.write_text("a file where a folder belongs")
    refused = run(there, "manage.py", "restore", str(here))
    assert refused.returncode == 1
    assert "cannot be written" in refused.stderr
    in_the_way.unlink()
    again = run(there, "manage.py", "restore", str(here))
    assert again.returncode == 0, again.stderr
    assert (in_the_way / "2026" / "tub.jpg").read_bytes() == b"bark and leaves"


@pytest.mark.django_db(transaction=True)
def test_a_row_that_the_database_does_not_take_gets_a_sentence(tmp_path: Path) -> None:
    """A file keeps numbers that a server does not; here two people of one name stand for such a row."""
    user_in(KEEPER, "keeper")
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    backup_file.write_backup(good)
    with zipfile.ZipFile(good) as there, zipfile.ZipFile(bad, "w") as here:
        rows, about = there.read(backup_file.BOOK), json.loads(there.read(backup_file.ABOUT))
        person = next(line for line in rows.splitlines() if b"auth.user" in line)
        rows += person + b"\n"
        about["rows"]["auth.User"] += 1
        about["digest"] = hashlib.sha256(rows).hexdigest()
        here.writestr(backup_file.BOOK, rows)
        here.writestr(backup_file.ABOUT, json.dumps(about))
    User.objects.all().delete()
    with pytest.raises(backup_file.CannotRestore, match="does not take a row"):
        backup_file.restore_backup(bad)
    assert not User.objects.exists()


@on_rows
def test_a_photo_kept_before_the_clock_was_set_is_in_the_backup(book: None, tmp_path: Path, settings: Any) -> None:
    settings.MEDIA_ROOT = tmp_path / "photos"
    settings.MEDIA_ROOT.mkdir()
    photo = settings.MEDIA_ROOT / "tub.jpg"
    photo.write_bytes(b"bark and leaves")
    os.utime(photo, (86_400, 86_400))
    assert backup_file.write_backup(tmp_path / "book.zip").photos == 1
    with zipfile.ZipFile(tmp_path / "book.zip") as archive:
        assert archive.read(f"{backup_file.PHOTOS}tub.jpg") == b"bark and leaves"


@on_rows
def test_a_backup_into_no_file_gets_a_sentence(book: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CommandError, match=r"'\.' cannot be written: .*\. Choose another place\."):
        call_command("backup", ".")
    assert list(tmp_path.iterdir()) == []


@on_rows
def test_a_backup_that_fails_leaves_nothing_behind_and_the_older_one_whole(
    book: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup_file.write_backup(tmp_path / "book.zip")
    before = (tmp_path / "book.zip").read_bytes()
    monkeypatch.setattr(backup_file, "schema", lambda: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        backup_file.write_backup(tmp_path / "book.zip")
    assert [file.name for file in tmp_path.iterdir()] == ["book.zip"]
    assert (tmp_path / "book.zip").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("backup", "book.zip"), "There is no book in"),
        (("restore", "nowhere.zip"), "'nowhere.zip' cannot be read: No such file or directory."),
        (("serve", "--port", "99999"), "99999 is no port. Choose one from 1024 to 65535"),
        (("add_helper", "Bo"), "Nobody can be asked for a password here."),
    ],
)
def test_a_command_that_cannot_run_says_why_in_a_sentence(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    done = run({"BREEDER_DATA": str(tmp_path)}, "manage.py", *words)
    assert done.returncode == 1
    assert said in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("content", [b"", b"PK not really", b"{}"])
def test_what_is_no_backup_is_refused(db: None, tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "odd.zip"
    path.write_bytes(content)
    with pytest.raises(backup_file.CannotRestore, match="is no backup of this book, or a damaged one"):
        backup_file.restore_backup(path)


def test_a_zip_of_something_else_is_refused(db: None, tmp_path: Path) -> None:
    path = tmp_path / "other.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("holiday.txt", "sun")
    with pytest.raises(backup_file.CannotRestore, match="is not a backup"):
        backup_file.restore_backup(path)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("broken", "said"),
    [
        (lambda row: row["fields"].pop("note"), "instead of"),
        (lambda row: row["fields"].update(started_on="some day"), "some day"),
        (lambda row: row.update(model="breeder.nothing"), "nothing"),
    ],
    ids=["a field too few", "a day that is none", "a model that is none"],
)
def test_a_row_that_is_none_of_this_book_is_named(tmp_path: Path, broken: Any, said: str) -> None:
    tub()
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    backup_file.write_backup(good)
    with zipfile.ZipFile(good) as there, zipfile.ZipFile(bad, "w") as here:
        rows, about = there.read(backup_file.BOOK).splitlines(), json.loads(there.read(backup_file.ABOUT))
        at = next(place for place, line in enumerate(rows) if b'"breeder.culture"' in line)
        row = json.loads(rows[at])
        broken(row)
        rows[at] = json.dumps(row).encode()
        book = b"\n".join(rows) + b"\n"
        about["digest"] = hashlib.sha256(book).hexdigest()
        here.writestr(backup_file.BOOK, book)
        here.writestr(backup_file.ABOUT, json.dumps(about))
    Culture.objects.all().delete()
    Line.objects.all().delete()
    Species.objects.all().delete()
    with pytest.raises(backup_file.CannotRestore, match=f"A row of the backup cannot be read.*{said}"):
        backup_file.restore_backup(bad)
    assert not Culture.objects.exists()


@pytest.mark.django_db
def test_every_row_is_written_as_django_writes_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """The form of a backup is Django's JSON Lines (its serializer is the reference), moments to the microsecond."""
    monkeypatch.setattr(big_book, "TUBS", 7)
    for name, number in {"LINES": 3, "ENTRIES": 200, "ORDERS": 20, "PEOPLE": 9, "CUP_LINES": 1, "HELD": 2}.items():
        monkeypatch.setattr(big_book, name, number)
    for name, number in {"PAID": 4, "WAITING_BOXES": 1, "CANCELLED": 4, "CLOSED_TUBS": 1}.items():
        monkeypatch.setattr(big_book, name, number)
    big_book.make(timezone.now())
    Photo.objects.create(file='2026/01/ä "b".jpg', taken_at=timezone.now())
    kinds = set()
    for model in backup_file.book_models():
        for row in model._default_manager.all()[:20]:
            by_django = serializers.serialize("jsonl", [row], cls=backup_file.MicrosecondEncoder)
            written = backup_file._as_django_writes if model._meta.many_to_many else backup_file._line_writer(model)
            assert written(row) == by_django
            kinds.add(model)
    assert {Entry, Photo, User, Order, Line} <= kinds
