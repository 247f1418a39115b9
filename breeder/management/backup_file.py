"""Backup and restore: the whole book in one file that either database can read.

The file is a ZIP archive with `about.json` (what it is, how many rows of each kind, their digest), `book.jsonl` (one
row a line, in Django's JSON Lines form) and the photos. Nothing in it depends on the database it came from.
"""

import errno
import hashlib
import io
import json
import os
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, time
from itertools import islice
from pathlib import Path
from typing import Any

from django.apps import apps
from django.apps.registry import Apps
from django.conf import settings
from django.contrib.auth.models import Group, User
from django.core import serializers
from django.core.management.color import no_style
from django.core.serializers.json import DjangoJSONEncoder
from django.db import DatabaseError, connection, models, transaction
from django.db.models import Model
from django.utils.encoding import is_protected_type

from breeder.base.machine_faults import trouble_of
from breeder.management.backup_contents import (
    ABOUT,
    ANOTHER,
    BOOK,
    DAMAGED,
    FORM,
    KIND,
    PHOTOS,
    CannotRestore,
    read_about,
    schema,
)
from breeder.management.backup_rows import BATCH, CannotReadRow, load_rows
from breeder.management.older_tables import tables_as_of


class MicrosecondEncoder(DjangoJSONEncoder):
    """Writes times to the microsecond; Django's encoder cuts them to the millisecond, and a replay would differ."""

    def default(self, o: Any) -> Any:
        return o.isoformat() if isinstance(o, datetime | time) else super().default(o)


@dataclass(frozen=True)
class BackupSummary:
    """What a backup holds: rows by model, photos, and the digest of the rows."""

    rows: dict[str, int]
    photos: int
    digest: str

    @property
    def total(self) -> int:
        return sum(self.rows.values())


def book_models() -> list[type[Model]]:
    """Return the models that make up the book, people who log in first, each after those it refers to."""
    app_models = list(apps.get_app_config("breeder").get_models())
    ordered = serializers.sort_dependencies([("breeder", app_models)], allow_cycles=True)
    return [Group, User, *ordered]


def write_backup(path: Path) -> BackupSummary:
    """Write the whole book to `path` as of one moment; only a complete new file replaces an older one."""
    unfinished = path.parent / f"{path.name}.part"  # a folder such as . has no name; replacing it fails
    try:
        kept = _write(unfinished)
        _lay_down(unfinished)
        unfinished.replace(path)
        _lay_down(path.parent)
    finally:
        unfinished.unlink(missing_ok=True)
    return kept


def _lay_down(path: Path) -> None:
    """Wait until a file, or a folder's list of names, is on the disk itself, so that a backup survives a power cut."""
    if path.is_dir() and os.name == "nt":
        return
    handle = os.open(path, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)


def _write(path: Path) -> BackupSummary:
    # A small computer without a clock starts in 1970, before any time that a ZIP can hold; keep such photos too.
    archive = zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False)
    with archive:
        rows, digest = _pack_rows(archive)
        # After the rows, so that their transaction is short; no photo that a row names is removed meanwhile.
        photos = _pack_photos(archive)
        kept = BackupSummary(rows, photos, digest)
        about = {"kind": KIND, "form": FORM, "schema": schema(), "rows": kept.rows, "digest": kept.digest}
        archive.writestr(ABOUT, json.dumps(about, indent=1))
    return kept


def _pack_rows(archive: zipfile.ZipFile) -> tuple[dict[str, int], str]:
    rows, digest = Counter[str](), hashlib.sha256()
    with _one_moment(), archive.open(BOOK, "w", force_zip64=True) as book:
        for lines, label, number in _lines():
            rows[label] += number
            digest.update(lines)
            book.write(lines)
    return dict(rows), digest.hexdigest()


@contextmanager
def _one_moment() -> Iterator[None]:
    """Read the book as of one moment, without keeping anyone from writing."""
    if connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            yield
    else:
        with connection.only_reading(), transaction.atomic():  # type: ignore[attr-defined]
            yield


def backup_summary(path: Path) -> BackupSummary | None:
    """Return what a backup says it holds, unchecked; None if it cannot be read."""
    try:
        with zipfile.ZipFile(path) as archive:
            about = json.loads(archive.read(ABOUT))
            photos = sum(name.startswith(PHOTOS) for name in archive.namelist())
            return BackupSummary(dict(about["rows"]), photos, str(about["digest"]))
    except (OSError, LookupError, TypeError, ValueError, RuntimeError, *DAMAGED):  # RuntimeError: an encrypted archive
        return None


def _lines() -> Iterator[tuple[bytes, str, int]]:
    """Yield rows as lines, many of one model at a time, with its name and their number."""
    for model in book_models():
        written = _as_django_writes if model._meta.many_to_many else _line_writer(model)
        rows = model._default_manager.order_by("pk").iterator(chunk_size=BATCH)
        while batch := list(islice(rows, BATCH)):
            yield "".join(written(row) for row in batch).encode(), model._meta.label, len(batch)


def _as_django_writes(row: Model) -> str:
    return str(serializers.serialize("jsonl", [row], cls=MicrosecondEncoder))


def _line_writer(model: type[Model]) -> Callable[[Model], str]:
    """Return what writes a row of a model as Django's JSON Lines do, but makes its encoder and its names once."""
    label, key = str(model._meta), model._meta.pk
    fields = [(field.name, field) for field in model._meta.concrete_fields if field is not key]
    encode = MicrosecondEncoder(ensure_ascii=False, separators=(",", ": ")).encode

    def write(row: Model) -> str:
        values = {name: _plain(row, field) for name, field in fields}
        return f"{encode({'model': label, 'pk': _plain(row, key), 'fields': values})}\n"

    return write


def _plain(row: Model, field: Any) -> Any:
    value = field.value_from_object(row)
    return value if is_protected_type(value) else field.value_to_string(row)


def _pack_photos(archive: zipfile.ZipFile) -> int:
    folder, packed = Path(settings.MEDIA_ROOT), 0
    for file in sorted(folder.rglob("*")) if folder.is_dir() else ():
        if file.is_file():
            # Photos are compressed already; doing it again would only take time.
            archive.write(file, PHOTOS + file.relative_to(folder).as_posix(), zipfile.ZIP_STORED)
            packed += 1
    return packed


def restore_backup(path: Path) -> BackupSummary:
    """Fill an empty book from a backup, all or nothing. Raises CannotRestore with the reason."""
    try:
        with zipfile.ZipFile(path) as archive:
            about = read_about(archive, path)
            if filled := _first_filled():
                raise CannotRestore(
                    f"This book already holds {filled}. Restore into an empty one: "
                    "choose a new BREEDER_DATA folder or database."
                )
            with tables_as_of(about["schema"], schema()) as models_then, transaction.atomic():
                rows = _load_rows(archive, models_then)
                if rows != about["rows"]:
                    raise CannotRestore(f"'{path}' holds other rows than it says. Use another backup.")
                _reset_sequences()
                # Before the rows are committed: if this stops or the disk is full, restore simply runs again.
                photos = _unpack_photos(archive)
    except DatabaseError as trouble:
        if of_machine := trouble_of(trouble):
            raise CannotRestore(of_machine.sentence) from None
        # For example a number that fits the file and not the server; Django names the column, not the row.
        raise CannotRestore(f"This database does not take a row of '{path}': {trouble} Nothing was restored.") from None
    except OSError as trouble:
        if trouble.errno == errno.EINVAL:  # a damaged part names a position before the start of the file
            raise CannotRestore(f"'{path}' is damaged: it names places outside of itself. {ANOTHER}") from None
        raise CannotRestore(f"'{path}' cannot be read: {trouble.strerror or trouble}. Check its name.") from None
    except DAMAGED:
        raise CannotRestore(
            f"'{path}' is no backup of this book, or a damaged one. Choose a file written by `backup`."
        ) from None
    return BackupSummary(rows, photos, about["digest"])


def _first_filled() -> str:
    """Return what this book already holds as text; the groups that a migration or first run makes do not count."""
    for model in book_models():
        if model is not Group and model._default_manager.exists():
            return f"{model._default_manager.count()} {model._meta.verbose_name_plural}"
    return ""


def _load_rows(archive: zipfile.ZipFile, models_then: Apps) -> dict[str, int]:
    Group.objects.all().delete()
    with archive.open(BOOK) as book:
        try:
            return load_rows(io.TextIOWrapper(book, encoding="utf-8"), models_then)
        except CannotReadRow as trouble:
            raise CannotRestore(f"A row of the backup cannot be read: {trouble}") from None


def _reset_sequences() -> None:
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))  # an older version may have fewer
        counted = [model for model in book_models() if _counts_up(model) and model._meta.db_table in tables]
        for statement in connection.ops.sequence_reset_sql(no_style(), counted):
            cursor.execute(statement)


def _counts_up(model: type[Model]) -> bool:
    return isinstance(model._meta.pk, models.AutoField)


def _unpack_photos(archive: zipfile.ZipFile) -> int:
    folder, unpacked = Path(settings.MEDIA_ROOT).resolve(), 0
    for name in archive.namelist():
        target = (folder / name.removeprefix(PHOTOS)).resolve()
        # A name such as ../../x would leave the folder; no file of ours has one.
        if not name.startswith(PHOTOS) or not target.is_relative_to(folder):
            continue
        content = archive.read(name)
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        except OSError as trouble:
            raise CannotRestore(
                f"'{target}' cannot be written: {trouble.strerror}. Nothing was restored; mend that and try again."
            ) from None
        unpacked += 1
    return unpacked
