"""The page of backups: made beside the pages, one at a time, shown with what it holds, and taken away whole."""

import multiprocessing
import re
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.urls import reverse

from breeder.base import backups
from breeder.base.models import LogRow
from breeder.management import backup_file
from tests.build import tub

# On a server a backup says how its own transaction sees the rows, so it cannot run inside that of a test.
pytestmark = pytest.mark.django_db(transaction=connection.vendor == "postgresql")


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.DATA_DIR = tmp_path
    settings.MEDIA_ROOT = tmp_path / "photos"
    monkeypatch.setattr(backups, "run_beside", at_once)


def at_once(job: Callable[[], None]) -> None:
    job()


def page_of(client: Client) -> str:
    return str(client.get(reverse("base:backup")).content.decode())


def test_one_is_made_shown_and_downloaded(keeper_client: Client, tmp_path: Path) -> None:
    tub()
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "tub.jpg").write_bytes(b"bark and leaves")
    assert "No backup was made from this page yet." in page_of(keeper_client)
    answer = keeper_client.post(reverse("base:backup"), follow=True)
    page = answer.content.decode()
    assert re.search(r"A backup was made: \d+ rows and 1 photo\.", page)
    assert "<td>Tubs</td>" in page
    assert "manage.py restore FILE" in page
    last = backups.last()
    assert last is not None
    assert last.photos == 1
    assert dict(last.rows)["tubs"] == 1
    sent = keeper_client.get(reverse("base:backup_file"))
    assert sent["Content-Disposition"] == f'attachment; filename="{last.file_name}"'
    assert sent["Cache-Control"] == "private, no-store"
    content = b"".join(sent.streaming_content)  # type: ignore[attr-defined]
    assert len(content) == last.size
    with zipfile.ZipFile(BytesIO(content)) as archive:
        assert archive.testzip() is None
        assert archive.read(f"{backup_file.PHOTOS}tub.jpg") == b"bark and leaves"
        assert backup_file.read_about(archive, Path("book.zip"))["rows"]["auth.User"] == 1
    assert LogRow.objects.get(did="backup made").by == User.objects.get()


def test_a_try_that_fails_says_why_beside_the_button_and_leaves_the_older_one(
    keeper_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = keeper_client.post(reverse("base:backup"), follow=True).content.decode()
    assert "A backup was made" in done.split('id="reply"')[1].split("<button")[0]
    before = backups.path().read_bytes()

    def no_room(path: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup_file, "write_backup", no_room)
    page = keeper_client.post(reverse("base:backup"), follow=True).content.decode()
    assert "The backup could not be made: No space left on device. The one before is untouched." in page
    assert "The backup failed." in page.split('id="reply"')[1].split("<button")[0]
    assert "A backup was made" not in page
    assert backups.path().read_bytes() == before


def hold(folder: str, holds: Any, let_go: Any) -> None:
    backups.path = lambda: Path(folder) / "backups" / "book.zip"  # type: ignore[assignment]
    with backups._alone() as free:
        assert free
        holds.set()
        let_go.wait(30)


@pytest.mark.skipif(backups.fcntl is None, reason="this system has no such locks between processes")
def test_while_another_process_writes_one_no_second_is_begun(keeper_client: Client, tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork")
    holds, let_go = context.Event(), context.Event()
    other = context.Process(target=hold, args=(str(tmp_path), holds, let_go))
    other.start()
    assert holds.wait(30)
    assert "A backup is being made. You can go on using the book." in page_of(keeper_client)
    assert "Make one now" not in page_of(keeper_client)
    keeper_client.post(reverse("base:backup"))
    assert not backups.path().exists()
    let_go.set()
    other.join(30)
    assert "Make one now" in page_of(keeper_client)
    keeper_client.post(reverse("base:backup"))
    assert backups.path().exists()


@pytest.mark.parametrize("content", [b"", b"PK not really", b"{}"])
def test_a_file_that_is_no_backup_is_not_shown_as_one(keeper_client: Client, content: bytes) -> None:
    backups.path().parent.mkdir()
    backups.path().write_bytes(content)
    assert "No backup was made from this page yet." in page_of(keeper_client)
    assert keeper_client.get(reverse("base:backup_file")).status_code == 404


@pytest.mark.parametrize(
    "about",
    ["[]", "7", "{}", '{"rows": 7, "digest": ""}', '{"rows": {"x": 1}, "digest": "", "kind": 1}', "[" * 100_000],
)
def test_an_archive_that_says_odd_things_of_itself_breaks_no_page(keeper_client: Client, about: str) -> None:
    backups.path().parent.mkdir()
    with zipfile.ZipFile(backups.path(), "w") as archive:
        archive.writestr(backup_file.ABOUT, about)
    assert "Make one now" in page_of(keeper_client)
