"""`manage.py refresh_forecasts`: fetch fresh hours for the places of all waiting boxes; made for a timer."""

import random
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from breeder.management import forecasting
from breeder.weather import refresh


class Command(BaseCommand):
    help = "Ask the chosen weather service for every place that a waiting box needs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--now", action="store_true", help="do not wait a few minutes when it is about the full hour"
        )

    def handle(self, *args: Any, now: bool, **options: Any) -> None:
        wait = 0.0 if now else refresh.seconds_off_the_hour(timezone.now(), random.Random())
        if wait:
            self.stdout.write(f"It is about the full hour, when services are busiest: waiting {wait / 60:.0f} minutes.")
            time.sleep(wait)
        self.stdout.write(forecasting.fetch_all().sentence)
