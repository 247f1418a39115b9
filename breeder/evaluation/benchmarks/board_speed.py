"""`manage.py bench board`: 200 boxes, 10 days, 8 kits, 200 members in three delay cases, and after one change."""

import os
import resource
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock
from typing import Any

from breeder.base.worker import end_second_process, share_work
from breeder.core.thermal.kit import ThermalKit as HeatKit
from breeder.core.thermal.verdict import Limits, Tolerance
from breeder.core.transit import box_trials, place_air
from breeder.core.transit.delivery_days import Timing, delivery_days
from breeder.core.transit.itinerary import ServiceTimes
from breeder.core.transit.result_cache import ResultCache
from breeder.core.transit.results import BoxQuestion
from breeder.core.transit.trial_result import AnimalNeeds, Candidate, Journey
from breeder.core.transit.weather_hours import Hours
from breeder.shipments.example_kits import KITS
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import heat_kit
from breeder.weather import sample_data

BOXES, DAYS, MEMBERS, CUPS = 200, 10, 200, 4
FIRST_DAY = date(2013, 4, 1)  # two weeks of spring: cold nights, mild days, every verdict
BALLAST_KG = 0.5  # the eighth kit
SEVEN = 7  # of the example kits, from the cheapest on
TIMES = ServiceTimes(clock(16), clock(9), clock(17), 4.0)
WORKING_DAYS = frozenset(range(5))
BOARD_BOXES = 14


def run() -> dict[str, Any]:
    """Return seconds for a usual board, and for a large one: alone, with a second process, and after one change."""
    home = place_air.hours_to_air(_hours("LGA", 0.0, 0.0))
    places = [place_air.hours_to_air(_hours("JFK", (n % 15 - 7) * 0.5, n * 0.01)) for n in range(BOXES)]
    memo = ResultCache(size=2 * BOXES * DAYS)
    usual = _timed(_asked(home, places[:BOARD_BOXES]), box_trials.SCREENED, ResultCache())
    again = _timed(_asked(home, places[:BOARD_BOXES]), box_trials.SCREENED, ResultCache())
    alone = _timed(_asked(home, places), MEMBERS, ResultCache(), box_trials.one_by_one)
    begun = _cpu_s()
    whole = _timed(_asked(home, places), MEMBERS, memo)
    end_second_process()  # what it used is counted when it has ended
    cpu = _cpu_s() - begun
    places[0] = place_air.hours_to_air(_hours("JFK", 1.7, 0.0))
    changed = _timed(_asked(home, places), MEMBERS, memo)
    return {
        "subject": "board",
        "boxes": BOXES,
        "days": DAYS,
        "kits": len(_candidates()),
        "members": MEMBERS,
        "delay_cases": 3,
        "seconds": whole,
        "cpu_s": cpu,
        "seconds_one_process": alone,
        "ratio_two_processes_to_one": whole / alone,
        "seconds_after_one_changed_forecast": changed,
        "ratio_changed_to_whole": changed / whole,
        "usual_board": {"boxes": BOARD_BOXES, "members": box_trials.SCREENED, "seconds": usual, "seconds_again": again},
        "peak_mb": _peak_mb(resource.RUSAGE_SELF),
        "peak_mb_second_process": _peak_mb(resource.RUSAGE_CHILDREN),
        "processors": os.cpu_count(),
        "blas_threads": os.environ.get("OPENBLAS_NUM_THREADS", "not set"),
        "load": list(os.getloadavg()),
        "note": "two processes; kits are tried by cost until two may go; what cannot change a verdict is left out",
    }


def _cpu_s() -> float:
    """Return the processor seconds of this process and of its children that have ended."""
    spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in spent)


def _peak_mb(who: int) -> float:
    return round(resource.getrusage(who).ru_maxrss / 1024, 1)


def _timed(asked: list[BoxQuestion], members: int, memo: ResultCache, by: box_trials.By = share_work) -> float:
    begun = time.perf_counter()
    cells = box_trials.try_boxes(asked, members=members, memo=memo, by=by)
    if len(cells) != len(asked):
        raise RuntimeError(f"{len(asked)} cells were asked for, {len(cells)} came.")
    return time.perf_counter() - begun


def _asked(home: place_air.PlaceAir, places: list[place_air.PlaceAir]) -> list[BoxQuestion]:
    candidates, animals = _candidates(), AnimalNeeds(Limits(7, 29, 4, 0, 36), Tolerance())
    timing = Timing(WORKING_DAYS, 2, 4)
    every = (FIRST_DAY + timedelta(days=ahead) for ahead in range(2 * DAYS))
    days = [day for day in every if day.weekday() in WORKING_DAYS][:DAYS]
    journeys = [Journey(day, delivery_days(timing, day, ()), TIMES, False) for day in days]
    return [
        BoxQuestion(number, journey, ((home, place),), candidates, animals, journey.post_on.toordinal())
        for number, place in enumerate(places)
        for journey in journeys
    ]


def _candidates() -> tuple[Candidate, ...]:
    """Return seven of the example kits and one with water ballast."""
    kits: list[tuple[str, float, HeatKit]] = [
        (example.name, float(example.cost), heat_kit(Kit(name=example.name, **example.values()), CUPS))
        for example in [example for example in KITS if not example.ballast_kg][:SEVEN]
    ]
    name, cost, foam = kits[2]
    kits.append((f"{name} with water", cost + 0.5, replace(foam, ballast_kg=BALLAST_KG)))
    return tuple(Candidate(number, *kit) for number, kit in enumerate(kits))


def _hours(station: str, shift_c: float, north: float) -> Hours:
    start = datetime.combine(FIRST_DAY - timedelta(days=1), clock(4), tzinfo=UTC)
    values = sample_data.station_slice(station, start, 26 * 24)
    number = len(values)
    return Hours(
        label=station,
        latitude=40.64 + north,
        longitude=-73.78,
        timezone="America/New_York",
        times=tuple(start + timedelta(hours=step) for step in range(number)),
        c=tuple(None if value is None else value + shift_c for value in values),
        issued=(start,) * number,
        extra_sd_c=(0.0,) * number,
        filled=(False,) * number,
        sources=(station,),
        credits=(),
    )
