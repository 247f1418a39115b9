"""`manage.py replay`: is the check worth having? A year of real hours, decided day by day and then lived through."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from breeder.management.replay.deciding import BANDS, Route, days_of
from breeder.management.replay.figures import figures_of
from breeder.management.replay.weather import Station, recorded_station, station_of_file


class Command(BaseCommand):
    help = "Decide each day of a year on forecasts made from real hours, and count what really came of it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--csv", type=Path, help="your own hours: columns time (with its offset) and temp_c")
        parser.add_argument("--latitude", type=float, default=40.78, help="of the file's station")
        parser.add_argument("--longitude", type=float, default=-73.87)
        parser.add_argument("--timezone", default="America/New_York")
        parser.add_argument("--every", type=int, default=1, help="decide only each n-th day")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, csv: Path | None, every: int, **options: Any) -> None:
        if every < 1:
            raise CommandError("--every is at least 1.")
        found = {}
        together = []
        for route in _routes(_stations(csv, options)):
            days = days_of(route, every)
            if not days:
                raise CommandError(f"{route.name}: no day has all its hours. A year of hourly values is wanted.")
            found[route.name] = figures_of(days)
            together += days
        found["all routes"] = figures_of(together)
        if options["json"]:
            self.stdout.write(json.dumps(found, indent=2))
            return
        for name, figures in found.items():
            self.stdout.write(_said(name, figures))


def _stations(path: Path | None, options: dict[str, Any]) -> list[Station]:
    if path is None:
        return [recorded_station("LGA"), recorded_station("JFK")]
    try:
        own = station_of_file(path, options["latitude"], options["longitude"], options["timezone"])
    except (OSError, KeyError, ValueError, IndexError) as fault:
        raise CommandError(
            f"{path} cannot be read as hours: {fault!r}. It wants the columns time and temp_c."
        ) from None
    return [own, own]


def _routes(stations: list[Station]) -> list[Route]:
    one, other = stations
    ways = [(one, other, counter) for counter in (False, True)]
    if one is not other:
        ways.append((other, one, False))
    return [Route(*way, band) for way in ways for band in BANDS]


def _said(name: str, figures: dict[str, Any]) -> str:
    rows = [f"{name}, {figures['days']} days"]
    for maker in ("check", "trade_rule", "oracle"):
        row = figures[maker]
        rows.append(
            f"  {maker.replace('_', ' '):<10} Go {_percent(row['go'])}, unsafe Go {_percent(row['unsafe_go'])}, "
            f"needless No-go {_percent(row['needless_no_go'])}, with a pack {_percent(row['with_pack'])}"
        )
    for row in figures["reliability"]:
        if row["days"]:
            rows.append(
                f"  odds {row['from']:g} to {row['to']:g}: {row['days']} days, stated {_percent(row['stated'])}, "
                f"came true {_percent(row['came_true'])}"
            )
    return "\n".join(rows)


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.1f} %"
