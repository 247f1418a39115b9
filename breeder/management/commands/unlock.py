"""`manage.py unlock NAME`: let a person log in again whose name was tried too often."""

from argparse import ArgumentParser
from typing import Any

from axes.utils import reset
from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = "Forget the wrong tries to log in with this name, so that the right password works again at once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name")

    def handle(self, *args: Any, name: str, **options: Any) -> None:
        if not User.objects.filter(username=name).exists():
            names = ", ".join(User.objects.order_by("username").values_list("username", flat=True))
            raise CommandError(f"Nobody here is called '{name}'. Choose one of: {names or 'nobody yet'}.")
        forgotten = reset(username=name)
        self.stdout.write(f"{name} may log in again." if forgotten else f"{name} was not locked out.")
