"""Photos as they may be kept: drawn anew, so that position, camera and everything else hidden in them is gone."""

import io
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone
from PIL import ExifTags, Image, UnidentifiedImageError

from breeder.base.models import Photo

MOST_BYTES = 12_000_000
LONGEST_SIDE = 1600
JPEG_QUALITY = 85
Image.MAX_IMAGE_PIXELS = 60_000_000

# How the tag Orientation (EXIF 2.3, tag 274) turns a picture; 1 and whatever else stands there: not at all.
TURNS: dict[Any, Image.Transpose] = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


class NotAPhoto(ValidationError):
    """What was sent cannot be kept as a photo."""


def stripped(content: bytes, name: str) -> bytes:
    """Return a photo as JPEG without anything but its picture, upright, at most 1,600 px long. Raises NotAPhoto."""
    if len(content) > MOST_BYTES:
        raise NotAPhoto(
            f"‘{name}’ has {len(content) / 1e6:.0f} MB; {MOST_BYTES / 1e6:.0f} MB fit. Send a smaller photo."
        )
    try:
        with Image.open(io.BytesIO(content)) as picture:
            upright = _upright(picture)
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, struct.error, Image.DecompressionBombError):
        raise NotAPhoto(f"‘{name}’ is not a photo that can be read. Send a JPEG, PNG or WebP.") from None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    clean = io.BytesIO()
    # A new image of the pixels alone: whatever the file carried besides them is left behind.
    fresh = Image.new("RGB", upright.size)
    fresh.paste(upright)
    fresh.save(clean, "JPEG", quality=JPEG_QUALITY)
    return clean.getvalue()


def _upright(picture: Image.Image) -> Image.Image:
    """Return the pixels as the camera was held; its other notes are never written again, since odd ones cannot be."""
    turn = TURNS.get(picture.getexif().get(ExifTags.Base.Orientation))
    plain = picture.convert("RGB")
    return plain if turn is None else plain.transpose(turn)


def keep_photo(upload: UploadedFile, *, by: Any, at: datetime) -> Photo:
    """Keep an uploaded photo. Raises NotAPhoto before anything is written."""
    clean = stripped(upload.read(), upload.name or "The file")
    photo = Photo(taken_at=at, by=by)
    photo.file.save(f"{at:%d-%H%M%S}.jpg", ContentFile(clean), save=True)
    return photo


@dataclass(frozen=True)
class Offered:
    """A photo that goes with an entry, or in a sentence why it could not be kept."""

    photo: Photo | None = None
    fault: str = ""


@contextmanager
def offered(upload: UploadedFile | None, *, by: Any) -> Iterator[Offered]:
    """Keep a photo for the entry that is written inside; a broken one never stops the entry.

    When the entry is refused after all, its photo is thrown away again.
    """
    kept = _offered(upload, by)
    try:
        yield kept
    except BaseException:
        if kept.photo is not None:
            kept.photo.file.delete(save=False)
            kept.photo.delete()
        raise


def _offered(upload: UploadedFile | None, by: Any) -> Offered:
    if upload is None:
        return Offered()
    try:
        return Offered(keep_photo(upload, by=by, at=timezone.now()))
    except NotAPhoto as fault:
        return Offered(fault=f"{' '.join(fault.messages)} The entry was written without it.")
