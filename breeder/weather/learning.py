"""What forecasts of a place and what really came of them teach: a bias and a spread by lead, drawn to the defaults."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from math import sqrt

# Leads within one of these bounds are learnt together, in hours.
BOUNDS_H = (24, 48, 72, 120, 192, 384)

# So many days' weight have the defaults: no bias, and the usual error of the lead (judgement: a month of days moves
# a bias by more than half, and the spread by half).
BIAS_WEIGHT_DAYS = 20
SD_WEIGHT_DAYS = 30


@dataclass(frozen=True)
class Pair:
    """What was forecast for an hour, and what that hour was."""

    issued_at: datetime
    valid_at: datetime
    forecast_c: float
    observed_c: float

    @property
    def lead(self) -> timedelta:
        return self.valid_at - self.issued_at

    @property
    def error_c(self) -> float:
        """Return what would have had to be added to the forecast."""
        return self.observed_c - self.forecast_c


@dataclass(frozen=True)
class Lesson:
    """What `days` days taught: `bias_c` is added to the forecast, `sd_c` is the spread of what is left."""

    days: int
    bias_c: float
    sd_c: float


def bound_of(lead_h: float) -> int | None:
    """Return the bound of the leads that a lead is learnt with; None before the issue or beyond all of them."""
    return next((bound for bound in BOUNDS_H if 0 <= lead_h < bound), None)


def lesson(pairs: Sequence[Pair], usual_sd_c: float) -> Lesson:
    """Return what pairs of one source, place and range of leads teach; without pairs it is the defaults.

    Hours of one day err together, so a day counts once, however many of its hours are there.
    """
    by_day: dict[date, list[float]] = {}
    for pair in pairs:
        by_day.setdefault(pair.valid_at.astimezone(UTC).date(), []).append(pair.error_c)
    days = len(by_day)
    if not days:
        return Lesson(0, 0.0, usual_sd_c)
    mean = sum(sum(errors) / len(errors) for errors in by_day.values()) / days
    bias = mean * days / (days + BIAS_WEIGHT_DAYS)
    # Around the bias that is used, so that a bias not yet trusted still counts as spread.
    left = sqrt(sum(sum((error - bias) ** 2 for error in errors) / len(errors) for errors in by_day.values()) / days)
    weight = days / (days + SD_WEIGHT_DAYS)
    return Lesson(days, bias, weight * left + (1 - weight) * usual_sd_c)


def by_bound(pairs: Sequence[Pair]) -> dict[int, list[Pair]]:
    """Return the pairs sorted into ranges of leads; those made after the fact teach nothing and are left out."""
    found: dict[int, list[Pair]] = {}
    for pair in pairs:
        bound = bound_of(pair.lead / timedelta(hours=1))
        if bound is not None:
            found.setdefault(bound, []).append(pair)
    return found
