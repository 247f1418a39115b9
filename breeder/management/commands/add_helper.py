"""`manage.py add_helper NAME`: add a person who walks the round and packs."""

import os
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from breeder.base.roles import HELPER
from breeder.management import server


class Command(BaseCommand):
    help = "Add a helper: walks the round, looks after tubs, packs; sees no customers and no prices."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name")

    def handle(self, *args: Any, name: str, **options: Any) -> None:
        server.bring_up_to_date()
        password = os.environ.get("BREEDER_HELPER_PASSWORD") or server.ask_password()
        server.add_person(name, password, HELPER)
        self.stdout.write(f"{name} may log in as a helper.")
