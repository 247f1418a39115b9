"""`manage.py replay`: is the check worth having? Decide real days one by one, then apply the real weather."""

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from breeder.evaluation.replay import city_days, forecast_pairs
from breeder.evaluation.replay.decisions import (
    BANDS,
    USUAL_TOLERANCE,
    ReplayedDay,
    ReplayOptions,
    Route,
    kits,
    replay_cases,
    replay_route,
)
from breeder.evaluation.replay.figures import figures_text, summarize
from breeder.evaluation.replay.forecast_pairs import City
from breeder.evaluation.replay.made_forecasts import MeasuredStation, recorded_station, station_from_file

PAIRS_EVERY = 97  # days: about a dozen days of each place, over all seasons and days of the week
HELP = """Decide days on forecasts, live through them with what really was, and count what came of it.

Without a file: every day of 2013 at two airports that come with the book, on forecasts made with the usual error.
With --csv: the same on your own hours. With --pairs: real forecasts and real outcomes of many places.

"""


class Command(BaseCommand):
    help = HELP + forecast_pairs.FORMAT

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        return super().create_parser(prog_name, subcommand, formatter_class=RawDescriptionHelpFormatter, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--csv", type=Path, help="your own hours: columns time (with its offset) and temp_c")
        parser.add_argument("--latitude", type=float, default=40.78, help="of the file's station")
        parser.add_argument("--longitude", type=float, default=-73.87)
        parser.add_argument("--timezone", default="America/New_York")
        parser.add_argument("--pairs", type=Path, metavar="FILE", help="daily forecasts with their outcomes, see above")
        parser.add_argument(
            "--cities", type=int, default=0, help="of the pairs only so many places, spread over the file"
        )
        parser.add_argument("--half", choices=("one", "other"), help="of the pairs only every second place")
        parser.add_argument("--counter", action="store_true", help="of the pairs: fetched at a counter")
        parser.add_argument("--unlearnt", action="store_true", help="of the pairs: nothing is learnt of a place")
        parser.add_argument("--leakier", type=float, default=1.0, help="the true boxes lose so many times the heat")
        parser.add_argument("--tolerance", type=float, default=USUAL_TOLERANCE, help="what may break at most, 0 to 1")
        parser.add_argument("--without", action="append", default=[], metavar="KIT", help="an example kit left out")
        parser.add_argument("--every", type=int, default=0, help="decide only each n-th day (pairs: 97, else 1)")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, every: int, pairs: Path | None, **options: Any) -> None:
        if every < 0:
            raise CommandError("--every is at least 1.")
        figures: dict[str, Any] = {}
        together: list[ReplayedDay] = []
        for name, days in (
            _replay_pairs(pairs, every or PAIRS_EVERY, options) if pairs else _replay_hours(every or 1, options)
        ):
            figures[name] = summarize(days)
            together += days
        if pairs is None:
            figures["all routes"] = summarize(together)
        if options["json"]:
            self.stdout.write(json.dumps(figures, indent=2))
            return
        for name, row in figures.items():
            self.stdout.write(figures_text(name, row))


def _replay_hours(every: int, options: dict[str, Any]) -> Iterator[tuple[str, list[ReplayedDay]]]:
    for route in _routes(_stations(options["csv"], options)):
        days = replay_route(route, every, _how(options))
        if not days:
            raise CommandError(f"{route.name}: no day has all its hours. A year of hourly values is wanted.")
        yield route.name, days


def _replay_pairs(path: Path, every: int, options: dict[str, Any]) -> Iterator[tuple[str, list[ReplayedDay]]]:
    cities = _cities(path, options)
    way = "counter" if options["counter"] else "doorstep"
    cases = city_days.city_cases(cities, every=every, to_counter=options["counter"], learns=not options["unlearnt"])
    if not cases:
        raise CommandError(f"{path}: no day has all its values. Four months of daily pairs of a place are wanted.")
    for band in BANDS:
        yield f"{len(cities)} places, {way}, {band}", replay_cases(cases, band, _how(options))


def _how(options: dict[str, Any]) -> ReplayOptions:
    unknown = set(options["without"]) - {kit.name for kit in kits()}
    if unknown:
        raise CommandError(f"There is no example kit {', '.join(sorted(unknown))}.")
    if not 0 < options["tolerance"] <= 1:
        raise CommandError(f"--tolerance is {options['tolerance']:g}, but it must be above 0 and at most 1.")
    return ReplayOptions(options["tolerance"], options["leakier"], frozenset(options["without"]))


def _cities(path: Path, options: dict[str, Any]) -> list[City]:
    try:
        cities = forecast_pairs.read_cities(path)
    except (OSError, KeyError, ValueError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else fault
        raise CommandError(f"{path} cannot be read as daily pairs: {reason}. See manage.py replay --help.") from None
    if options["half"]:
        cities = cities[options["half"] == "other" :: 2]
    number = options["cities"]
    return cities[:: max(1, len(cities) // number)][:number] if number else cities


def _stations(path: Path | None, options: dict[str, Any]) -> list[MeasuredStation]:
    if path is None:
        return [recorded_station("LGA"), recorded_station("JFK")]
    try:
        station = station_from_file(path, options["latitude"], options["longitude"], options["timezone"])
    except (OSError, KeyError, ValueError, IndexError) as fault:
        raise CommandError(
            f"{path} cannot be read as hours: {fault!r}. It wants the columns time and temp_c."
        ) from None
    return [station, station]


def _routes(stations: list[MeasuredStation]) -> list[Route]:
    first, second = stations
    ways = [(first, second, counter) for counter in (False, True)]
    if first is not second:
        ways.append((second, first, False))
    return [Route(*way, band) for way in ways for band in BANDS]
