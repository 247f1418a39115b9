"""How much less an hour is to be trusted than the error of its lead says: steps, gaps, a source that is unsure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from breeder.heat.members import sigma_c
from breeder.weather import grid, learning
from breeder.weather.models import Forecast, Learnt
from breeder.weather.services.coarse import SD_C_BY_STEP
from breeder.weather.services.values import MISSING_MARK

# What a spread given by a source leaves out of the error at one real spot: added to it, 80 % of outcomes fell within
# 84 to 88 % intervals (Hannover 2015-20, data of Jobst, Moeller and Gross 2023, Zenodo 8193645).
SPOT_SD_C = 1.2


def step_h(row: Forecast, index: int) -> int:
    """Return the step of the source at an hour; 1 where it does not say, or where the hour is missing."""
    mark = row.quality[index] if index < len(row.quality) else MISSING_MARK
    return int(mark) if mark.isdecimal() else 1


@dataclass(frozen=True)
class Experience:
    """What a place taught about its sources, by source and bound of the lead."""

    lessons: dict[tuple[str, int], tuple[float, float]]

    @classmethod
    def of(cls, rows: Iterable[Learnt]) -> "Experience":
        return cls({(row.source, row.lead_until_h): (row.bias_c, row.sd_c) for row in rows})

    def shift_c(self, row: Forecast, at: datetime) -> float:
        """Return what is added to a forecast of this lead."""
        return self._lesson(row, at)[0]

    def sd_c(self, row: Forecast, at: datetime) -> float:
        """Return how widely this source strays at this lead; 0 where nothing was learnt."""
        return self._lesson(row, at)[1]

    def _lesson(self, row: Forecast, at: datetime) -> tuple[float, float]:
        bound = learning.bound_of((at - row.issued_at) / grid.HOUR)
        return self.lessons.get((row.source, bound), (0.0, 0.0)) if bound is not None else (0.0, 0.0)


@lru_cache(maxsize=1024)
def _usual_sd_c(lead_h: int) -> float:
    return float(sigma_c(lead_h / 24))


def added_sd_c(row: Forecast, index: int, at: datetime, experience: Experience, *, is_filled: bool) -> float:
    """Return what is added in quadrature to the usual error of the lead, °C.

    Only ever wider: a source that says it is sure, or was right so far, does not make a box safer than usual.
    """
    coarse = SD_C_BY_STEP.get(step_h(row, index), max(SD_C_BY_STEP.values()))
    filled = grid.FILLED_SD_C if is_filled else 0.0
    given = row.spread_c[index] if index < len(row.spread_c) else None
    said = 0.0 if given is None else (given**2 + SPOT_SD_C**2) ** 0.5
    widest = max(said, experience.sd_c(row, at))
    beyond = max(0.0, widest**2 - _usual_sd_c(round((at - row.issued_at) / grid.HOUR)) ** 2) if widest else 0.0
    return float((row.extra_sd_c**2 + coarse**2 + filled**2 + beyond) ** 0.5)
