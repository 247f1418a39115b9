"""`manage.py lock_pins`: write what is installed here as the exact pins of the extra `lock`."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from breeder.management import pins


class Command(BaseCommand):
    help = "Rewrite the extra 'lock' of pyproject.toml from what is installed in this environment."
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            written = pins.write(settings.BASE_DIR / "pyproject.toml")
        except pins.NotInstalled as missing:
            raise CommandError(f"{missing} Install the project first, then lock.") from None
        self.stdout.write(f"{len(written)} packages are pinned.")
