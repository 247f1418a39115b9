"""How much less an hour is to be trusted than the error of its lead says: steps, gaps, a source that is unsure."""

from datetime import datetime

from breeder.heat.members import sigma_c
from breeder.weather import grid
from breeder.weather.models import Forecast
from breeder.weather.services.coarse import SD_C_BY_STEP
from breeder.weather.services.values import MISSING_MARK

# What a spread given by a source leaves out of the error at one real spot: added to it, 80 % of outcomes fell within
# 84 to 88 % intervals (Hannover 2015-20, data of Jobst, Moeller and Gross 2023, Zenodo 8193645).
SPOT_SD_C = 1.2


def step_h(row: Forecast, index: int) -> int:
    """Return the step of the source at an hour; 1 where it does not say, or where the hour is missing."""
    mark = row.quality[index] if index < len(row.quality) else MISSING_MARK
    return int(mark) if mark.isdecimal() else 1


def added_sd_c(row: Forecast, index: int, at: datetime, *, is_filled: bool) -> float:
    """Return what is added in quadrature to the usual error of the lead, °C."""
    coarse = SD_C_BY_STEP.get(step_h(row, index), max(SD_C_BY_STEP.values()))
    filled = grid.FILLED_SD_C if is_filled else 0.0
    given = row.spread_c[index] if index < len(row.spread_c) else None
    unsure = _beyond_usual(given, (at - row.issued_at) / grid.HOUR / 24) if given is not None else 0.0
    return float((row.extra_sd_c**2 + coarse**2 + filled**2 + unsure**2) ** 0.5)


def _beyond_usual(spread_c: float, lead_days: float) -> float:
    """Return what a source's own spread adds to the usual error of this lead; a small spread takes nothing away."""
    return max(0.0, spread_c**2 + SPOT_SD_C**2 - float(sigma_c(lead_days)) ** 2) ** 0.5
