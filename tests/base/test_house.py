"""Settings, surroundings, log-in and photos of the house."""

import io
import os
import stat
import struct
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image, ImageOps

from breeder.base import checks, environment, photos
from breeder.base.models import LogRow, Setting

TYPED = {
    "trade_name": "Hollow Log", "return_address": "", "terms": "", "currency": "USD", "postcode": "08608",
    "latitude": "", "longitude": "", "timezone": "UTC", "few_below_packs": "3", "hold_days": "3",
    "comfort_tolerance": "20", "hard_tolerance": "5",
}  # fmt: skip


def test_the_key_is_made_once_and_only_the_owner_reads_it(tmp_path: Path) -> None:
    first = environment.secret_key_in(tmp_path)
    assert environment.secret_key_in(tmp_path) == first
    assert len(first) > 50
    assert stat.S_IMODE((tmp_path / environment.KEY_FILE).stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [environment.KEY_FILE]


def test_a_stick_that_knows_no_links_keeps_the_key_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*names: Path) -> None:
        raise PermissionError(1, "Operation not permitted")  # what Linux says of a link on FAT and exFAT

    monkeypatch.setattr(os, "link", refuse)
    first = environment.secret_key_in(tmp_path)
    assert environment.secret_key_in(tmp_path) == first
    assert [path.name for path in tmp_path.iterdir()] == [environment.KEY_FILE]


def test_a_server_is_named_by_one_url() -> None:
    found = environment.database_from("postgresql://ada:p%40ss@db:5433/stock", Path("/nowhere"))
    assert (found["USER"], found["PASSWORD"], found["HOST"], found["PORT"], found["NAME"]) == (
        "ada", "p@ss", "db", "5433", "stock",
    )  # fmt: skip
    with pytest.raises(ValueError, match="mysql:"):
        environment.database_from("mysql://x", Path("/nowhere"))


@pytest.mark.parametrize("name", list(environment.SQLITE_OPTIONS))
def test_weaker_database_options_stop_every_command(name: str) -> None:
    database = environment.database_from(None, Path("/nowhere"))
    assert checks.faults_of(database) == []
    database["OPTIONS"].pop(name)
    assert [fault.id for fault in checks.faults_of(database)] == ["breeder.E002"]
    assert (
        checks.faults_of({"ENGINE": "django.db.backends.postgresql", "ATOMIC_REQUESTS": True})[0].id == "breeder.E001"
    )


def test_debug_is_off_and_the_policy_is_sent(client: Client, db: None) -> None:
    assert not settings.DEBUG
    policy = client.get(reverse("login"))["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy


@pytest.mark.django_db
class TestSettings:
    def test_the_postcode_sets_place_and_zone(self, keeper_client: Client) -> None:
        assert keeper_client.post(reverse("base:settings"), TYPED).status_code == 302
        kept = Setting.objects.get()
        assert (str(kept.latitude), str(kept.longitude), kept.timezone) == ("40.22", "-74.76", "America/New_York")
        assert LogRow.objects.filter(did="settings changed").exists()

    @pytest.mark.parametrize("west", ["-74.759717", "\u221274.7600001"])
    def test_a_place_is_typed_as_a_map_gives_it_and_kept_rounded(self, keeper_client: Client, west: str) -> None:
        typed = TYPED | {"postcode": "", "latitude": "40.2170534", "longitude": west, "timezone": "America/New_York"}
        assert keeper_client.post(reverse("base:settings"), typed).status_code == 302
        kept = Setting.objects.get()
        assert (str(kept.latitude), str(kept.longitude)) == ("40.22", "-74.76")

    @pytest.mark.parametrize(
        ("changed", "said"),
        [
            ({"postcode": "", "latitude": "400.1234567", "longitude": "1"}, "it lies between -90 and 90"),
            ({"postcode": "", "latitude": "nan", "longitude": "1"}, "‘"),
            ({"postcode": "00000"}, "has no place"),
            ({"currency": "dollars"}, "three capital letters"),
            ({"postcode": "", "timezone": "Mars/Olympus"}, "is not a time zone"),
            ({"postcode": "", "latitude": "40.2"}, "together, or neither"),
            ({"postcode": "", "latitude": "0", "longitude": "0"}, "in the sea off Africa"),
            ({"comfort_tolerance": "150"}, "between 0 and 100 %"),
            ({"hold_days": "-1"}, "‘"),
            ({"hold_days": "4000000"}, "is 4000000; the largest it can be is 3650."),
            ({"few_below_packs": "40000"}, "is 40000; the largest it can be is 10000."),
        ],
    )
    def test_bad_values_get_a_sentence(self, keeper_client: Client, changed: dict[str, str], said: str) -> None:
        answer = keeper_client.post(reverse("base:settings"), TYPED | changed)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert "Hollow Log" in answer.content.decode()
        assert not Setting.objects.exists()

    def test_a_helper_may_not(self, helper_client: Client) -> None:
        assert helper_client.get(reverse("base:settings")).status_code == 403
        assert helper_client.get(reverse("base:log")).status_code == 403
        assert helper_client.get(reverse("base:book")).status_code == 200


def jpeg_with_position() -> bytes:
    exif = Image.Exif()
    exif[0x0110] = "Camera of Ada"
    exif.get_ifd(0x8825)[2] = (40.0, 13.0, 2.0)
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(file, "JPEG", exif=exif)
    return file.getvalue()


def test_a_photo_is_kept_without_position_and_camera(db: None, settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path
    sent = jpeg_with_position()
    assert b"Camera of Ada" in sent
    kept = photos.keep_photo(SimpleUploadedFile("tub.jpg", sent), by=None, at=timezone.now())
    content = kept.file.read()
    assert b"Camera of Ada" not in content
    assert not dict(Image.open(io.BytesIO(content)).getexif())


def jpeg_with_notes(*notes: bytes) -> bytes:
    """Return a wide photo with these entries of twelve bytes in its EXIF."""
    exif = b"Exif\x00\x00II*\x00" + struct.pack("<IH", 8, len(notes)) + b"".join(notes) + bytes(4)
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(file, "JPEG", exif=exif)
    return file.getvalue()


WIDTH_IN_LETTERS = struct.pack("<HHI4s", 256, 2, 4, b"odd\x00")


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_photo_is_kept_upright_whatever_else_its_camera_noted(turn: int) -> None:
    """Pillow's own turning writes all notes once more, and fails at those of the wrong kind."""
    sent = jpeg_with_notes(WIDTH_IN_LETTERS, struct.pack("<HHIHH", 274, 3, 1, turn, 0))
    kept = Image.open(io.BytesIO(photos.stripped(sent, "tub.jpg")))
    assert kept.size == ((40, 30) if turn < 5 else (30, 40))
    plain = Image.open(io.BytesIO(jpeg_with_notes(struct.pack("<HHIHH", 274, 3, 1, turn, 0))))
    assert kept.size == ImageOps.exif_transpose(plain).size


@pytest.mark.parametrize("content", [b"", b"not a photo", jpeg_with_position()[:200], b"\x00" * 5000])
def test_what_is_no_photo_is_refused(content: bytes) -> None:
    with pytest.raises(photos.NotAPhoto, match="is not a photo that can be read"):
        photos.stripped(content, "tub.jpg")


def test_photos_are_for_people_who_log_in(client: Client, db: None) -> None:
    assert client.get(reverse("base:photo", args=[1])).status_code == 302
