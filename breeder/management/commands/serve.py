"""`manage.py serve`: the site, on this machine or on the home network."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from breeder.management import server

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 8000


class Command(BaseCommand):
    help = "Bring the book up to date, make the first keeper if there is none, and run the site."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default=DEFAULT_HOST, help="0.0.0.0 for the whole home network")
        parser.add_argument("--port", type=int, default=DEFAULT_PORT)

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        server.refuse_taken(host, port)
        server.bring_up_to_date()
        if keeper := server.first_keeper(self.stdout.write):
            server.load_examples(by=keeper)
        server.serve_site(host, port, self.stdout.write, with_forecasts=True)
