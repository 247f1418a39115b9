"""`manage.py demo`: run the site with an invented breeder; `--once` prints two tables and ends."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from breeder.management import server
from breeder.management.commands.serve import DEFAULT_HOST, DEFAULT_PORT
from breeder.management.demo_data import demo, places, printed_tables


class Command(BaseCommand):
    help = "Load an invented breeder (in a data folder of its own) and run the site on it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="print what can be sold and the parcels, and end")
        parser.add_argument("--fresh", action="store_true", help="make the demo anew, whatever was done in it")
        parser.add_argument("--warmer", type=float, default=0.0, metavar="K", help="raise every forecast by so many °C")
        parser.add_argument(
            "--season", choices=sorted(places.SEASONS), default=places.ALL_YEAR, help="whose weather every place shows"
        )
        parser.add_argument("--host", default=DEFAULT_HOST)
        parser.add_argument("--port", type=int, default=DEFAULT_PORT)

    def handle(
        self, *args: Any, once: bool, fresh: bool, warmer: float, season: str, host: str, port: int, **options: Any
    ) -> None:
        if not once:
            server.refuse_taken_port(host, port)
        if fresh or not demo.is_fresh(warmer, season):
            demo.load(timezone.now(), warmer, season)
        if once:
            self.stdout.write(printed_tables.for_sale())
            self.stdout.write("")
            self.stdout.write(printed_tables.parcels())
            return
        login = f"Log in as '{demo.KEEPER_NAME}' or '{demo.HELPER_NAME}', password '{demo.PASSWORD}'."
        self.stdout.write(login)
        server.serve_site(host, port, self.stdout.write)
