"""How much less an hour is to be trusted than the error of its lead says: steps, gaps, a source that is unsure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from breeder.core.thermal import forecast_error
from breeder.weather import hour_grid, place_bias
from breeder.weather.models import Forecast, Learnt, Place
from breeder.weather.place_bias import Lesson
from breeder.weather.services.hour_flags import is_anchored, step_of
from breeder.weather.services.interpolation import SD_C_BY_STEP
from breeder.weather.services.types import MISSING_MARK

# What a spread given by a source leaves out of the error at one real spot: added to it, 80 % of outcomes fell within
# 84 to 88 % intervals (Hannover 2015-20, data of Jobst, Moeller and Gross 2023, Zenodo 8193645).
SPOT_SD_C = 1.2


def step_h(row: Forecast, index: int) -> int:
    """Return the step of the source at an hour; 1 where it does not say, or where the hour is missing."""
    return step_of(_mark(row, index))


def has_extremes(row: Forecast, index: int) -> bool:
    """Return whether the source gave its highest and lowest around an hour."""
    return is_anchored(_mark(row, index))


def has_spread(row: Forecast, index: int) -> bool:
    """Return whether the source itself says how unsure it is of an hour."""
    return index < len(row.spread_c) and row.spread_c[index] is not None


def _mark(row: Forecast, index: int) -> str:
    return row.quality[index] if index < len(row.quality) else MISSING_MARK


# The usual bias was measured on this service's forecasts; of no other is one known beforehand.
BIASED = frozenset({Forecast.Source.NWS})


def usual_bias_c(source: str) -> tuple[float, float]:
    """Return what is to be added to a source's low and high where nothing has been learnt, °C."""
    if source not in BIASED:
        return 0.0, 0.0
    return forecast_error.USUAL_LOW_BIAS_C, forecast_error.USUAL_HIGH_BIAS_C


@dataclass(frozen=True)
class Experience:
    """What a place taught about its sources, by source and bound of the lead."""

    zone: ZoneInfo
    latitude: float
    lessons: dict[tuple[str, int], Lesson]

    @classmethod
    def of(cls, place: Place, learnt: Iterable[Learnt], at: datetime) -> "Experience":
        """Return what counts at a moment of all that was learnt; what was learnt from another season does not."""
        since = at - place_bias.LEARNT_FROM
        lessons = {(row.source, row.lead_until_h): row.lesson for row in learnt if row.learnt_at > since}
        return cls(place.zone, float(place.latitude), lessons)

    def shift_c(self, row: Forecast, at: datetime) -> float:
        """Return what is added to a forecast of this lead at this hour of the day."""
        found, share = self._lesson(row, at), self._high_share(at)
        return share * found.high.bias_c + (1 - share) * found.low.bias_c

    def sd_share(self, row: Forecast, at: datetime) -> float:
        """Return how wide this source strays at this lead and hour, in parts of the usual error."""
        found, share = self._lesson(row, at), self._high_share(at)
        return share * found.high.share + (1 - share) * found.low.share

    def usual_sd_c(self, row: Forecast, at: datetime) -> float:
        """Return the usual error of this lead, season and hour, °C."""
        season = forecast_error.season_of(at.month, self.latitude)
        return _usual_sd_c(round((at - row.issued_at) / hour_grid.HOUR), at.astimezone(self.zone).hour, season)

    def _high_share(self, at: datetime) -> float:
        return _high_share(at.astimezone(self.zone).hour)

    def _lesson(self, row: Forecast, at: datetime) -> Lesson:
        bound = place_bias.bound_of((at - row.issued_at) / hour_grid.HOUR)
        found = self.lessons.get((row.source, bound)) if bound is not None else None
        return found or _untaught(row.source)


@lru_cache(maxsize=16)
def _untaught(source: str) -> Lesson:
    low, high = usual_bias_c(source)
    return Lesson(place_bias.side_of((), low), place_bias.side_of((), high))


@lru_cache(maxsize=24)
def _high_share(local_hour: int) -> float:
    return float(forecast_error.high_share(local_hour))


@lru_cache(maxsize=4096)
def _usual_sd_c(lead_h: int, local_hour: int, season: str) -> float:
    return float(forecast_error.sd_c(lead_h / 24, local_hour, season))


def added_sd_c(row: Forecast, index: int, at: datetime, experience: Experience, *, is_filled: bool) -> float:
    """Return what is added in quadrature to the error that is expected of the lead here, °C.

    Only ever wider: a source that says it is sure does not make a box safer than its past does.
    """
    coarse = SD_C_BY_STEP.get(step_h(row, index), max(SD_C_BY_STEP.values()))
    filled = hour_grid.FILLED_SD_C if is_filled else 0.0
    given = row.spread_c[index] if index < len(row.spread_c) else None
    said = 0.0 if given is None else (given**2 + SPOT_SD_C**2) ** 0.5
    expected = experience.sd_share(row, at) * experience.usual_sd_c(row, at) if said else 0.0
    beyond = max(0.0, said**2 - expected**2)
    return float((row.extra_sd_c**2 + coarse**2 + filled**2 + beyond) ** 0.5)
