"""`manage.py serve`: run the site on this machine or on the home network."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from breeder.management import server

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 8000
HOST_HELP = "listen here alone, such as 127.0.0.1 for this machine only; without it also at its home address"


class Command(BaseCommand):
    help = "Bring the book up to date, make the first keeper if there is none, and run the site."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", help=HOST_HELP)
        parser.add_argument("--port", type=int, default=DEFAULT_PORT)

    def handle(self, *args: Any, host: str | None, port: int, **options: Any) -> None:
        home = "" if host else server.home_to_open()
        host = host or DEFAULT_HOST
        for address in (host, home):
            if address:
                server.refuse_taken_port(address, port)
        if corrected := server.bring_up_to_date():
            self.stdout.write(f"{corrected} species corrected from the starter set; the log says what changed.")
        if keeper := server.first_keeper(self.stdout.write):
            server.load_examples(by=keeper)
        server.serve_site(host, port, self.stdout.write, home=home, with_forecasts=True)
