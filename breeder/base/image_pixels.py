"""Pixels of a file that a stranger may have made: three kinds of picture, bounded before anything is decoded."""

import io
import struct
from typing import Any

from PIL import Image, PngImagePlugin

MILLION = 1_000_000
LONGEST_SIDE = 1600
MOST_OF_ANY = 50 * MILLION  # pixels of a JPEG, which is decoded at a fraction of its size
MOST_PIXELS = 8 * MILLION  # of a PNG or WebP, which is decoded whole
MOST_BYTES_OF_WEBP = 10 * MILLION  # its decoder keeps a copy of the file
# A JPEG written in several passes is held whole while it is decoded, 2 bytes a value (ITU-T T.81, annex G).
MOST_HELD_BYTES = 96 * MILLION
MOST_PASSES = 50  # usual encoders write about ten; each one costs a walk over the whole picture
START_OF_PASS = b"\xff\xda"  # SOS; inside a pass every 0xFF is followed by 0x00, so the mark is never picture data
FORMATS = ("JPEG", "PNG", "WEBP")

Image.MAX_IMAGE_PIXELS = MOST_OF_ANY
PngImagePlugin.MAX_TEXT_MEMORY = PngImagePlugin.MAX_TEXT_CHUNK

# What Pillow raises at files that are broken in odd ways.
BROKEN = (OSError, SyntaxError, ValueError, TypeError, LookupError, struct.error, ArithmeticError, MemoryError)

# How other kinds of file begin, for a sentence that names what was sent.
OTHER_KINDS = (
    (0, b"II*\x00", "a TIFF"),
    (0, b"MM\x00*", "a TIFF"),
    (0, b"GIF8", "a GIF"),
    (0, b"BM", "a BMP"),
    (0, b"%!PS", "a PostScript drawing"),
    (0, b"\xc5\xd0\xd3\xc6", "a PostScript drawing"),
    (0, b"%PDF", "a PDF"),
    (4, b"ftypavi", "an AVIF"),
    (4, b"ftyphei", "an HEIC"),
    (4, b"ftyphev", "an HEIC"),
    (4, b"ftypmif1", "an HEIC"),
    (4, b"ftyp", "a film"),
)


class TooLarge(Exception):
    """The picture is larger than what is decoded; its text says how large, and what fits."""


class Unreadable(Exception):
    """No picture of a kind that is read, or a broken one."""


def other_kind(content: bytes) -> str:
    """Return what a file is by its first bytes ("a TIFF"), or nothing where they say nothing."""
    return next((kind for at, sign, kind in OTHER_KINDS if content[at : at + len(sign)] == sign), "")


def opened(content: bytes) -> Image.Image:
    """Return the picture with its pixels still unread. Raises Unreadable or TooLarge."""
    try:
        picture = Image.open(io.BytesIO(content), formats=FORMATS)
        kind, most = _limit_for(picture, content)
    except Image.DecompressionBombError:
        raise TooLarge(f"more than {2 * MOST_OF_ANY // MILLION} million pixels; that is far too many") from None
    except BROKEN:
        raise Unreadable from None
    pixels = picture.width * picture.height
    if pixels > most:
        raise TooLarge(f"{pixels / MILLION:.1f} million pixels; {most // MILLION} million fit in {kind}")
    return picture


def _limit_for(picture: Any, content: bytes) -> tuple[str, int]:
    """Return the kind of picture in words, and the most pixels of that kind. Raises Unreadable at too many passes."""
    if picture.format == "WEBP" and len(content) > MOST_BYTES_OF_WEBP:
        raise TooLarge(f"{len(content) / MILLION:.1f} MB; {MOST_BYTES_OF_WEBP // MILLION} MB fit in a WebP file")
    if picture.format in ("PNG", "WEBP"):
        return f"a {picture.format} file", MOST_PIXELS
    if content.count(START_OF_PASS) > MOST_PASSES:
        raise Unreadable
    if _in_one_pass(content, len(picture.getbands())):
        return "a JPEG file", MOST_OF_ANY
    return "such a progressive JPEG file", min(MOST_OF_ANY, int(MOST_HELD_BYTES / _held_a_pixel(picture)))


def _held_a_pixel(picture: Any) -> float:
    """Return the bytes held for a pixel: most files keep their colors at half the width and height."""
    shares = [(across, down) for _, across, down, _ in picture.layer]
    whole = max(across for across, _ in shares) * max(down for _, down in shares)
    return 2 * sum(across * down for across, down in shares) / whole


def _in_one_pass(content: bytes, colors: int) -> bool:
    """Return whether the first pass of a JPEG holds all its colors at once (ITU-T T.81, B.2)."""
    at = 2  # behind the mark of the file's start
    while at + 5 <= len(content):
        mark, length = content[at + 1], int.from_bytes(content[at + 2 : at + 4], "big")
        if content[at] != 0xFF:
            return False
        if mark == 0xFF:  # marks may be filled up with more of the same sign
            at += 1
        elif mark in (0xC2, 0xC6, 0xCA):  # frames that are written progressively
            return False
        elif mark == START_OF_PASS[1]:
            return content[at + 4] == colors
        else:
            at += 2 + length
    return False


def small(picture: Image.Image) -> Image.Image:
    """Return the picture in RGB, at most 1,600 pixels long. Raises Unreadable for one that is broken."""
    try:
        if picture.format == "WEBP":
            picture = _canvas(picture)
        # A JPEG is decoded at half, a quarter or an eighth of its size, never smaller than it is kept.
        shrink = max(1.0, max(picture.size) / LONGEST_SIDE)
        picture.draft(None, (max(1, int(picture.width / shrink)), max(1, int(picture.height / shrink))))
        if picture.mode not in ("RGB", "RGBX"):
            picture = picture.convert("RGB")
        picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
        return picture.convert("RGB")
    except BROKEN:
        raise Unreadable from None


def _canvas(picture: Any) -> Image.Image:
    """Return the first frame of a WebP, its decoder gone: Pillow's own loading holds four whole copies at once."""
    frame = picture._decoder.get_next()
    del picture._decoder
    if frame is None:
        raise Unreadable
    return Image.frombuffer(picture.rawmode, picture.size, frame[0], "raw", picture.rawmode, 0, 1)
