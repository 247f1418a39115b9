"""One posting day of a route decided three ways, each sent through the box with the weather that really was."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, time, timedelta

from breeder.carriers.rules import DELAY_SHARES, Delivery
from breeder.dispatch import air, planning, trade, trying
from breeder.dispatch.ambient import Ends, distance_km
from breeder.dispatch.legs import ServiceTimes
from breeder.dispatch.planning import Asked
from breeder.dispatch.trying import Animals, Candidate, Journey
from breeder.heat.members import correlation, draws
from breeder.heat.verdict import Limits, Tolerance
from breeder.management.replay.weather import Station, forecast_of, truth_around
from breeder.packing.examples import KITS
from breeder.packing.models import Kit
from breeder.packing.reading import heat_kit
from breeder.weather.queries import Hours

# Broken: more than one hour outside comfort or ever past a hard limit; at most 1 in 20 (what the aims are stated for).
BANDS = {"temperate": Limits(7, 29, 1, 0, 35), "tropical": Limits(13, 29, 1, 8, 35)}
TOLERANCE = Tolerance(0.05, 0.05)
NEVER_STOP = Tolerance(1.0, 1.0)  # every case is run, for the odds themselves
MEMBERS, TRUE_MEMBERS, CUPS = 200, 64, 4
# Streams of draws that share no number: what the check draws, what the forecast's error is, what the box really is.
CHECK_SEED, ERROR_SEED, TRUE_SEED = 1_000_000, 2_000_000, 3_000_000
TIMES = ServiceTimes(time(16), time(9), time(17), 4.0)
USUAL_DAYS = 2
PLAIN, WARM, COOL = "Foam 19 mm", "Foam 19 mm, 72 h pack", "Foam 19 mm, 22 °C pack"


@dataclass(frozen=True)
class Route:
    """From where to where, to a doorstep or a counter, and what the animals bear."""

    origin: Station
    destination: Station
    to_counter: bool
    band: str

    @property
    def name(self) -> str:
        """Return 'LGA to JFK, doorstep, temperate'."""
        way = "counter" if self.to_counter else "doorstep"
        return f"{self.origin.label} to {self.destination.label}, {way}, {self.band}"


@dataclass(frozen=True)
class Decided:
    """What one decision maker did on one day: the kit it went in (None: No-go), odds it stated, share that broke."""

    on: date
    kit: str | None
    has_pack: bool
    stated: float | None
    broke: float | None


@dataclass(frozen=True)
class Day:
    """A day with its lowest and highest real air on the way, and what each decision maker did."""

    on: date
    low_c: float
    high_c: float
    check: Decided
    rule: Decided
    oracle: Decided


@dataclass(frozen=True)
class _Case:
    """A day before it is decided."""

    journey: Journey
    truth: tuple[air.Air, air.Air]
    forecast: tuple[air.Air, air.Air]
    seed: int

    def ends(self, which: tuple[air.Air, air.Air]) -> Ends:
        return Ends(which[0].hours, which[1].hours)


def days_of(route: Route, every: int) -> list[Day]:
    """Return each `every`-th day of a route that has all its hours, decided and lived through."""
    cases = [case for on in route.origin.days()[::every] if (case := _case(route, on)) is not None]
    candidates, animals = kits(), Animals(BANDS[route.band], TOLERANCE)
    check = _decide([_asked(case, case.forecast, candidates, animals, known=False) for case in cases], animals)
    oracle = _decide([_asked(case, case.truth, candidates, animals, known=True) for case in cases], animals)
    by_name = {one.name: one for one in candidates}
    rule = [_by_rule(case, route, by_name) for case in cases]
    lived = [_live(cases, chosen, animals) for chosen in (check, rule, oracle)]
    return [Day(case.journey.post_on, *_extremes(case), *decided) for case, *decided in zip(cases, *lived, strict=True)]


def kits() -> tuple[Candidate, ...]:
    """Return the example kits."""
    return tuple(
        Candidate(n, one.name, float(one.cost), heat_kit(Kit(name=one.name, **one.values()), CUPS))
        for n, one in enumerate(KITS)
    )


def _case(route: Route, on: date) -> _Case | None:
    truth = truth_around(route.origin, on), truth_around(route.destination, on)
    if truth[0] is None or truth[1] is None:
        return None
    seed = on.toordinal()
    wrong = draws(ERROR_SEED + seed, 1)
    together = correlation(distance_km(truth[0], truth[1]))
    said = (
        forecast_of(truth[0], wrong, place=0, together=0.0),
        forecast_of(truth[1], wrong, place=1, together=together),
    )
    deliveries = tuple(
        Delivery(late, share, on + timedelta(days=USUAL_DAYS + late)) for late, share in enumerate(DELAY_SHARES)
    )
    journey = Journey(on, deliveries, TIMES, route.to_counter)
    return _Case(journey, _airs(truth[0], truth[1]), _airs(*said), seed)


def _airs(one: Hours, other: Hours) -> tuple[air.Air, air.Air]:
    return air.air_of(one), air.air_of(other)


def _asked(
    case: _Case, which: tuple[air.Air, air.Air], candidates: Sequence[Candidate], animals: Animals, *, known: bool
) -> Asked:
    seed = CHECK_SEED + case.seed
    return Asked(case.seed, case.journey, (which,), tuple(candidates), animals, seed, weather_known=known)


def _decide(asked: list[Asked], animals: Animals) -> list[tuple[Candidate | None, float | None]]:
    """Return the kit of each day, None for No-go, with the odds stated for it or for the kit that came nearest."""
    cells = planning.cells_of(asked, members=MEMBERS)
    shown = [cell.shown.candidate for cell in cells]
    whole = replace(animals, tolerance=NEVER_STOP)
    again = [replace(one, candidates=(kit,), animals=whole) for one, kit in zip(asked, shown, strict=True)]
    odds = [_broken(cell.options[0]) for cell in planning.cells_of(again, members=MEMBERS)]
    return [(kit if cell.going else None, stated) for cell, kit, stated in zip(cells, shown, odds, strict=True)]


def _by_rule(case: _Case, route: Route, by_name: dict[str, Candidate]) -> tuple[Candidate | None, float | None]:
    """Return what the trade's rule does with the same forecast: its plain box or the pack that it asks for."""
    ends = case.ends(case.forecast)
    said = trying.second_opinion(trying.journey_cases(case.journey, ends), ends, route.band)
    if said is None or said.word == trade.NO_GO or (said.word == trade.AT_COUNTER and not route.to_counter):
        return None, None
    if said.word == trade.GO:
        return by_name[PLAIN], None
    return by_name[WARM if said.pack == "heat" else COOL], None


def _live(cases: list[_Case], chosen: list[tuple[Candidate | None, float | None]], animals: Animals) -> list[Decided]:
    """Return what came of each day's choice with the real weather, over boxes, vans and doorsteps as they may be."""
    whole = replace(animals, tolerance=NEVER_STOP)
    going = [place for place, (kit, _) in enumerate(chosen) if kit is not None]
    asked = [
        replace(
            _asked(cases[place], cases[place].truth, (chosen[place][0],), whole, known=True),  # type: ignore[arg-type]
            seed=TRUE_SEED + cases[place].seed,
        )
        for place in going
    ]
    cells = planning.cells_of(asked, members=TRUE_MEMBERS)
    broke = {place: _broken(cell.options[0]) for place, cell in zip(going, cells, strict=True)}
    return [
        Decided(case.journey.post_on, kit and kit.name, bool(kit and kit.has_pack), stated, broke.get(place))
        for place, (case, (kit, stated)) in enumerate(zip(cases, chosen, strict=True))
    ]


def _broken(option: planning.Option) -> float:
    """Return the odds that the animals are broken: both limits are seldom passed apart, so the larger of the two."""
    return max(option.comfort, option.hard)


def _extremes(case: _Case) -> tuple[float, float]:
    ends = case.ends(case.truth)
    first, *_ = trying.journey_cases(case.journey, ends)
    wanted = set(first.times)
    values = [
        value
        for hours in (ends.origin, ends.destination)
        for at, value in zip(hours.times, hours.c, strict=True)
        if at in wanted and value is not None
    ]
    return min(values), max(values)
