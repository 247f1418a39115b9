"""Over 200 real weeks: a check with less forecast content than a box's last one gives no better verdict."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache

import pytest

from breeder.core.thermal.kit import Payload, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.verdict import Limits, Tolerance
from breeder.core.transit import box_trials, source_conflicts, trial_result
from breeder.core.transit.delivery_days import Delivery
from breeder.core.transit.itinerary import HOUR, ServiceTimes
from breeder.core.transit.results import BoxQuestion
from breeder.core.transit.source_conflicts import JourneyEnd
from breeder.core.transit.trial_result import AnimalNeeds, Candidate, Journey
from breeder.core.transit.verdict_floor import RANK, CheckContent, apply_floor
from breeder.core.transit.weather_hours import Hours
from breeder.shipments.check_json import CheckResult
from breeder.shipments.models import Check
from breeder.weather import sample_data

WEEKS = 200
MEMBERS = 8
FIRST_DAY = date(2013, 1, 7)
NUMBER = 6 * 24
TIMES = ServiceTimes(time(16), time(9), time(17), 4.0)
FOAM = ThermalKit(
    ShippingBox((0.25, 0.20, 0.15), (WallLayer("eps", 19.0), WallLayer("corrugated", 4.0))), Payload(0.2, cups=4)
)
ANIMALS = AnimalNeeds(Limits(7.0, 29.0, 4.0, 0.0, 36.0), Tolerance())
SEED = 5


@dataclass(frozen=True)
class Known:
    """What is known of both ends of a week's journey: each source's hours, and how many members are drawn."""

    origin: tuple[Hours, ...]
    destination: tuple[Hours, ...]
    members: int = MEMBERS

    def with_each(self, change: Callable[[Hours], Hours]) -> "Known":
        first, second = (tuple(change(hours) for hours in side) for side in (self.origin, self.destination))
        return replace(self, origin=first, destination=second)


def source(name: str, station: str, post_on: date, shift_c: float) -> Hours:
    """Real hours as a source would give them, with its spread and extremes, 0.8 °C wider than usual."""
    start = datetime.combine(post_on - timedelta(days=1), time(5), tzinfo=UTC)
    values = sample_data.station_slice(station, start, NUMBER)
    return Hours(
        label=station, latitude=40.78, longitude=-73.87, timezone="America/New_York",
        times=tuple(start + step * HOUR for step in range(NUMBER)),
        c=tuple(None if value is None else value + shift_c for value in values),
        issued=(start,) * NUMBER, extra_sd_c=(0.8,) * NUMBER, filled=(False,) * NUMBER,
        sources=(name,), credits=(), spread=(True,) * NUMBER, anchored=(True,) * NUMBER,
    )  # fmt: skip


def week(number: int) -> tuple[Journey, Known]:
    """One of 200 real weeks; the second source is milder or harsher by turns, now and then by more than 4 °C."""
    post_on = FIRST_DAY + timedelta(days=number * 7 // 4)
    apart_c = (-6.0, -2.0, 3.0, 7.0)[number % 4]
    stations = ("LGA", "JFK") if number % 2 else ("JFK", "LGA")
    ends = [
        (source("first", station, post_on, 0.0), source("second", station, post_on, apart))
        for station, apart in zip(stations, (1.0, apart_c), strict=True)
    ]
    return Journey(post_on, (Delivery(0, 1.0, post_on + timedelta(days=1)),), TIMES, False), Known(*ends)


def side(sources: tuple[Hours, ...], wanted: set[datetime]) -> JourneyEnd:
    freshest = sources[0]
    for other in sources[1:]:
        freshest = source_conflicts.merged_hours(freshest, other)
    return source_conflicts.journey_end(freshest, sources, wanted)


@cache
def tried_with(journey: Journey, known: Known) -> list[source_conflicts.Alternative]:
    """What comes of the box by each reading of both ends."""
    foam, readings = Candidate(1, "Foam", 2.0, FOAM), source_conflicts.readings(*both_sides(journey, known)[0])
    asked = BoxQuestion(1, journey, tuple(ends.airs for ends in readings), (foam,), ANIMALS, SEED)
    trials = box_trials.try_readings(asked, known.members)
    return [source_conflicts.Alternative(ends, trial) for ends, trial in zip(readings, trials, strict=True)]


def both_sides(journey: Journey, known: Known) -> tuple[tuple[JourneyEnd, JourneyEnd], set[datetime]]:
    zones = known.origin[0].zone, known.destination[0].zone
    wanted = {at for case in trial_result.journey_cases(journey, *zones) for at in case.times}
    return (side(known.origin, wanted), side(known.destination, wanted)), wanted


def check(journey: Journey, known: Known) -> tuple[str, CheckContent]:
    """The verdict and the content of a check, by the same steps as the check itself takes."""
    sides, wanted = both_sides(journey, known)
    # What a source says about its hours changes no temperature, so the box is tried once for all of it.
    alternatives = tried_with(journey, known.with_each(lambda hours: replace(hours, spread=(), anchored=())))
    trial = source_conflicts.worst_trial(alternatives)
    result = CheckResult(
        trial, trial.tried[0], alternatives[0].ends, ANIMALS, (), None, "", None, (),
        sum(side.sources for side in sides),
        spread=sum(side.hours_with("spread", wanted) for side in sides),
        anchors=sum(side.hours_with("anchored", wanted) for side in sides),
    )  # fmt: skip
    return trial.tried[0].verdict, result.content


def fewer_hours(known: Known) -> Known:
    gone = slice(44, 56)
    return known.with_each(
        lambda hours: replace(hours, c=(*hours.c[: gone.start], *(None,) * 12, *hours.c[gone.stop :]))
    )


LESS: dict[str, Callable[[Known], Known]] = {
    "fewer hours": fewer_hours,
    "fewer members": lambda known: replace(known, members=MEMBERS // 4),
    "no spread": lambda known: known.with_each(lambda hours: replace(hours, spread=())),
    "no extremes": lambda known: known.with_each(lambda hours: replace(hours, anchored=())),
    "the first source gone": lambda known: replace(known, origin=known.origin[1:], destination=known.destination[1:]),
    "the second source gone": lambda known: replace(known, origin=known.origin[:1], destination=known.destination[:1]),
    "aged": lambda known: known.with_each(
        lambda hours: replace(hours, issued=tuple(at and at - timedelta(hours=18) for at in hours.issued))
    ),
    "widened": lambda known: known.with_each(lambda hours: replace(hours, extra_sd_c=(3.0,) * NUMBER)),
}


@pytest.fixture(scope="module")
def weeks() -> list[tuple[Journey, Known, tuple[str, CheckContent]]]:
    known_weeks = [week(number) for number in range(WEEKS)]
    return [(journey, known, check(journey, known)) for journey, known in known_weeks]


def test_the_weeks_are_of_both_kinds(weeks: list[tuple[Journey, Known, tuple[str, CheckContent]]]) -> None:
    verdicts = Counter(before[0] for _, _, before in weeks)
    assert verdicts[Check.Verdict.GO] >= WEEKS // 5
    assert verdicts[Check.Verdict.NO_GO] >= WEEKS // 5


@pytest.mark.parametrize("what", LESS)
def test_a_check_that_knows_less_is_never_better(
    what: str, weeks: list[tuple[Journey, Known, tuple[str, CheckContent]]]
) -> None:
    for journey, known, before in weeks:
        after = check(journey, LESS[what](known))
        assert after[1].lacks(before[1]), f"{journey.post_on}: nothing noticed that there is less"
        held = apply_floor(*after, before)
        assert RANK[held.verdict] <= RANK[before[0]], f"{journey.post_on}: {before[0]} became {held.verdict}"
        again = apply_floor(*after, (held.verdict, held.held_to))
        assert RANK[again.verdict] <= RANK[before[0]], f"{journey.post_on}: asking twice helped"


def test_without_the_ratchet_knowing_less_would_now_and_then_say_better(
    weeks: list[tuple[Journey, Known, tuple[str, CheckContent]]],
) -> None:
    """The control: if less content never gave a better verdict by itself, the weeks above would prove nothing."""
    gone = LESS["the second source gone"]
    better = sum(RANK[check(journey, gone(known))[0]] > RANK[before[0]] for journey, known, before in weeks)
    assert better >= WEEKS // 20
