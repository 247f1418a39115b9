"""Read what a backup says about itself, and trust nothing in it; see `backup_file` for what it holds."""

import hashlib
import json
import lzma
import struct
import zipfile
import zlib
from pathlib import Path
from typing import Any

from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from breeder.management.older_tables import is_older

KIND = "underbark book"
FORM = 1
ABOUT, BOOK, PHOTOS = "about.json", "book.jsonl", "photos/"
# What Python raises for an archive with changed bytes or a missing end.
DAMAGED = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, EOFError, NotImplementedError)
MOST_ABOUT = 1_000_000  # bytes; a book with every kind of row needs about 2,000
ANOTHER = "Use another backup."
ENCRYPTED = 1  # a bit of a part's flags (APPNOTE.TXT 4.4.4, from memory); `backup` never sets it


class CannotRestore(Exception):
    """The file or the book does not allow a restore; the message says why and what to do."""


def schema() -> str:
    """Return the name of the last migration of the book: its version."""
    applied = MigrationRecorder(connection).applied_migrations()
    return max((name for app, name in applied if app == "breeder"), default="")


def read_about(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    """Return what a backup says about itself. Raises CannotRestore for no backup, another format, or a damaged one."""
    if any(part.flag_bits & ENCRYPTED for part in archive.infolist()):
        raise CannotRestore(f"'{path}' is damaged: a part of it claims to have a password. {ANOTHER}")
    about = _about(archive, path)
    if about["schema"] != schema() and not is_older(about["schema"]):
        raise CannotRestore(
            f"'{path}' comes from version '{about['schema']}' of the book, and this one is at '{schema()}'. "
            "Bring this program up to date first."
        )
    if _rows_digest(archive) != about["digest"]:
        raise CannotRestore(f"'{path}' is damaged: its rows are not those that were written. Use another backup.")
    # Photos are unpacked after the rows are in, so a damaged one must show before that.
    if damaged := archive.testzip():
        raise CannotRestore(f"'{path}' is damaged: {damaged} is not what was written. Use another backup.")
    return about


def _about(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    """Return `about.json` with every value of its expected type. Raises CannotRestore naming the part that is not."""
    try:
        if archive.getinfo(ABOUT).file_size > MOST_ABOUT:
            raise CannotRestore(f"'{path}' is damaged: its {ABOUT} has more than {MOST_ABOUT:,} bytes. {ANOTHER}")
        about = json.loads(archive.read(ABOUT))
    except (KeyError, ValueError, RecursionError):
        about = None
    if not isinstance(about, dict) or about.get("kind") != KIND:
        raise CannotRestore(f"'{path}' is not a backup of this book. Choose a file written by `backup`.")
    if about.get("form") != FORM:
        raise CannotRestore(f"'{path}' was written in another form. Use the version that wrote it.")
    for name, shape in (("schema", str), ("digest", str), ("rows", dict)):
        if not isinstance(about.get(name), shape):
            raise CannotRestore(f"'{path}' is damaged: its {ABOUT} does not say '{name}' as it should. {ANOTHER}")
    return about


def _rows_digest(archive: zipfile.ZipFile) -> str:
    digest = hashlib.sha256()
    try:
        with archive.open(BOOK) as book:
            while block := book.read(1 << 20):
                digest.update(block)
    except (KeyError, *DAMAGED):
        return ""
    return digest.hexdigest()
