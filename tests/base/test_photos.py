"""Photos that strangers may have made: three kinds are decoded, bounded before a pixel is read, and nothing is run."""

import contextlib
import io
import json
import os
import random
import struct
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as kept_settings
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import EpsImagePlugin, Image

from breeder.base import image_pixels, photos
from breeder.base.models import Photo
from tests.build import tub


def saved(picture: Image.Image, kind: str, **how: Any) -> bytes:
    file = io.BytesIO()
    picture.save(file, kind, **how)
    return file.getvalue()


def shaded(width: int, height: int, mode: str = "RGB") -> Image.Image:
    """Return a picture whose brightness runs from top to bottom."""
    return Image.linear_gradient("L").resize((width, height)).convert(mode)


def test_a_drawing_named_like_a_photo_runs_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pillow hands PostScript to Ghostscript; a stand-in that leaves a mark takes its place here."""
    mark, program = tmp_path / "it-ran", tmp_path / "gs"
    program.write_text(f"#!/bin/sh\ntouch {mark}\n")
    program.chmod(0o755)
    monkeypatch.setattr(EpsImagePlugin, "gs_binary", str(program))
    drawing = saved(shaded(40, 30), "EPS")
    with pytest.raises(photos.NotAPhoto, match="‘a.jpg’ is a PostScript drawing file; photos are read from JPEG, PNG"):
        photos.stripped(drawing, "a.jpg")
    assert not mark.exists()
    # The stand-in would have run: asked without a list of kinds, Pillow starts it.
    with contextlib.suppress(OSError):
        Image.open(io.BytesIO(drawing)).load()
    assert mark.exists()


@pytest.mark.parametrize("kind", ["TIFF", "GIF", "BMP", "PDF"])
def test_other_kinds_are_named(kind: str) -> None:
    with pytest.raises(
        photos.NotAPhoto, match=f"is a {kind} file; photos are read from JPEG, PNG and WebP. Save it as"
    ):
        photos.stripped(saved(shaded(40, 30), kind), "tub.jpg")


@pytest.mark.parametrize(
    ("start", "name"), [(b"ftypheic", "an HEIC"), (b"ftypavif", "an AVIF"), (b"ftypisom", "a film")]
)
def test_other_kinds_of_a_phone_are_named(start: bytes, name: str) -> None:
    """First bytes by ISO/IEC 14496-12 (the box `ftyp`), brands by ISO/IEC 23008-12."""
    with pytest.raises(photos.NotAPhoto, match=f"is {name} file"):
        photos.stripped(b"\x00\x00\x00\x18" + start + bytes(40), "tub.heic")


@pytest.mark.parametrize(
    ("kind", "mode", "how"),
    [
        *[("JPEG", mode, {}) for mode in ("RGB", "L", "CMYK")],
        *[("JPEG", mode, {"progressive": True}) for mode in ("RGB", "L", "CMYK")],
        ("MPO", "RGB", {"save_all": True}),
        *[("PNG", mode, {}) for mode in ("RGB", "L", "RGBA", "P")],
        *[("WEBP", mode, {"lossless": True}) for mode in ("RGB", "RGBA")],
    ],
)
def test_a_photo_keeps_its_looks(kind: str, mode: str, how: dict[str, Any]) -> None:
    kept = Image.open(io.BytesIO(photos.stripped(saved(shaded(3000, 2000, mode), kind, **how), "tub")))
    assert (kept.size, kept.mode, kept.format) == ((1600, 1067), "RGB", "JPEG")
    for share in (0.1, 0.5, 0.9):
        assert kept.getpixel((800, int(1067 * share))) == pytest.approx((255 * share,) * 3, abs=6)


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
@pytest.mark.parametrize(
    ("size", "kind", "how", "sentence"),
    [
        ((9000, 5600), "JPEG", {}, "has 50.4 million pixels; 50 million fit in a JPEG file"),
        ((8000, 6000), "JPEG", {"progressive": True}, "has 48.0 million pixels; 32 million fit in such a progressive"),
        ((3500, 2300), "PNG", {}, "has 8.1 million pixels; 8 million fit in a PNG file"),
        ((3500, 2300), "WEBP", {}, "has 8.1 million pixels; 8 million fit in a WEBP file"),
    ],
)
def test_too_many_pixels_are_refused_unread(
    size: tuple[int, int], kind: str, how: dict[str, Any], sentence: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = saved(Image.new("L" if kind != "JPEG" else "RGB", size), kind, **how)
    monkeypatch.setattr(image_pixels, "small", lambda picture: pytest.fail("its pixels were read"))
    with pytest.raises(photos.NotAPhoto, match=sentence):
        photos.stripped(content, "tub")


def test_a_photo_that_says_it_is_huge_is_refused_unread() -> None:
    """The frame of a JPEG says height and width, 2 bytes each, 5 bytes behind its mark (ITU-T T.81, B.2.2)."""
    content = saved(shaded(40, 30), "JPEG")
    at = content.index(b"\xff\xc0") + 5
    huge = content[:at] + struct.pack(">HH", 12_000, 16_000) + content[at + 4 :]
    with pytest.raises(photos.NotAPhoto, match="has more than 100 million pixels"):
        photos.stripped(huge, "tub.jpg")


def test_a_file_that_is_too_large_is_refused_unread() -> None:
    class Large(SimpleUploadedFile):
        def read(self, *args: Any) -> bytes:
            return pytest.fail("it was read")

    large = Large("tub.jpg", b"")
    large.size = 18_600_000
    with pytest.raises(photos.NotAPhoto, match="‘tub.jpg’ has more than 18 MB, and no more fit"):
        photos.keep_photo(large, by=None, at=timezone.now())


def test_a_photo_that_is_walked_over_again_and_again_is_refused() -> None:
    """A progressive JPEG may repeat its last pass as often as its maker likes; each walk over it takes time."""
    content = saved(shaded(400, 300), "JPEG", progressive=True)
    last = content.rindex(image_pixels.START_OF_PASS)
    bomb = content[:last] + content[last:-2] * 200 + content[-2:]
    with pytest.raises(photos.NotAPhoto, match="is not a photo that can be read"):
        photos.stripped(bomb, "tub.jpg")
    assert photos.stripped(content, "tub.jpg")


@pytest.mark.parametrize("size", [(6000, 1), (1, 6000), (1, 1), (6000, 2)])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_thin_or_tiny_photo_is_one_too(size: tuple[int, int], kind: str) -> None:
    kept = Image.open(io.BytesIO(photos.stripped(saved(Image.new("RGB", size), kind), "tub")))
    assert kept.size == tuple(min(side, 1600) for side in size) or kept.size == (1600, 1)


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
def test_a_photo_damaged_anywhere_is_kept_or_gets_a_sentence() -> None:
    """Drawn with a fixed seed; longer runs of the same found files whose colors have no width, for one."""
    draw, whole = random.Random(7), shaded(60, 40)
    kinds = [("JPEG", {}), ("JPEG", {"progressive": True}), ("PNG", {}), ("WEBP", {}), ("MPO", {"save_all": True})]
    good = [saved(whole, kind, **how) for kind, how in kinds]
    refused = 0
    for _ in range(6000):
        content = bytearray(draw.choice(good))
        for _ in range(draw.choice((1, 2, 8))):
            content[draw.randrange(min(len(content), draw.choice((60, 300, len(content)))))] = draw.randrange(256)
        try:
            photos.stripped(bytes(content), "tub")
        except photos.NotAPhoto:
            refused += 1
    assert 1000 < refused < 5500


MEASURED = """
import json, pathlib, sys, django; django.setup()
from breeder.base import photos
def status(name):
    return next(int(row.split()[1]) for row in open("/proc/self/status") if row.startswith(name)) / 1000
more = {}
for name in sys.argv[1:]:
    before = status("VmRSS")
    pathlib.Path("/proc/self/clear_refs").write_text("5")
    photos.stripped(pathlib.Path(name).read_bytes(), name)
    more[pathlib.Path(name).name] = status("VmHWM") - before
print(json.dumps(more))
"""


@pytest.mark.skipif(not Path("/proc/self/clear_refs").exists(), reason="only Linux tells the most memory of a process")
def test_the_largest_photos_take_little_memory(tmp_path: Path) -> None:
    """At most 120 MB more than before, the file itself included; a plain reading of 50 million pixels takes 450."""
    many = {
        "plain.jpg": saved(shaded(8660, 5770), "JPEG", quality=95, subsampling=0),
        "passes.jpg": saved(shaded(4000, 3000, "CMYK"), "JPEG", progressive=True),
        "alpha.png": saved(shaded(3460, 2310, "RGBA"), "PNG", compress_level=1),
        "alpha.webp": saved(shaded(3460, 2310, "RGBA"), "WEBP", lossless=True, method=0, quality=0),
    }
    for name, content in many.items():
        (tmp_path / name).write_bytes(content)
    names = [str(tmp_path / name) for name in many]
    command = [sys.executable, "-c", MEASURED, *names]
    own = os.environ | {"DJANGO_SETTINGS_MODULE": "breeder.settings"}
    done = subprocess.run(command, cwd=kept_settings.BASE_DIR, env=own, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    more = json.loads(done.stdout)
    assert set(more) == set(many)
    assert {name: mb for name, mb in more.items() if mb > 120} == {}


def test_an_entry_is_written_without_a_photo_that_cannot_be_read(keeper_client: Client) -> None:
    number = tub().number
    sent = SimpleUploadedFile("tub.tif", saved(shaded(40, 30), "TIFF"))
    answer = keeper_client.post(
        reverse("cultures:tub_looked", args=[number]), {"photo": sent, "note": "all well"}, follow=True
    )
    assert "‘tub.tif’ is a TIFF file" in answer.content.decode()
    assert "The entry was written without it." in answer.content.decode()
    assert not Photo.objects.exists()


@pytest.mark.django_db
def test_a_photo_whose_file_is_gone_is_not_there(keeper_client: Client, settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path
    photo = Photo(taken_at=timezone.now())
    photo.file.save("tub.jpg", ContentFile(saved(shaded(4, 3), "JPEG")), save=True)
    assert keeper_client.get(reverse("base:photo", args=[photo.pk])).status_code == 200
    Path(photo.file.path).unlink()
    answer = keeper_client.get(reverse("base:photo", args=[photo.pk]))
    assert answer.status_code == 404
