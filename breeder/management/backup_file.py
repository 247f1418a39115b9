"""Backup and restore: the whole book in one file that either database can read.

The file is a ZIP archive with `about.json` (what it is, how many rows of each kind, their digest), `book.jsonl` (one
row a line, in Django's JSON Lines form) and the photos. Nothing in it depends on the database it came from.
"""

import hashlib
import io
import json
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, time
from itertools import islice
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import Group, User
from django.core import serializers
from django.core.management.color import no_style
from django.core.serializers.json import DjangoJSONEncoder
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Model
from django.utils.encoding import is_protected_type

from breeder.management.backup_rows import BATCH, CannotReadRow, load_rows

KIND = "underbark book"
FORM = 1
ABOUT, BOOK, PHOTOS = "about.json", "book.jsonl", "photos/"
# What Python raises on an archive of which some signs are others than were written, or of which the end is missing.
DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError)


class Exact(DjangoJSONEncoder):
    """Keeps moments to the microsecond; Django's encoder cuts them to the millisecond, and a replay would differ."""

    def default(self, o: Any) -> Any:
        return o.isoformat() if isinstance(o, datetime | time) else super().default(o)


class CannotRestore(Exception):
    """The file or the book does not allow a restore; says why and what to do."""


@dataclass(frozen=True)
class Kept:
    """What a backup holds: rows by model, photos, and the digest of the rows."""

    rows: dict[str, int]
    photos: int
    digest: str

    @property
    def total(self) -> int:
        return sum(self.rows.values())


def models_kept() -> list[type[Model]]:
    """Return the models that make up the book, people who log in first, each after those it refers to."""
    own = list(apps.get_app_config("breeder").get_models())
    ordered = serializers.sort_dependencies([("breeder", own)], allow_cycles=True)
    return [Group, User, *ordered]


def schema() -> str:
    """Return the name of the last migration of the book, which a backup must share to be restored."""
    applied = MigrationRecorder(connection).applied_migrations()
    return max((name for app, name in applied if app == "breeder"), default="")


def write_backup(path: Path) -> Kept:
    """Write the whole book to `path`, one consistent picture; an older file is replaced only by a whole new one."""
    unfinished = path.parent / f"{path.name}.part"  # a folder such as . has no name, and is refused when it is replaced
    try:
        kept = _write(unfinished)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    return kept


def _write(path: Path) -> Kept:
    # A small computer without a clock begins in 1970, before any time that a ZIP can name: such photos are kept too.
    archive = zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False)
    with transaction.atomic(), archive:
        _stand_still()
        rows, digest = Counter[str](), hashlib.sha256()
        with archive.open(BOOK, "w", force_zip64=True) as book:
            for lines, label, number in _lines():
                rows[label] += number
                digest.update(lines)
                book.write(lines)
        photos = _pack_photos(archive)
        kept = Kept(dict(rows), photos, digest.hexdigest())
        about = {"kind": KIND, "form": FORM, "schema": schema(), "rows": kept.rows, "digest": kept.digest}
        archive.writestr(ABOUT, json.dumps(about, indent=1))
    return kept


def _stand_still() -> None:
    """Let this transaction see one moment; on SQLite its write lock does that already."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def _lines() -> Iterator[tuple[bytes, str, int]]:
    """Yield rows as lines, many of one model at a time, with its name and their number."""
    for model in models_kept():
        written = _as_django_writes if model._meta.many_to_many else _line_writer(model)
        rows = model._default_manager.order_by("pk").iterator(chunk_size=BATCH)
        while batch := list(islice(rows, BATCH)):
            yield "".join(written(row) for row in batch).encode(), model._meta.label, len(batch)


def _as_django_writes(row: Model) -> str:
    return str(serializers.serialize("jsonl", [row], cls=Exact))


def _line_writer(model: type[Model]) -> Callable[[Model], str]:
    """Return what writes a row of a model as Django's JSON Lines do, but makes its encoder and its names once."""
    label, key = str(model._meta), model._meta.pk
    fields = [(field.name, field) for field in model._meta.concrete_fields if field is not key]
    encode = Exact(ensure_ascii=False, separators=(",", ": ")).encode

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
            archive.write(file, PHOTOS + file.relative_to(folder).as_posix())
            packed += 1
    return packed


def read_about(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    """Return what a backup says of itself. Raises CannotRestore if it is none, is of another form, or is damaged."""
    try:
        about = json.loads(archive.read(ABOUT))
    except (KeyError, ValueError):
        raise CannotRestore(f"'{path}' is not a backup of this book. Choose a file written by `backup`.") from None
    if about.get("kind") != KIND or about.get("form") != FORM:
        raise CannotRestore(f"'{path}' was written in another form. Use the version that wrote it.")
    if about["schema"] != schema():
        raise CannotRestore(
            f"'{path}' comes from version '{about['schema']}' of the book, and this one is at '{schema()}'. "
            "Restore with the version that wrote it, then bring that up to date."
        )
    if _digest_of(archive) != about["digest"]:
        raise CannotRestore(f"'{path}' is damaged: its rows are not those that were written. Use another backup.")
    # Photos are unpacked when the rows are in: a damaged one must be met before.
    if damaged := archive.testzip():
        raise CannotRestore(f"'{path}' is damaged: {damaged} is not what was written. Use another backup.")
    return about


def _digest_of(archive: zipfile.ZipFile) -> str:
    digest = hashlib.sha256()
    try:
        with archive.open(BOOK) as book:
            while block := book.read(1 << 20):
                digest.update(block)
    except (KeyError, *DAMAGED):
        return ""
    return digest.hexdigest()


def restore_backup(path: Path) -> Kept:
    """Fill an empty book from a backup, all or nothing. Raises CannotRestore with the reason."""
    try:
        with zipfile.ZipFile(path) as archive:
            about = read_about(archive, path)
            if filled := _first_filled():
                raise CannotRestore(
                    f"This book already holds {filled}. Restore into an empty one: "
                    "choose a new BREEDER_DATA folder or database."
                )
            with transaction.atomic():
                rows = _load_rows(archive)
                if rows != about["rows"]:
                    raise CannotRestore(f"'{path}' holds other rows than it says. Use another backup.")
                _reset_sequences()
                # Before the rows are there for good: whoever is stopped here, or has no room left, restores once more.
                photos = _unpack_photos(archive)
    except DatabaseError as trouble:
        # Such as a number that a file keeps and a server does not; Django names the column, not the row.
        raise CannotRestore(f"This database does not take a row of '{path}': {trouble} Nothing was restored.") from None
    except OSError as trouble:
        raise CannotRestore(f"'{path}' cannot be read: {trouble.strerror or trouble}. Check its name.") from None
    except DAMAGED:
        raise CannotRestore(
            f"'{path}' is no backup of this book, or a damaged one. Choose a file written by `backup`."
        ) from None
    return Kept(rows, photos, about["digest"])


def _first_filled() -> str:
    """Return what this book already holds, in words; the groups that a migration or first run makes do not count."""
    for model in models_kept():
        if model is not Group and model._default_manager.exists():
            return f"{model._default_manager.count()} {model._meta.verbose_name_plural}"
    return ""


def _load_rows(archive: zipfile.ZipFile) -> dict[str, int]:
    Group.objects.all().delete()
    with archive.open(BOOK) as book:
        try:
            return load_rows(io.TextIOWrapper(book, encoding="utf-8"))
        except CannotReadRow as trouble:
            raise CannotRestore(f"A row of the backup cannot be read: {trouble}") from None


def _reset_sequences() -> None:
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), [m for m in models_kept() if _counts_up(m)]):
            cursor.execute(statement)


def _counts_up(model: type[Model]) -> bool:
    return isinstance(model._meta.pk, models.AutoField)


def _unpack_photos(archive: zipfile.ZipFile) -> int:
    folder, unpacked = Path(settings.MEDIA_ROOT).resolve(), 0
    for name in archive.namelist():
        target = (folder / name.removeprefix(PHOTOS)).resolve()
        # A name such as ../../x would leave the folder; such a file is not one of ours.
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
