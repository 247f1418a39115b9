"""`manage.py serve`: the site, on this machine or on the home network."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from breeder.management import doors

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 8000


class Command(BaseCommand):
    help = "Bring the book up to date, make the first keeper if there is none, and run the site."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default=DEFAULT_HOST, help="0.0.0.0 for the whole home network")
        parser.add_argument("--port", type=int, default=DEFAULT_PORT)

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        doors.refuse_taken(host, port)
        if corrected := doors.bring_up_to_date():
            self.stdout.write(f"{corrected} species corrected from the starter set; the log says what changed.")
        if keeper := doors.first_keeper(self.stdout.write):
            doors.load_examples(by=keeper)
        doors.serve_site(host, port, self.stdout.write, with_forecasts=True)
