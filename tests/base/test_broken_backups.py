"""A backup that is damaged, or finds no room, is refused in a sentence; the book and an older backup stay."""

import errno
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.db import OperationalError

from breeder.base.roles import KEEPER
from breeder.management import backup_file
from tests.base.test_keeping import book as book
from tests.base.test_keeping import on_rows
from tests.conftest import user_in


def with_about(good: Path, bad: Path, about: bytes) -> Path:
    """Write a backup that says something else of itself."""
    with zipfile.ZipFile(good) as there, zipfile.ZipFile(bad, "w") as here:
        for name in there.namelist():
            here.writestr(name, about if name == backup_file.ABOUT else there.read(name))
    return bad


@on_rows
@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ([], "is not a backup of this book"),
        ("a word", "is not a backup of this book"),
        (None, "is not a backup of this book"),
        ({"kind": None}, "is not a backup of this book"),
        ({"form": [1]}, "was written in another form"),
        ({"schema": None}, "is damaged: its about.json does not say 'schema'"),
        ({"schema": 7}, "is damaged: its about.json does not say 'schema'"),
        ({"schema": "0000"}, "comes from version '0000'"),
        ({"digest": ["x"]}, "is damaged: its about.json does not say 'digest'"),
        ({"digest": "x"}, "is damaged: its rows are not those"),
        ({"rows": [1, 2]}, "is damaged: its about.json does not say 'rows'"),
        ({"padding": "x" * 1_000_001}, "has more than 1,000,000 bytes"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_broken_words_of_a_backup_about_itself_get_a_sentence(
    book: None, tmp_path: Path, changed: Any, said: str
) -> None:
    good = tmp_path / "good.zip"
    backup_file.write_backup(good)
    with zipfile.ZipFile(good) as archive:
        about = json.loads(archive.read(backup_file.ABOUT))
    about = about | changed if isinstance(changed, dict) else changed
    with pytest.raises(backup_file.CannotRestore, match=said):
        backup_file.restore_backup(with_about(good, tmp_path / "bad.zip", json.dumps(about).encode()))


@on_rows
@pytest.mark.parametrize("about", [b"\xff\xfe", b"[" * 100_000, b"{", b"NaN"], ids=["not text", "deep", "cut", "NaN"])
def test_words_about_a_backup_that_cannot_be_read_get_a_sentence(book: None, tmp_path: Path, about: bytes) -> None:
    good = tmp_path / "good.zip"
    backup_file.write_backup(good)
    with pytest.raises(backup_file.CannotRestore, match="is not a backup of this book"):
        backup_file.restore_backup(with_about(good, tmp_path / "bad.zip", about))


@on_rows
def test_a_backup_whose_table_of_parts_is_damaged_gets_a_sentence(book: None, tmp_path: Path) -> None:
    """Its last 300 bytes are the list of parts; each of them turned over once found what no single try foresees."""
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    backup_file.write_backup(good)
    content = good.read_bytes()
    for place in range(content.index(b"PK\x01\x02"), len(content)):
        for turned in (0xFF, 0x01):
            bad.write_bytes(content[:place] + bytes([content[place] ^ turned]) + content[place + 1 :])
            with pytest.raises(backup_file.CannotRestore):
                backup_file.restore_backup(bad)


@on_rows
def test_a_backup_to_a_full_disk_says_so_and_leaves_the_older_one(book: None, tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    backup_file.write_backup(tmp_path / "book.zip")
    before = (tmp_path / "book.zip").read_bytes()
    (tmp_path / "book.zip.part").symlink_to("/dev/full")
    with pytest.raises(CommandError, match="No space left on device. The book is as it was, and so is an older backup"):
        call_command("backup", str(tmp_path / "book.zip"))
    assert (tmp_path / "book.zip").read_bytes() == before


@on_rows
def test_a_photo_that_cannot_be_read_is_named(book: None, tmp_path: Path, settings: Any, monkeypatch: Any) -> None:
    settings.MEDIA_ROOT = tmp_path / "photos"
    settings.MEDIA_ROOT.mkdir()
    (settings.MEDIA_ROOT / "tub.jpg").write_bytes(b"bark")

    def unreadable(self: Any, name: Any, *args: Any) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(name))

    monkeypatch.setattr(zipfile.ZipFile, "write", unreadable)
    with pytest.raises(CommandError, match="The photo '.*tub.jpg' cannot be read: Permission denied."):
        call_command("backup", str(tmp_path / "book.zip"))


@pytest.mark.django_db(transaction=True)
def test_a_restore_that_finds_no_room_says_so(tmp_path: Path, monkeypatch: Any) -> None:
    user_in(KEEPER, "keeper")
    backup_file.write_backup(tmp_path / "book.zip")
    User.objects.all().delete()

    def no_room(*given: Any) -> None:
        raise OperationalError("database or disk is full")

    monkeypatch.setattr(backup_file, "_load_rows", no_room)
    with pytest.raises(backup_file.CannotRestore, match="The disk is full .* Nothing of this was written"):
        backup_file.restore_backup(tmp_path / "book.zip")
