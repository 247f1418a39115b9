"""A check with less data gives no better verdict; the worse of two sources decides; a box leaves on its own day."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from hypothesis import given, settings
from hypothesis import strategies as st

from breeder.core.thermal.kit import Payload, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.verdict import Limits, Tolerance
from breeder.core.transit import box_trials, source_conflicts, verdict_floor
from breeder.core.transit.delivery_days import Delivery
from breeder.core.transit.itinerary import ServiceTimes
from breeder.core.transit.place_air import Ends
from breeder.core.transit.results import BoxQuestion
from breeder.core.transit.trial_result import AnimalNeeds, Candidate, Journey
from breeder.core.transit.verdict_floor import RANK, CheckContent, apply_floor
from breeder.core.transit.weather_hours import Hours
from breeder.shipments.actions import departure
from breeder.shipments.models import Check
from breeder.shipments.rules import departure_rules
from breeder.weather import sample_data
from breeder.weather import steps as weather
from breeder.weather.models import Forecast
from tests.shipments import boxes

MONDAY = date(2013, 10, 7)
TIMES = ServiceTimes(time(16), time(9), time(17), 4.0)
CARD = Candidate(
    1, "Card", 1.0, ThermalKit(ShippingBox((0.25, 0.20, 0.15), (WallLayer("corrugated", 4.0),)), Payload(0.2, cups=4))
)
ANIMALS = AnimalNeeds(Limits(7.0, 29.0, 4.0, 0.0, 36.0), Tolerance())
SEED = 5
FULL = CheckContent(100, 200, 2, datetime(2013, 10, 7, 6, tzinfo=UTC), spread=90, anchors=80, width_c=0.6)


def hours(post_on: date, station: str, *, lacking: frozenset[int] = frozenset(), shift_c: float = 0.0) -> Hours:
    """Real hours from the day before to five days after, some of them taken away."""
    start = datetime.combine(post_on - timedelta(days=1), time(5), tzinfo=UTC)
    number = 6 * 24
    values = sample_data.station_slice(station, start, number)
    shown = tuple(None if value is None or index in lacking else value + shift_c for index, value in enumerate(values))
    return Hours(
        label=station, latitude=40.78, longitude=-73.87, timezone="America/New_York",
        times=tuple(start + timedelta(hours=step) for step in range(number)), c=shown,
        issued=tuple(None if value is None else start for value in shown), extra_sd_c=(0.0,) * number,
        filled=(False,) * number, sources=(station,), credits=(),
    )  # fmt: skip


def journey(post_on: date) -> Journey:
    deliveries = tuple(
        Delivery(late, share, post_on + timedelta(days=2 + late)) for late, share in enumerate((0.87, 0.09, 0.04))
    )
    return Journey(post_on, deliveries, TIMES, False)


def check(post_on: date, ends: Ends, members: int) -> tuple[str, CheckContent]:
    """The verdict of a card box and what it knew."""
    trial = box_trials.try_readings(BoxQuestion(1, journey(post_on), (ends.airs,), (CARD,), ANIMALS, SEED), members)[0]
    wanted = {at for case in trial.cases for at in case.times}
    known = sum(
        value is not None and at in wanted
        for side in (ends.origin, ends.destination)
        for at, value in zip(side.times, side.c, strict=True)
    )
    return trial.tried[0].verdict, CheckContent(known, members, 2)


@given(
    day=st.integers(0, 300),
    shift_c=st.floats(-6, 12),
    lacking=st.frozensets(st.integers(0, 143), max_size=60),
    members=st.integers(1, 48),
)
@settings(max_examples=60, deadline=None)
def test_hours_and_members_taken_away_never_make_a_verdict_better(
    day: int, shift_c: float, lacking: frozenset[int], members: int
) -> None:
    post_on = date(2013, 1, 15) + timedelta(days=day)
    whole = Ends(hours(post_on, "LGA", shift_c=shift_c), hours(post_on, "JFK", shift_c=shift_c))
    less = Ends(hours(post_on, "LGA", shift_c=shift_c, lacking=lacking), hours(post_on, "JFK", shift_c=shift_c))
    before, after = check(post_on, whole, 48), check(post_on, less, members)
    if not after[1].lacks(before[1]):
        return
    held = apply_floor(*after, before)
    assert RANK[held.verdict] <= RANK[before[0]]
    # Asking a second time with the same little is still held to what was known at first.
    assert RANK[apply_floor(*after, (held.verdict, held.held_to)).verdict] <= RANK[before[0]]


@pytest.mark.parametrize(
    ("less", "word"),
    [
        (replace(FULL, hours=99), "99 hours of weather instead of 100"),
        (replace(FULL, members=48), "48 simulated journeys instead of 200"),
        (replace(FULL, sources=1), "(1 source instead of 2)"),
        (replace(FULL, issued_at=FULL.issued_at and FULL.issued_at - timedelta(hours=6)), "an older forecast"),
        (replace(FULL, spread=0), "0 hours with a spread instead of 90"),
        (replace(FULL, anchors=79), "79 hours with their highs and lows instead of 80"),
        (replace(FULL, width_c=0.7), "a wider spread in the same forecast"),
    ],
)
def test_a_check_that_knows_less_says_no_more_than_the_last(less: CheckContent, word: str) -> None:
    held = apply_floor(Check.Verdict.GO, less, (Check.Verdict.NO_GO, FULL))
    assert held.verdict == Check.Verdict.NO_GO
    assert word in held.why
    assert held.held_to == FULL
    assert apply_floor(Check.Verdict.NO_GO, less, (Check.Verdict.GO, FULL)).verdict == Check.Verdict.NO_GO


def test_a_check_that_knows_as_much_may_say_better() -> None:
    newer = replace(FULL, issued_at=FULL.issued_at and FULL.issued_at + timedelta(hours=6))
    assert apply_floor(Check.Verdict.GO, newer, (Check.Verdict.NO_GO, FULL)).verdict == Check.Verdict.GO
    # A newer forecast may be less sure than the last.
    assert not replace(newer, width_c=1.4).lacks(FULL)


def test_hours_that_were_not_there_before_are_no_wider_spread() -> None:
    none, half = CheckContent(0, 0, 0), replace(FULL, hours=50, spread=40, anchors=40, width_c=0.1)
    assert not FULL.lacks(none)
    assert not FULL.lacks(half)
    assert apply_floor(Check.Verdict.GO, FULL, (Check.Verdict.NOT_DECIDED, none)).verdict == Check.Verdict.GO
    assert apply_floor(Check.Verdict.GO, FULL, None) == verdict_floor.FlooredVerdict(Check.Verdict.GO, FULL)


def test_content_is_read_as_it_was_stored() -> None:
    assert CheckContent.read(FULL.stored()) == FULL
    before_spread_was_counted = {"hours": 9, "members": 8, "sources": 1, "issued_at": None}
    assert CheckContent.read(before_spread_was_counted) == CheckContent(9, 8, 1)


def test_sources_that_agree_within_four_degrees_are_no_rivals() -> None:
    freshest = hours(MONDAY, "LGA")
    wanted = set(freshest.times)
    assert not source_conflicts.journey_end(
        freshest, [freshest, replace(freshest, c=_warmer(freshest, 3.9))], wanted
    ).others
    side = source_conflicts.journey_end(
        freshest, [freshest, replace(freshest, c=_warmer(freshest, 4.1), sources=("by hand",))], wanted
    )
    assert side.rivalries[0].apart_c == pytest.approx(4.1)
    assert side.sources == 2


def test_a_rival_without_an_hour_takes_it_from_the_other() -> None:
    first, other = hours(MONDAY, "LGA", lacking=frozenset({7})), hours(MONDAY, "JFK")
    both = source_conflicts.merged_hours(first, other)
    assert both.c[7] == other.c[7]
    assert both.c[8] == first.c[8]
    assert both.sources == ("LGA", "JFK")
    taught = source_conflicts.merged_hours(
        first, replace(other, sd_share=(0.7,) * len(other.c), anchored=(True,) * len(other.c))
    )
    assert (taught.sd_share[7], taught.sd_share[8]) == (0.7, 1.0)
    assert (taught.anchored[7], taught.anchored[8]) == (True, False)


def _warmer(read: Hours, by: float) -> tuple[float | None, ...]:
    return tuple(None if value is None else value + by for value in read.c)


@pytest.mark.django_db
def test_of_two_sources_the_worse_decides_whichever_is_fresher() -> None:
    verdicts = {}
    for warmer_is in ("fresher", "older"):
        Forecast.objects.all().delete()
        Check.objects.all().delete()
        box = _box()
        now = boxes.morning_of(MONDAY)
        boxes.real_hours(MONDAY, issued_at=now - timedelta(hours=2))
        issued = now - timedelta(hours=1 if warmer_is == "fresher" else 3)
        _also_by_hand(issued, shift_c=18.0)
        with time_machine.travel(now, tick=False):
            check = departure.check_parcel(box, by=None)
        verdicts[warmer_is] = check.verdict
        assert "differ by up to" in check.reason
        assert check.result["content"]["sources"] == 4
    assert verdicts == {"fresher": Check.Verdict.NO_GO, "older": Check.Verdict.NO_GO}


@pytest.mark.django_db
def test_a_source_that_is_taken_away_does_not_turn_no_go_into_go() -> None:
    box, now = _box(), boxes.morning_of(MONDAY)
    boxes.real_hours(MONDAY, issued_at=now - timedelta(hours=2))
    _also_by_hand(now - timedelta(hours=3), shift_c=18.0)
    with time_machine.travel(now, tick=False):
        assert departure.check_parcel(box, by=None).verdict == Check.Verdict.NO_GO
        Forecast.objects.filter(source=Forecast.Source.BY_HAND).delete()
        for _ in range(2):
            check = departure.check_parcel(box, by=None)
            assert check.verdict == Check.Verdict.NO_GO
            assert "knows less than the last one" in check.reason


@pytest.mark.django_db
def test_a_box_does_not_leave_on_another_day_than_it_was_checked_for() -> None:
    box, now = _box(), boxes.morning_of(MONDAY) - timedelta(days=1)
    boxes.real_hours(MONDAY, issued_at=now - timedelta(hours=2))
    with time_machine.travel(now, tick=False):
        assert departure.check_parcel(box, by=None).verdict == Check.Verdict.GO
        with pytest.raises(departure_rules.MayNotLeave, match="today is Sunday 6 October"):
            departure.send_parcel(box, {}, by=None)


def _box() -> int:
    boxes.household()
    if not boxes.Kit.objects.exists():
        boxes.bare()
    return boxes.parcel(MONDAY).number


def _also_by_hand(issued_at: datetime, *, shift_c: float) -> None:
    first = datetime.combine(MONDAY, time(5), tzinfo=UTC) - timedelta(days=1)
    for place, station in zip(boxes.places(), ("LGA", "JFK"), strict=True):
        values = [
            None if value is None else value + shift_c for value in sample_data.station_slice(station, first, 9 * 24)
        ]
        weather.keep_hours(place, Forecast.Source.BY_HAND, first, values, issued_at=issued_at, received_at=issued_at)
