"""Make replay days from cities with daily forecasts and outcomes: who ships to whom, and hours from lows and highs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from breeder.core.thermal import forecast_error
from breeder.core.thermal.diurnal import parton_logan
from breeder.core.transit import place_air
from breeder.core.transit.weather_hours import Hours
from breeder.evaluation.replay.decisions import ReplayCase, journey_on
from breeder.evaluation.replay.forecast_pairs import LEADS, City
from breeder.weather import daily_min_max, hour_grid, place_bias
from breeder.weather.place_bias import DayError

Array = NDArray[np.float64]

DAYS_BEFORE, DAYS_AFTER = 1, LEADS - 1
ISSUED = time(5)  # before dawn of the shipping day
WHO_POSTS_SEED = 4_000_000
BOXES_A_DAY = 1_000  # seeds kept apart for each day
LEARNT_DAYS = place_bias.LEARNT_FROM.days


@dataclass(frozen=True, eq=False)
class Town:
    """A city as the check sees it on any morning, with what has been learned there by then."""

    city: City
    learns: bool

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.city.timezone)

    def side(self, name: str, day: int, lead: int) -> place_bias.BiasSide:
        """Return what was learned about forecasts `lead` days ahead, by the morning that many days before `day`."""
        usual = forecast_error.USUAL_LOW_BIAS_C if name == "low" else forecast_error.USUAL_HIGH_BIAS_C
        if not self.learns:
            return place_bias.learn_side((), usual)
        morning = day - lead
        first = max(0, morning - LEARNT_DAYS)
        errors = self._errors[name][first:morning, lead]
        usual_sd = self._usual_sd[name][first:morning, lead]
        known = np.isfinite(errors)
        pairs = zip(errors[known].tolist(), usual_sd[known].tolist(), strict=True)
        return place_bias.learn_side([DayError(*pair) for pair in pairs], usual)

    @cached_property
    def _errors(self) -> dict[str, Array]:
        city = self.city
        return {"low": city.low[:, None] - city.forecast_low, "high": city.high[:, None] - city.forecast_high}

    @cached_property
    def _usual_sd(self) -> dict[str, Array]:
        months = [(self.city.first + timedelta(days=day)).month for day in range(self.city.days)]
        seasons = [forecast_error.season_name(month, self.city.latitude) for month in months]
        return {name: np.array([usual_sd_c(name, season) for season in seasons]) for name in ("low", "high")}


def usual_sd_c(name: str, season: str) -> Array:
    """Return the usual error of a season's low or high at every lead, (leads,)."""
    leads = np.arange(float(LEADS))
    if name == "low":
        return forecast_error.low_sd_c(leads, season)
    return forecast_error.high_sd_c(leads + (forecast_error.HIGH_AT_H - forecast_error.LOW_AT_H) / 24, season)


def city_cases(cities: Sequence[City], *, every: int, to_counter: bool, learns: bool) -> list[ReplayCase]:
    """Return each `every`-th day of every city, with a box coming from another city drawn at random.

    Skips days that lack a value or have an impossible one.
    """
    towns = [Town(city, learns) for city in cities]
    days = range(DAYS_BEFORE + LEARNT_DAYS, max((city.days for city in cities), default=0) - DAYS_AFTER, every)
    cases = []
    for day in days:
        lot = np.random.default_rng([WHO_POSTS_SEED, day])
        for place, town in enumerate(towns):
            step = int(lot.integers(1, len(towns))) if len(towns) > 1 else 0
            on = cities[0].first + timedelta(days=day)
            case = _case(towns[(place + step) % len(towns)], town, on, place, to_counter)
            if case is not None:
                cases.append(case)
    return cases


def _case(origin: Town, destination: Town, on: date, place: int, to_counter: bool) -> ReplayCase | None:
    truth = [_truth(town.city, on) for town in (origin, destination)]
    forecasts = [_forecast(town, on) for town in (origin, destination)]
    if any(hours is None for hours in (*truth, *forecasts)):
        return None
    seed = on.toordinal() * BOXES_A_DAY + place
    real, forecast = (tuple(place_air.hours_to_air(hours) for hours in both) for both in (truth, forecasts))
    return ReplayCase(journey_on(on, to_counter=to_counter), real, forecast, seed)


@dataclass(frozen=True, eq=False)
class _Days:
    """Lows and highs from the day before a shipping day on, (days,), and the share of their usual error, (days,)."""

    low: Array
    high: Array
    low_share: Array
    high_share: Array


def _truth(city: City, on: date) -> Hours | None:
    at = city.day_index(on)
    window = slice(at - DAYS_BEFORE, at + DAYS_AFTER + 1)
    if window.start < 0 or window.stop > city.days:
        return None
    low, high = city.low[window], city.high[window]
    return _hours(city, on, _Days(low, high, np.ones_like(low), np.ones_like(low)))


def _forecast(town: Town, on: date) -> Hours | None:
    """Return the forecast of a shipping morning, corrected by what was learned there; the night before is past."""
    city, at = town.city, town.city.day_index(on)
    if at < DAYS_BEFORE or at + DAYS_AFTER >= city.days:
        return None
    low, high = city.low[at - DAYS_BEFORE : at + 1], city.high[at - DAYS_BEFORE : at]
    lows = [town.side("low", at + lead, lead) for lead in range(1, LEADS)]
    highs = [town.side("high", at + lead, lead) for lead in range(LEADS)]
    ahead = np.arange(LEADS)
    return _hours(
        city,
        on,
        _Days(
            np.concatenate([low, city.forecast_low[at + ahead[1:], ahead[1:]] + [side.bias_c for side in lows]]),
            np.concatenate([high, city.forecast_high[at + ahead, ahead] + [side.bias_c for side in highs]]),
            np.array([1.0] * len(low) + [side.share for side in lows]),
            np.array([1.0] * len(high) + [side.share for side in highs]),
        ),
    )


def _hours(city: City, on: date, days: _Days) -> Hours | None:
    """Return hours on the usual course between lows and highs; None where a value is missing."""
    # The last day's high is not needed: its low ends the last night.
    if np.isnan(days.low).any() or np.isnan(days.high[:-1]).any():
        return None
    zone = ZoneInfo(city.timezone)
    dates = [on + timedelta(days=ahead) for ahead in range(-DAYS_BEFORE, DAYS_AFTER + 1)]
    suns = np.array([daily_min_max.sun_times(each, city.latitude, city.longitude, zone) for each in dates])
    high = np.where(np.isnan(days.high), days.high[-2], days.high)
    low = np.minimum(days.low, high)
    values = parton_logan(low, high, suns[:, 0], suns[:, 1])
    start = daily_min_max.standard_midnight(dates[0], zone)
    number = len(values)
    share = forecast_error.high_share(np.arange(number) % 24)
    each = np.arange(number) // 24
    issued = datetime.combine(on, ISSUED, tzinfo=zone).astimezone(UTC)
    return Hours(
        label=city.name,
        latitude=city.latitude,
        longitude=city.longitude,
        timezone=city.timezone,
        times=tuple(start + step * hour_grid.HOUR for step in range(number)),
        c=tuple(float(value) for value in values),
        issued=(issued,) * number,
        extra_sd_c=(0.0,) * number,
        filled=(False,) * number,
        sources=(city.name,),
        credits=(),
        sd_share=tuple(float(value) for value in share * days.high_share[each] + (1 - share) * days.low_share[each]),
    )
