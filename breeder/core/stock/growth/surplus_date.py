"""The date of a wanted surplus: the median date, and the date by which it is there 8 times in 10."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import scipy

from breeder.core.counting.defaults import DAYS_PER_MONTH, LONGEST_FORECAST_MONTHS, LUCK_VARIANCE

from .growth_rate import Growth

LIKELY, SURE = 0.5, 0.8  # the two chances that a date is given for
GRID = (np.arange(400) + 0.5) / 400  # equal slices of the distribution of the present number
STEP_MONTHS = 0.25  # between the months tried before the search narrows the date down
HALVINGS = 40


@dataclass(frozen=True)
class SurplusForecast:
    """The days on which a number is there with chance 0.5 and 0.8 (None: not within five years), and the reasons."""

    median_on: date | None
    sure_on: date | None
    notes: tuple[str, ...]


def chance_reached(
    months: float, now: float, log_sd: float, growth: Growth, wanted: float, capacity: float = math.inf
) -> float:
    """Return the chance that the tub holds `wanted` animals after `months`, starting from about `now` (log-normal).

    Growth is normal on the log scale with mean rate·t and variance t²·sd² + t·luck variance, and Beverton–Holt in
    the room for `capacity`. Without a capacity this is Φ{[ln(N/wanted) + r·t] / √(σ_N² + t²σ_r² + t·σ_p²)}.
    """
    if wanted >= capacity:
        return 0.0
    variance = (months * growth.sd) ** 2 + months * LUCK_VARIANCE
    if math.isinf(capacity):
        spread = math.sqrt(log_sd**2 + variance)
        ahead = math.log(now / wanted) + growth.rate * months
        return float(scipy.special.ndtr(ahead / spread)) if spread else float(ahead >= 0)
    starts = now * np.exp(log_sd * scipy.special.ndtri(GRID))
    room = np.clip(1 - starts / capacity, 1e-12, None)
    above = np.log(starts / room) - math.log(wanted / (1 - wanted / capacity)) + growth.rate * months
    if not variance:
        return float(np.mean(above >= 0))
    return float(np.mean(scipy.special.ndtr(above / math.sqrt(variance))))


def surplus_forecast(
    on: date,
    now: float,
    log_sd: float,
    growth: Growth,
    surplus: int,
    kept_back: int,
    capacity: float = math.inf,
) -> SurplusForecast:
    """Return when `surplus` animals above `kept_back` will be there, from the belief on the day `on`.

    The belief is `now` animals with log-scale spread `log_sd`; the tub has room for `capacity` animals. The forecast
    says when to count, never what to sell: births are not sold before they are counted.
    """
    wanted = float(surplus + kept_back)
    if now <= 0:
        return SurplusForecast(None, None, ("None are there to grow from.",))
    if wanted >= capacity:
        room = f"There is room for about {capacity:.0f}"
        why = f"{room}, so {surplus} above the {kept_back} kept back never fit. Split a tub."
        return SurplusForecast(None, None, (why,))
    median, sure = (_first_month(level, now, log_sd, growth, wanted, capacity) for level in (LIKELY, SURE))
    notes = [f"Growth of {math.expm1(growth.rate):.0%} a month in an uncrowded tub, {growth.mark}."]
    if median is None:
        notes.append(f"It is not likely within {LONGEST_FORECAST_MONTHS / 12:.0f} years.")
    elif sure is None:
        notes.append(
            "Growth is too much in doubt to name a day on which it is there 8 times in 10. Count now and then."
        )
    notes.append("Young are sold when they are counted, not before.")
    return SurplusForecast(_day(on, median), _day(on, sure), tuple(notes))


def _first_month(
    level: float, now: float, log_sd: float, growth: Growth, wanted: float, capacity: float
) -> float | None:
    def reached(months: float) -> bool:
        return chance_reached(months, now, log_sd, growth, wanted, capacity) >= level

    tried = np.arange(0.0, LONGEST_FORECAST_MONTHS + STEP_MONTHS, STEP_MONTHS)
    late = next((float(months) for months in tried if reached(float(months))), None)
    if not late:
        return late
    early = late - STEP_MONTHS
    for _ in range(HALVINGS):
        half = (early + late) / 2
        early, late = (early, half) if reached(half) else (half, late)
    return late


def _day(on: date, months: float | None) -> date | None:
    return None if months is None else on + timedelta(days=math.ceil(months * DAYS_PER_MONTH - 1e-6))
