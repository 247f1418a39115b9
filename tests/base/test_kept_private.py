"""Files on the disk are their owner's alone; answers are kept nowhere, compressed, and without a body for HEAD."""

import gzip
import os
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from wsgiref.util import FileWrapper, setup_testing_defaults

import pytest
from django.conf import settings as kept_settings
from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.base.models import Photo
from breeder.wsgi import application
from tests.base.test_photos import saved, shaded

SPEAKS = {"BREEDER_HELPER_PASSWORD": "a long tub of springtails"}
OPEN_MODE, OPEN_FOLDER = 0o644, 0o755


def run(folder: Path, *words: str) -> None:
    """Run a command as on a machine where everybody reads what anybody writes."""
    own = {name: value for name, value in os.environ.items() if name != "BREEDER_DATABASE"}
    done = subprocess.run(
        ["sh", "-c", 'umask 022; exec "$@"', "sh", sys.executable, "manage.py", *words],
        cwd=kept_settings.BASE_DIR,
        env=own | SPEAKS | {"BREEDER_DATA": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def open_to_others(folder: Path) -> list[str]:
    return [
        f"{path.name} {stat.filemode(path.stat().st_mode)}"
        for path in (folder, *folder.rglob("*"))
        if stat.S_IMODE(path.stat().st_mode) & 0o077
    ]


@pytest.mark.skipif(os.name != "posix", reason="only POSIX knows such rights")
def test_book_key_photos_and_backups_are_their_owners_alone(tmp_path: Path) -> None:
    """Also what an older version left open is closed, when the book is opened."""
    folder = tmp_path / "book"
    older = folder / "photos" / "2026" / "tub.jpg"
    older.parent.mkdir(parents=True)
    older.write_bytes(b"bark and leaves")
    for path in (folder, older.parent, older):
        path.chmod(OPEN_FOLDER if path.is_dir() else OPEN_MODE)
    run(folder, "add_helper", "Bo")
    assert (folder / "breeder.sqlite3").exists()
    assert open_to_others(folder) == []
    run(folder, "backup", str(tmp_path / "book.zip"))
    assert stat.S_IMODE((tmp_path / "book.zip").stat().st_mode) == 0o600
    other = tmp_path / "other"
    run(other, "restore", str(tmp_path / "book.zip"))
    assert (other / "photos" / "2026" / "tub.jpg").exists()
    assert open_to_others(other) == []


@pytest.fixture
def photo(db: None, settings: Any, tmp_path: Path) -> Photo:
    settings.MEDIA_ROOT = tmp_path / "photos"
    kept = Photo(taken_at=timezone.now())
    kept.file.save("tub.jpg", ContentFile(saved(shaded(400, 300), "JPEG")), save=True)
    return kept


def test_a_new_photo_is_its_owners_alone(photo: Photo, tmp_path: Path) -> None:
    assert open_to_others(tmp_path / "photos") == []


@pytest.fixture(autouse=True)
def _connections_stay_open() -> Iterator[None]:
    """A server closes its connections around each request; here they hold what the test has not written for good."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def asked(method: str, path: str, client: Client | None = None, **headers: str) -> tuple[str, dict[str, str], bytes]:
    """Ask as a server does, whose test client would leave the body of HEAD out by itself."""
    environ: dict[str, Any] = {"REQUEST_METHOD": method, "PATH_INFO": path, "HTTP_HOST": "localhost"} | headers
    setup_testing_defaults(environ)
    environ |= {"SERVER_NAME": "localhost", "wsgi.file_wrapper": FileWrapper}
    if client:
        environ["HTTP_COOKIE"] = "; ".join(f"{name}={morsel.value}" for name, morsel in client.cookies.items())
    heard: list[Any] = []
    answer = application(environ, lambda status, headers: heard.extend([status, dict(headers)]))
    body = b"".join(answer)
    answer.close()
    return heard[0], heard[1], body


def test_head_gets_the_headers_of_get_and_no_body(keeper_client: Client, photo: Photo) -> None:
    for path in (
        reverse("base:book"),
        reverse("base:photo", args=[photo.pk]),
        "/static/breeder/notebook.css",
        "/no/",
    ):
        status, headers, body = asked("GET", path, keeper_client)
        bare_status, bare, nothing = asked("HEAD", path, keeper_client)
        assert (bare_status, nothing) == (status, b"")
        assert body
        assert bare["Content-Type"] == headers["Content-Type"]
        assert int(bare["Content-Length"]) == int(headers["Content-Length"])


def test_text_is_compressed_and_pictures_are_not(keeper_client: Client, photo: Photo) -> None:
    wish = {"HTTP_ACCEPT_ENCODING": "gzip"}
    for path in (reverse("base:settings"), reverse("base:book"), "/static/breeder/notebook.css"):
        plain = asked("GET", path, keeper_client)[2]
        _, headers, body = asked("GET", path, keeper_client, **wish)
        assert headers["Content-Encoding"] == "gzip", path
        assert "Accept-Encoding" in headers["Vary"]
        assert len(body) < len(plain) / 2 + 100
        assert gzip.decompress(body)[:200] == plain[:200]
    _, headers, body = asked("GET", reverse("base:photo", args=[photo.pk]), keeper_client, **wish)
    assert "Content-Encoding" not in headers
    assert body == photo.file.read()


def test_a_part_of_a_file_stays_a_part(db: None) -> None:
    style = {"HTTP_ACCEPT_ENCODING": "gzip", "HTTP_RANGE": "bytes=0-999"}
    status, headers, body = asked("GET", "/static/breeder/notebook.css", **style)
    assert (status[:3], len(body), "Content-Encoding" in headers) == ("206", 1000, False)


def test_nothing_that_is_behind_the_log_in_is_kept(keeper_client: Client, photo: Photo, keeper: User) -> None:
    pages = [
        reverse(name) for name in ("dashboard:page", "base:book", "base:settings", "orders:csv", "storefront:public")
    ]
    for page in [*pages, reverse("base:photo", args=[photo.pk]), "/no/such/page/"]:
        assert keeper_client.get(page)["Cache-Control"] == "private, no-store", page
    assert keeper_client.post(reverse("base:settings"), {})["Cache-Control"] == "private, no-store"
    assert keeper_client.post(reverse("logout"))["Cache-Control"] == "private, no-store"


def test_a_stranger_gets_style_and_public_list_from_any_cache(client: Client, db: None) -> None:
    assert "no-store" not in asked("GET", "/static/breeder/notebook.css")[1].get("Cache-Control", "")
