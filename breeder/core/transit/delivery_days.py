"""Decide on which days a service may be used, and when a parcel then arrives."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from breeder.core.days import day_text

SUNDAY = 6

# Share of parcels 0, 1 and 2 days late, until the keeper has figures of their own. Source: US first-class mail was
# 85–94 % on time, about 96 % within a day of its standard (published service reports, 2022–2024).
DELAY_SHARES = (0.87, 0.09, 0.04)

DELAYS_FROM = "published reports of first-class mail, 2022–2024; not of live boxes"
OWN_DELAYS = "your own figures"

HORIZON_DAYS = 14
# Closures of next year are asked for this long before they matter, so from late fall on (common practice).
CLOSURES_AHEAD_DAYS = 60


@dataclass(frozen=True)
class Timing:
    """What decides the days of a service: weekdays for shipping (0 is Monday), working days needed, delays."""

    weekdays: frozenset[int]
    usual_days: int
    latest_days: int
    delay_shares: tuple[float, ...] = DELAY_SHARES


@dataclass(frozen=True)
class Delivery:
    """One possible delivery: how many working days late, how likely, on which date."""

    days_late: int
    share: float
    on: date

    @property
    def name(self) -> str:
        return {0: "on time", 1: "1 day late"}.get(self.days_late, f"{self.days_late} days late")


@dataclass(frozen=True)
class ShippingDay:
    """Whether a service can be used on a day, or why not; `latest_on` is the latest planned delivery."""

    on: date
    usable: bool
    why_not: str = ""
    latest_on: date | None = None


def is_working_day(day: date, closures: Iterable[date]) -> bool:
    """Return whether the carrier moves and delivers on this day: not on Sundays, not on closures."""
    return day.weekday() != SUNDAY and day not in set(closures)


def after_working_days(start: date, number: int, closures: Iterable[date]) -> date:
    """Return the day `number` working days after `start`; Sundays and closures between are extra nights in the box."""
    shut, day = set(closures), start
    for _ in range(number):
        day += timedelta(days=1)
        while not is_working_day(day, shut):
            day += timedelta(days=1)
    return day


def delivery_days(timing: Timing, day: date, closures: Iterable[date]) -> tuple[Delivery, ...]:
    """Return the delay cases of a parcel shipped on `day`; shares add up to 1.

    The last case with a share above 0 gets the remainder. Cases with no share are left out, so that no rounding error
    makes one up.
    """
    shut = set(closures)
    shares = list(timing.delay_shares) or list(DELAY_SHARES)
    latest = max((late for late, share in enumerate(shares) if share > 0), default=0)
    shares[latest] += 1 - sum(shares)
    return tuple(
        Delivery(late, share, after_working_days(day, timing.usual_days + late, shut))
        for late, share in enumerate(shares)
        if share > 0
    )


def shipping_day(timing: Timing, day: date, closures: Iterable[date]) -> ShippingDay:
    """Return whether a day may be used: allowed weekday, open, and no day off before the planned latest delivery."""
    shut = set(closures)
    if day in shut:
        return ShippingDay(day, False, "the carrier is closed")
    if day.weekday() not in timing.weekdays:
        return ShippingDay(day, False, f"this service is not used on a {day:%A}")
    latest = after_working_days(day, timing.latest_days, shut)
    if (latest - day).days > timing.latest_days:
        off = next(
            d
            for d in (day + timedelta(days=n) for n in range(1, timing.latest_days + 1))
            if not is_working_day(d, shut)
        )
        what = "Sunday" if off.weekday() == SUNDAY else f"closure on {day_text(off, this_year=day.year)}"
        return ShippingDay(day, False, f"the latest planned delivery would cross the {what}", latest)
    return ShippingDay(day, True, latest_on=latest)


def shipping_days(
    timing: Timing, closures: Iterable[date], from_day: date, horizon: int = HORIZON_DAYS
) -> tuple[ShippingDay, ...]:
    """Return `horizon` days from `from_day` on, each usable or with the reason why not."""
    shut = set(closures)
    return tuple(shipping_day(timing, from_day + timedelta(days=ahead), shut) for ahead in range(horizon))


def delay_shares_text(shares: Sequence[float]) -> str:
    """Return 'on time 87 %, 1 day late 9 %, 2 days late 4 %'."""
    names = [Delivery(late, share, date.min).name for late, share in enumerate(shares)]
    return ", ".join(f"{name} {share * 100:.3g} %" for name, share in zip(names, shares, strict=True) if share > 0)


def delay_source_text(shares: Sequence[float]) -> str:
    """Return the source of delay shares: reports for the usual ones, the keeper for all others."""
    return DELAYS_FROM if tuple(shares) in ((), DELAY_SHARES) else OWN_DELAYS


def missing_closures(known: dict[str, Sequence[date]], today: date) -> list[str]:
    """Return a sentence for each carrier and year without closures on record; next year counts from late fall on."""
    return [
        f"No closures of {carrier} are kept for {year}. Add them, or a holiday will be missed."
        for carrier, days in sorted(known.items())
        for year in years_without_closures(days, today, CLOSURES_AHEAD_DAYS)
    ]


def years_without_closures(known: Sequence[date], from_day: date, horizon: int = HORIZON_DAYS) -> tuple[int, ...]:
    """Return the years within the horizon without any closure on record, so that a holiday may be missed."""
    reached = {from_day.year, (from_day + timedelta(days=horizon)).year}
    return tuple(sorted(reached - {day.year for day in known}))
