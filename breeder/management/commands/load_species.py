"""`manage.py load_species`: add the species starter set, and correct mistakes of an earlier one."""

from typing import Any

from django.core.management.base import BaseCommand

from breeder.management import server
from breeder.species.actions import load_starter_set


class Command(BaseCommand):
    help = "Add the species of the starter set that the book does not hold yet. What the keeper changed stays."

    def handle(self, *args: Any, **options: Any) -> None:
        if corrected := server.bring_up_to_date():
            self.stdout.write(f"{corrected} species corrected; the log says what changed.")
        added = load_starter_set()
        self.stdout.write(
            f"{added} species added." if added else "Every species of the starter set is in the book already."
        )
