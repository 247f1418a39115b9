"""The air around the box: forecast, its error by lead, sun, hubs within a bracket; missing hours stay missing."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest

from breeder.carriers.models import Service
from breeder.core.thermal.ensemble_draws import Draws, draws
from breeder.core.transit import ambient_ensemble, place_air
from breeder.core.transit.delivery_days import Delivery
from breeder.core.transit.exposure import OUTSIDE_SHARE, SUN_ON_STEP, USUAL, service_template
from breeder.core.transit.itinerary import HOUR, DelayCase, Exposure, ServiceTimes, delay_cases
from breeder.core.transit.place_air import Ends
from breeder.core.transit.weather_hours import Hours

START = datetime(2026, 7, 6, 0, tzinfo=UTC)
TIMES = ServiceTimes(time(16), time(9), time(17), 4.0)


@pytest.fixture(scope="module")
def drawn() -> Draws:
    return draws(7, 64)


def hours(
    middle: float = 20.0, swing: float = 6.0, *, north: float = 40.0, east: float = -75.0, **values: object
) -> Hours:
    """Return four days of a simple daily course, warmest at 21 UTC (mid afternoon at 75° W)."""
    times = tuple(START + step * HOUR for step in range(24 * 6))
    c = tuple(middle + swing * np.cos(2 * np.pi * (at.hour - 21) / 24) for at in times)
    plain = Hours(
        "There",
        north,
        east,
        "America/New_York",
        times,
        c,
        (START,) * len(times),
        (0.0,) * len(times),
        (False,) * len(times),
        (),
        (),
    )
    return replace(plain, **values)  # type: ignore[arg-type]


def case(*, to_counter: bool = False) -> DelayCase:
    zone = hours().zone
    wednesday = Delivery(0, 1.0, date(2026, 7, 8))
    return delay_cases(date(2026, 7, 6), [wednesday], TIMES, to_counter=to_counter, origin=zone, destination=zone)[0]


def around(way: DelayCase, ends: Ends, drawn: Draws) -> np.ndarray:
    """Return the air around the box in every member, (hours + 1, members)."""
    return (
        ambient_ensemble.MemberAir(drawn)
        .ambient_cases(ambient_ensemble.shape_from_cases((way,)), *ends.airs)[0]
        .ambient_c.T
    )


def outside(of: Hours, way: DelayCase, drawn: Draws) -> np.ndarray:
    """Return the air outside at the origin in every member, (hours + 1, members)."""
    return ambient_ensemble.MemberAir(drawn).at_origin(place_air.hours_to_air(of), way.starts_at, way.hours + 1).T


def rows(of: DelayCase, exposure: Exposure) -> np.ndarray:
    return np.array([of.leg_at(at).exposure == exposure for at in of.times])


def test_a_missing_hour_stays_missing_in_every_member_and_nowhere_else(drawn: Draws) -> None:
    way = case()
    known = hours()
    hole = known.times.index(way.times[10])
    ends = Ends(replace(known, c=known.c[:hole] + (None,) + known.c[hole + 1 :]), known)
    missing = np.isnan(around(way, ends, drawn))
    assert missing[10].all()
    assert not np.delete(missing, 10, axis=0).any()


def test_a_hub_is_near_room_temperature_and_bracketed_by_both_ends(drawn: Draws) -> None:
    way = case()
    ends = Ends(hours(5.0, 0.0), hours(25.0, 0.0))
    hub_c = around(way, ends, drawn)[rows(way, Exposure.HUB)]
    # Three quarters of 18 °C and a quarter of 5 or 25 °C: every other member has the colder end.
    assert hub_c[:, 0::2].mean() == pytest.approx(14.75, abs=0.7)
    assert hub_c[:, 1::2].mean() == pytest.approx(19.75, abs=0.7)


def test_the_sun_warms_van_and_doorstep_by_day_and_no_counter(drawn: Draws) -> None:
    ends = Ends(hours(), hours())
    for exposure, least in ((Exposure.VAN, 3.0), (Exposure.DOORSTEP, 1.5)):
        way = case()
        here = rows(way, exposure) & np.array([at > way.times[24] for at in way.times])
        lit = around(way, ends, drawn)[here]
        dark = [replace(air, light=np.zeros_like(air.light)) for air in ends.airs]
        plain = (
            ambient_ensemble.MemberAir(drawn)
            .ambient_cases(ambient_ensemble.shape_from_cases((way,)), *dark)[0]
            .ambient_c.T[here]
        )
        assert (lit - plain).mean() > least
        assert (lit >= plain - 1e-9).all()
    counter = case(to_counter=True)
    inside = around(counter, ends, drawn)[rows(counter, Exposure.COUNTER)]
    assert inside.mean() == pytest.approx(0.9 * 21 + 0.1 * 24, abs=1.0)


def test_there_is_no_sun_at_night_and_less_under_a_sky_that_hardly_swings() -> None:
    times = hours().times[24:48]
    clear, dull = place_air.sunlight_w_m2(hours(swing=7.0), times), place_air.sunlight_w_m2(hours(swing=1.0), times)
    assert clear[5] == dull[5] == 0  # one in the morning in New York
    assert clear.max() > 700
    assert dull.max() < 0.45 * clear.max()


def test_a_day_of_which_too_little_is_known_has_no_sun_that_could_be_told() -> None:
    known = hours()
    late = tuple(
        None if at < START + timedelta(days=3) else value for at, value in zip(known.times, known.c, strict=True)
    )
    light = place_air.sunlight_w_m2(replace(known, c=late), known.times[24:48])
    assert np.isnan(light[17])
    assert light[5] == 0


def test_a_longer_lead_and_a_rougher_source_spread_every_member_further_out(drawn: Draws) -> None:
    way = case()
    fresh, old = hours(), hours(issued=(START - timedelta(days=3),) * len(hours().times))
    rough = hours(extra_sd_c=(1.7,) * len(hours().times))
    spread = {
        name: outside(seen_from, way, drawn) - outside(seen_from, way, drawn).mean(axis=1, keepdims=True)
        for name, seen_from in (("fresh", fresh), ("old", old), ("rough", rough))
    }
    assert (np.abs(spread["old"]) >= np.abs(spread["fresh"]) - 1e-5).all()
    assert spread["rough"].std() > spread["fresh"].std() * 1.2


def test_places_near_each_other_err_together_and_far_ones_do_not(drawn: Draws) -> None:
    way = case()

    def together(east: float) -> float:
        ends = Ends(hours(), hours(east=east))
        members, (origin, destination) = ambient_ensemble.MemberAir(drawn), ends.airs
        span, km = (way.starts_at, way.hours + 1), place_air.distance_km(ends.origin, ends.destination)
        here, there = members.at_origin(origin, *span).T, members.at_destination(destination, *span, km).T
        return float(np.corrcoef(here[20], there[20])[0, 1])

    assert together(-75.0) == pytest.approx(1.0)
    assert together(-74.0) > 0.3 > abs(together(-120.0))


def test_distance_along_the_earth() -> None:
    # A degree of longitude on the equator of a sphere of 6371 km: 111.19 km (arithmetic).
    assert place_air.distance_km(hours(north=0.0, east=0.0), hours(north=0.0, east=1.0)) == pytest.approx(
        111.19, abs=0.01
    )


def test_southern_seasons_are_turned_round() -> None:
    january = datetime(2026, 1, 15, tzinfo=UTC)
    assert place_air.season_at(january, 45.0) == "winter"
    assert place_air.season_at(january, -45.0) == "summer"


def known(**facts: object) -> DelayCase:
    """Return the same case when something is known about the service."""
    return replace(case(), template=replace(USUAL, **facts))  # type: ignore[arg-type]


def test_an_unheated_trailer_has_the_air_outside(drawn: Draws) -> None:
    ends = Ends(hours(5.0, 0.0), hours(25.0, 0.0))
    way = known(outside_share=OUTSIDE_SHARE[Service.Network.TRAILERS])
    hub_c = around(way, ends, drawn)[rows(way, Exposure.HUB)]
    # Still bracketed: every other member has the colder end's air, the rest the warmer's, and nothing of a depot.
    assert hub_c[:, 0::2].mean() == pytest.approx(5.0, abs=1.5)
    assert hub_c[:, 1::2].mean() == pytest.approx(25.0, abs=1.5)


def test_a_known_depot_is_as_warm_as_it_is(drawn: Draws) -> None:
    ends = Ends(hours(18.0, 0.0), hours(18.0, 0.0))
    way = known(hub_c=10.0, outside_share=0.25)
    hub_c = around(way, ends, drawn)[rows(way, Exposure.HUB)]
    assert hub_c.mean() == pytest.approx(0.75 * 10 + 0.25 * 18, abs=0.5)


def test_shade_is_never_warmer_and_sun_never_cooler_than_what_is_not_known(drawn: Draws) -> None:
    ends = Ends(hours(), hours())
    steps = {
        name: around(known(step_sun=span), ends, drawn)[rows(case(), Exposure.DOORSTEP)]
        for name, span in SUN_ON_STEP.items()
    }
    shade, unknown, sunny = (steps[name] for name in ("shade", "unknown", "sun"))
    assert (shade <= unknown).all()
    assert (unknown <= sunny).all()
    assert shade.mean() < unknown.mean() - 0.5 < sunny.mean() - 1.0


def test_what_is_not_known_of_a_service_leaves_the_way_as_it_was(drawn: Draws) -> None:
    assert service_template(Service()) == USUAL
    ends = Ends(hours(), hours())
    assert (around(known(), ends, drawn) == around(case(), ends, drawn)).all()
