"""Photos as they may be kept: drawn anew, so that position, camera and everything else hidden in them is gone."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone
from PIL import ExifTags, Image

from breeder.base import image_pixels
from breeder.base.models import Photo

MOST_BYTES = 18_000_000  # below what the server takes of one form
JPEG_QUALITY = 85

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
    _refuse_large(len(content), name)
    try:
        with image_pixels.opened(content) as picture:
            turn = _turn_of(picture)
            plain = image_pixels.small(picture)
    except image_pixels.TooLarge as fault:
        raise NotAPhoto(f"‘{name}’ has {fault}. Send a smaller photo.") from None
    except image_pixels.Unreadable:
        raise NotAPhoto(_why_unreadable(content, name)) from None
    clean = io.BytesIO()
    # A new image of the pixels alone: whatever the file carried besides them is left behind.
    fresh = Image.new("RGB", plain.size)
    fresh.paste(plain)
    (fresh if turn is None else fresh.transpose(turn)).save(clean, "JPEG", quality=JPEG_QUALITY)
    return clean.getvalue()


def _refuse_large(size: int, name: str) -> None:
    if size > MOST_BYTES:
        raise NotAPhoto(f"‘{name}’ has more than {MOST_BYTES // 1_000_000} MB, and no more fit. Send a smaller photo.")


def _why_unreadable(content: bytes, name: str) -> str:
    if kind := image_pixels.other_kind(content):
        return f"‘{name}’ is {kind} file; photos are read from JPEG, PNG and WebP. Save it as JPEG and send it again."
    return f"‘{name}’ is not a photo that can be read. Send a JPEG, PNG or WebP."


def _turn_of(picture: Image.Image) -> Image.Transpose | None:
    """Return how to hold the picture upright; odd notes of a camera turn nothing and spoil nothing."""
    try:
        return TURNS.get(picture.getexif().get(ExifTags.Base.Orientation))
    except image_pixels.BROKEN:
        return None


def keep_photo(upload: UploadedFile, *, by: Any, at: datetime) -> Photo:
    """Keep an uploaded photo. Raises NotAPhoto before anything is written."""
    name = upload.name or "The file"
    _refuse_large(upload.size or 0, name)
    clean = stripped(upload.read(), name)
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
