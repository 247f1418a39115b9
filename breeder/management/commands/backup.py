"""`manage.py backup FILE`: write the whole book, with photos, to one file for either database."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from breeder.management.backup_file import schema, write_backup


class Command(BaseCommand):
    help = "Write the whole book (rows and photos) to one file. It holds addresses and password hashes: keep it safe."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        if not schema():
            raise CommandError(f"There is no book in {settings.DATA_DIR} yet. Name its folder in BREEDER_DATA.")
        try:
            kept = write_backup(file)
        except OSError as trouble:
            raise CommandError(_failure_text(file, trouble)) from None
        self.stdout.write(f"{kept.total} rows and {kept.photos} photos are in {file}.")


def _failure_text(file: Path, trouble: OSError) -> str:
    """Return which file could not be read or written; an older backup of that name is still there."""
    if isinstance(trouble.filename, str | Path) and Path(trouble.filename).is_relative_to(settings.MEDIA_ROOT):
        photo = f"The photo '{trouble.filename}' cannot be read: {trouble.strerror}."
        return f"{photo} No backup was written, and the book is as it was. Mend that first."
    return (
        f"'{file}' cannot be written: {trouble.strerror}. The book is as it was, and so is an older backup there. "
        "Choose another place."
    )
