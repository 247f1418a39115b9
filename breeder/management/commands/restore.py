"""`manage.py restore FILE`: fill an empty book from a backup, all or nothing."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from breeder.cultures.belief_renewal import renew
from breeder.management.backup_file import CannotRestore, restore_backup


class Command(BaseCommand):
    help = "Fill an empty book from a file written by `backup`; works from SQLite to PostgreSQL and back."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        try:
            kept = restore_backup(file)
        except CannotRestore as refusal:
            raise CommandError(str(refusal)) from None
        renew()  # the version that wrote the file may have computed its numbers differently
        self.stdout.write(f"{kept.total} rows and {kept.photos} photos were restored. Prove them with check_ledger.")
