"""Decide one shipping day of a route in three ways, then run each choice through the real weather."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, time, timedelta

from breeder.core.thermal.ensemble_draws import draws
from breeder.core.thermal.forecast_error import correlation
from breeder.core.thermal.verdict import Limits, Tolerance
from breeder.core.transit import ambient_ensemble, box_trials, place_air, rule_of_thumb, trial_result
from breeder.core.transit.delivery_days import DELAY_SHARES, Delivery
from breeder.core.transit.itinerary import ServiceTimes
from breeder.core.transit.place_air import Ends, distance_km
from breeder.core.transit.results import BoxQuestion, Option
from breeder.core.transit.trial_result import AnimalNeeds, Candidate, Journey
from breeder.core.transit.weather_hours import Hours
from breeder.evaluation.replay.made_forecasts import MeasuredStation, make_forecast, truth_around
from breeder.shipments.example_kits import KITS
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import heat_kit

# Broken: more than one hour outside comfort, or ever past a hard limit. Allowed: at most 1 in 20, as in our goals.
BANDS = {"temperate": Limits(7, 29, 1, 0, 35), "tropical": Limits(13, 29, 1, 8, 35)}
USUAL_TOLERANCE = 0.05
NEVER_STOP = Tolerance(1.0, 1.0)  # run every case, because the odds themselves are needed
MEMBERS, TRUE_MEMBERS = 200, 64
CUPS = 8  # the box of the core's check values, 0.45 kg inside
# Separate streams of draws: for the check, for the forecast's error, and for the real box.
CHECK_SEED, ERROR_SEED, TRUE_SEED = 1_000_000, 2_000_000, 3_000_000
TIMES = ServiceTimes(time(16), time(9), time(17), 4.0)
USUAL_DAYS = 2
PLAIN, WARM, COOL = "Foam 19 mm", "Foam 19 mm, 72 h pack", "Foam 19 mm, 22 °C pack"


@dataclass(frozen=True)
class Route:
    """Origin and destination, doorstep or counter, and what the animals tolerate."""

    origin: MeasuredStation
    destination: MeasuredStation
    to_counter: bool
    band: str

    @property
    def name(self) -> str:
        """Return 'LGA to JFK, doorstep, temperate'."""
        way = "counter" if self.to_counter else "doorstep"
        return f"{self.origin.label} to {self.destination.label}, {way}, {self.band}"


@dataclass(frozen=True)
class Decision:
    """What one decision maker did on one day, and the result.

    `kit`: the kit sent (None: No-go). `stated`: the odds stated for it, or for the kit that came nearest. `broke`: the
    share that broke in it. `would_break`: the share that would have broken in the kit of the stated odds, sent or not.
    """

    on: date
    kit: str | None
    has_pack: bool
    stated: float | None
    broke: float | None
    would_break: float | None = None


@dataclass(frozen=True)
class ReplayOptions:
    """How days are decided and run.

    `tolerance`: the share that may break at most, for comfort and for hard limits alike; `leakier` multiplies the
    conductance of the real boxes, so that they are worse than assumed; `without`: kits that are not on the shelf.
    """

    tolerance: float = USUAL_TOLERANCE
    leakier: float = 1.0
    without: frozenset[str] = frozenset()


@dataclass(frozen=True)
class _Choice:
    """A kit and its stated odds (None: the maker states none), and whether it went."""

    kit: Candidate | None
    goes: bool
    stated: float | None = None


@dataclass(frozen=True)
class ReplayedDay:
    """A day with its lowest and highest real air temperature, and what each decision maker did."""

    on: date
    low_c: float
    high_c: float
    check: Decision
    rule: Decision
    oracle: Decision


@dataclass(frozen=True)
class ReplayCase:
    """A shipping day to decide: the journey, the real air at both ends, and its forecast."""

    journey: Journey
    truth: tuple[place_air.PlaceAir, place_air.PlaceAir]
    forecast: tuple[place_air.PlaceAir, place_air.PlaceAir]
    seed: int

    @property
    def shape(self) -> ambient_ensemble.JourneyShape:
        """Return the delay cases of the journey, on the clocks of the real hours at both ends."""
        return ambient_ensemble.journey_shape(self.journey, self.truth[0].hours, self.truth[1].hours)

    def ends(self, which: tuple[place_air.PlaceAir, place_air.PlaceAir]) -> Ends:
        return Ends(which[0].hours, which[1].hours)


def replay_route(route: Route, every: int, how: ReplayOptions = ReplayOptions()) -> list[ReplayedDay]:
    """Return each `every`-th day of a route that has all its hours, decided and run."""
    cases = [case for on in route.origin.days()[::every] if (case := _case(route, on)) is not None]
    return replay_cases(cases, route.band, how)


def replay_cases(cases: Sequence[ReplayCase], band: str, how: ReplayOptions = ReplayOptions()) -> list[ReplayedDay]:
    """Return days decided on their forecasts by each decision maker, then run with the real weather."""
    candidates = tuple(kit for kit in kits() if kit.name not in how.without)
    animals = AnimalNeeds(BANDS[band], Tolerance(how.tolerance, how.tolerance))
    check = _decide([_asked(case, case.forecast, candidates, animals, known=False) for case in cases], animals)
    oracle = _decide([_asked(case, case.truth, candidates, animals, known=True) for case in cases], animals)
    by_name = {kit.name: kit for kit in kits()}
    rule = [_by_rule(case, band, by_name) for case in cases]
    done = [_live(cases, chosen, animals, how.leakier) for chosen in (check, rule, oracle)]
    return [
        ReplayedDay(case.journey.post_on, *_extremes(case), *decided)
        for case, *decided in zip(cases, *done, strict=True)
    ]


def kits() -> tuple[Candidate, ...]:
    """Return the example kits."""
    return tuple(
        Candidate(n, example.name, float(example.cost), heat_kit(Kit(name=example.name, **example.values()), CUPS))
        for n, example in enumerate(KITS)
    )


def _case(route: Route, on: date) -> ReplayCase | None:
    truth = truth_around(route.origin, on), truth_around(route.destination, on)
    if truth[0] is None or truth[1] is None:
        return None
    seed = on.toordinal()
    wrong = draws(ERROR_SEED + seed, 1)
    together = correlation(distance_km(truth[0], truth[1]))
    forecast = (
        make_forecast(truth[0], wrong, place=0, together=0.0),
        make_forecast(truth[1], wrong, place=1, together=together),
    )
    return ReplayCase(journey_on(on, to_counter=route.to_counter), _airs(*truth), _airs(*forecast), seed)


def journey_on(on: date, *, to_counter: bool) -> Journey:
    """Return a box shipped on a day with a service that usually takes two days, with the usual shares of delays."""
    deliveries = tuple(
        Delivery(late, share, on + timedelta(days=USUAL_DAYS + late)) for late, share in enumerate(DELAY_SHARES)
    )
    return Journey(on, deliveries, TIMES, to_counter)


def _airs(origin: Hours, destination: Hours) -> tuple[place_air.PlaceAir, place_air.PlaceAir]:
    return place_air.hours_to_air(origin), place_air.hours_to_air(destination)


def _asked(
    case: ReplayCase,
    which: tuple[place_air.PlaceAir, place_air.PlaceAir],
    candidates: Sequence[Candidate],
    animals: AnimalNeeds,
    *,
    known: bool,
) -> BoxQuestion:
    seed = CHECK_SEED + case.seed
    return BoxQuestion(
        case.seed, case.journey, (which,), tuple(candidates), animals, seed, is_thorough=True, weather_known=known
    )


def _decide(asked: list[BoxQuestion], animals: AnimalNeeds) -> list[_Choice]:
    """Return the kit of each day with the odds stated for it; on a No-go, the kit that came nearest."""
    cells = box_trials.try_boxes(asked, members=MEMBERS)
    shown = [cell.shown.candidate for cell in cells]
    whole = replace(animals, tolerance=NEVER_STOP)
    again = [replace(question, candidates=(kit,), animals=whole) for question, kit in zip(asked, shown, strict=True)]
    odds = [_broken(cell.options[0]) for cell in box_trials.try_boxes(again, members=MEMBERS)]
    return [_Choice(kit, bool(cell.going), stated) for cell, kit, stated in zip(cells, shown, odds, strict=True)]


def _by_rule(case: ReplayCase, band: str, by_name: dict[str, Candidate]) -> _Choice:
    """Return what the trade's rule does with the same forecast: its plain box, or the pack it asks for."""
    opinion = trial_result.second_opinion(case.shape.cases, case.ends(case.forecast), band)
    if (
        opinion is None
        or opinion.word == rule_of_thumb.NO_GO
        or (opinion.word == rule_of_thumb.AT_COUNTER and not case.journey.to_counter)
    ):
        return _Choice(None, False)
    if opinion.word == rule_of_thumb.GO:
        return _Choice(by_name[PLAIN], True)
    return _Choice(by_name[WARM if opinion.pack == "heat" else COOL], True)


def _live(cases: Sequence[ReplayCase], chosen: list[_Choice], animals: AnimalNeeds, leakier: float) -> list[Decision]:
    """Return the result of each day's choice with the real weather, over the range of boxes, vans and doorsteps."""
    whole = replace(animals, tolerance=NEVER_STOP)
    with_kit = [place for place, choice in enumerate(chosen) if choice.kit is not None]
    asked = []
    for place in with_kit:
        kit: Candidate = chosen[place].kit  # type: ignore[assignment]
        question = _asked(cases[place], cases[place].truth, (_leaking(kit, leakier),), whole, known=True)
        asked.append(replace(question, seed=TRUE_SEED + cases[place].seed))
    cells = box_trials.try_boxes(asked, members=TRUE_MEMBERS)
    broke = {place: _broken(cell.options[0]) for place, cell in zip(with_kit, cells, strict=True)}
    return [
        _decided(case, choice, broke.get(place)) for place, (case, choice) in enumerate(zip(cases, chosen, strict=True))
    ]


def _decided(case: ReplayCase, choice: _Choice, broke: float | None) -> Decision:
    kit = choice.kit if choice.goes else None
    return Decision(
        case.journey.post_on,
        kit and kit.name,
        bool(kit and kit.has_pack),
        choice.stated,
        broke if choice.goes else None,
        broke,
    )


def _leaking(candidate: Candidate, leakier: float) -> Candidate:
    box = candidate.kit.box
    return replace(candidate, kit=replace(candidate.kit, box=replace(box, leak_factor=box.leak_factor * leakier)))


def _broken(option: Option) -> float:
    """Return the odds that the box is broken: both limits usually fail together, so the larger of the two."""
    return max(option.comfort, option.hard)


def _extremes(case: ReplayCase) -> tuple[float, float]:
    """Return the lowest and highest air at either end while the box is there; hubs are near room temperature."""
    return ambient_ensemble.air_at_ends(case.shape, *case.truth)
