"""The spread of a forecast hour beyond the usual error of its lead: coarse steps, gaps, and the source's own spread."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from breeder.core.thermal import forecast_error
from breeder.weather import hour_grid, place_bias
from breeder.weather.models import Forecast, Learnt, Place
from breeder.weather.place_bias import Lesson
from breeder.weather.services.hour_flags import flag_step_h, is_anchored
from breeder.weather.services.interpolation import SD_C_BY_STEP
from breeder.weather.services.types import MISSING_MARK

# The error at one real spot that the spread of a source leaves out: with it added, 80 % of outcomes fell within 84 to
# 88 % intervals (Hannover 2015-20, data of Jobst, Moeller and Gross 2023, Zenodo 8193645).
SPOT_SD_C = 1.2


def step_h(row: Forecast, index: int) -> int:
    """Return the step of the source at an hour, in hours; 1 if it does not say or the hour is missing."""
    return flag_step_h(_mark(row, index))


def has_extremes(row: Forecast, index: int) -> bool:
    """Return whether the source gave a high and a low around an hour."""
    return is_anchored(_mark(row, index))


def has_spread(row: Forecast, index: int) -> bool:
    """Return whether the source gave a spread for an hour."""
    return index < len(row.spread_c) and row.spread_c[index] is not None


def _mark(row: Forecast, index: int) -> str:
    return row.quality[index] if index < len(row.quality) else MISSING_MARK


# The usual bias was measured on this service's forecasts; it is not known for the others.
BIASED = frozenset({Forecast.Source.NWS})


def usual_bias_c(source: str) -> tuple[float, float]:
    """Return what to add to a source's low and high where nothing was learned yet, °C."""
    if source not in BIASED:
        return 0.0, 0.0
    return forecast_error.USUAL_LOW_BIAS_C, forecast_error.USUAL_HIGH_BIAS_C


@dataclass(frozen=True)
class Experience:
    """The lessons of a place about its sources, by source and lead bound (hours)."""

    zone: ZoneInfo
    latitude: float
    lessons: dict[tuple[str, int], Lesson]

    @classmethod
    def of(cls, place: Place, learnt: Iterable[Learnt], at: datetime) -> "Experience":
        """Return the lessons that count at a time; those of another season do not."""
        since = at - place_bias.LEARNT_FROM
        lessons = {(row.source, row.lead_until_h): row.lesson for row in learnt if row.learnt_at > since}
        return cls(place.zone, float(place.latitude), lessons)

    def shift_c(self, row: Forecast, at: datetime) -> float:
        """Return what to add to a forecast of this lead at this hour of the day, °C."""
        lesson, share = self._lesson(row, at), self._high_share(at)
        return share * lesson.high.bias_c + (1 - share) * lesson.low.bias_c

    def sd_share(self, row: Forecast, at: datetime) -> float:
        """Return the spread of this source at this lead and hour, as a share of the usual error."""
        lesson, share = self._lesson(row, at), self._high_share(at)
        return share * lesson.high.share + (1 - share) * lesson.low.share

    def usual_sd_c(self, row: Forecast, at: datetime) -> float:
        """Return the usual error of this lead, season and hour, °C."""
        season = forecast_error.season_name(at.month, self.latitude)
        return _usual_sd_c(round((at - row.issued_at) / hour_grid.HOUR), at.astimezone(self.zone).hour, season)

    def _high_share(self, at: datetime) -> float:
        return _high_share(at.astimezone(self.zone).hour)

    def _lesson(self, row: Forecast, at: datetime) -> Lesson:
        bound = place_bias.lead_bound_h((at - row.issued_at) / hour_grid.HOUR)
        lesson = self.lessons.get((row.source, bound)) if bound is not None else None
        return lesson or _untaught(row.source)


@lru_cache(maxsize=16)
def _untaught(source: str) -> Lesson:
    low, high = usual_bias_c(source)
    return Lesson(place_bias.learn_side((), low), place_bias.learn_side((), high))


@lru_cache(maxsize=24)
def _high_share(local_hour: int) -> float:
    return float(forecast_error.high_share(local_hour))


@lru_cache(maxsize=4096)
def _usual_sd_c(lead_h: int, local_hour: int, season: str) -> float:
    return float(forecast_error.sd_c(lead_h / 24, local_hour, season))


def added_sd_c(row: Forecast, index: int, at: datetime, experience: Experience, *, is_filled: bool) -> float:
    """Return the spread to add in quadrature to the expected error of the lead here, °C.

    It only widens: a source that claims to be sure never makes a box safer than its record does.
    """
    coarse = SD_C_BY_STEP.get(step_h(row, index), max(SD_C_BY_STEP.values()))
    filled = hour_grid.FILLED_SD_C if is_filled else 0.0
    given = row.spread_c[index] if index < len(row.spread_c) else None
    given_sd = 0.0 if given is None else (given**2 + SPOT_SD_C**2) ** 0.5
    expected = experience.sd_share(row, at) * experience.usual_sd_c(row, at) if given_sd else 0.0
    beyond = max(0.0, given_sd**2 - expected**2)
    return float((row.extra_sd_c**2 + coarse**2 + filled**2 + beyond) ** 0.5)
