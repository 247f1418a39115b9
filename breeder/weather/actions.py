"""What the keeper does with weather: keeps a place, sends in a file of hours, types lows and highs."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from breeder.base.action_frame import action
from breeder.base.dates import clock_said, moment_said
from breeder.base.queries import household
from breeder.base.steps import log
from breeder.core.units import degrees
from breeder.weather import daily_min_max, error_pairs, hour_grid, hours_csv, service_registry, steps
from breeder.weather.climatology import UsualRange, months_text
from breeder.weather.models import Forecast, Place, UsualMonth

# A file that does not say when it was made is taken to be this old when it is sent in.
UNKNOWN_AGE = timedelta(hours=12)

# Clocks differ by a little; more than this into the future is a slip.
CLOCKS_DIFFER = timedelta(minutes=10)

Readings = Sequence[tuple[datetime, float | None]]  # moments (UTC) and °C, in order of time


class NoService(ValidationError):
    """There is no weather service to ask."""


def _place(place_id: int, *_: Any, **__: Any) -> Place:
    return Place.objects.get(pk=place_id)


@action()
def keep_place(
    label: str, latitude: Any, longitude: Any, zone: str, altitude_m: int | None = None, *, by: Any
) -> Place:
    """Keep a place to hold hours for."""
    place = steps.place_for(latitude, longitude, zone, label)
    if altitude_m is not None:
        place.altitude_m = altitude_m
        place.save(update_fields=["altitude_m"])
    sentence = f"{place} at {place.latitude}, {place.longitude}, clock of {place.timezone}."
    log("kept a place", str(place), sentence, by=by)
    return place


@action(lock=_place)
def upload_hours(
    place: Place, readings: Readings, *, issued_at: datetime | None = None, credit: str = "", by: Any
) -> Forecast:
    """Keep the hours of a file that was read whole (`hours_csv.read`). Raises sheet.SheetRefused if it has none."""
    starts_at, values = hour_grid.on_whole_hours(readings)
    if all(value is None for value in values):
        raise hours_csv.SheetRefused(
            ["No whole hour can be read out of the file: its times stand more than an hour apart and off the hour. "
             "Give hours on the hour, or reports at least hourly."]
        )  # fmt: skip
    now = timezone.now()
    forecast = steps.keep_hours(
        place,
        Forecast.Source.FILE,
        starts_at,
        values,
        issued_at=_issued(issued_at, now),
        received_at=now,
        credit=credit,
        by=by,
    )
    log("sent in hours", str(place), summary(forecast), by=by)
    return forecast


@action(lock=_place)
def upload_measured(place: Place, readings: Readings, *, credit: str, by: Any) -> str:
    """Keep hours that were measured and learn from them; return what came of it. Raises sheet.SheetRefused."""
    now = timezone.now()
    if readings[-1][0] > now + CLOCKS_DIFFER:
        raise hours_csv.SheetRefused(
            [f"The file reaches to {readings[-1][0]:%Y-%m-%d %H:%M} UTC, which is still to come, so it was not "
             "measured. Untick it, or mend the dates."]
        )  # fmt: skip
    starts_at, hours = hour_grid.on_whole_hours(readings)
    new = error_pairs.keep_and_learn(place, starts_at, hours, credit, now)
    many = "1 measured hour is" if new == 1 else f"{new} measured hours are"
    said = f"{many} new for {place}; its forecasts are judged by {'it' if new == 1 else 'them'}."
    log("sent in measured hours", str(place), said, by=by)
    return said


@action(lock=_place)
def type_days(place: Place, days: Sequence[daily_min_max.DayExtremes], *, by: Any) -> Forecast:
    """Keep lows and highs typed for the next days; the hours between follow a day's usual course."""
    now = timezone.now()
    starts_at, values = daily_min_max.diurnal_hours(days, float(place.latitude), float(place.longitude), place.zone)
    forecast = steps.keep_hours(
        place,
        Forecast.Source.BY_HAND,
        starts_at,
        values,
        issued_at=now,
        received_at=now,
        extra_sd_c=daily_min_max.SHAPE_SD_C,
        credit="Lows and highs as typed; the hours between after Parton and Logan (1981)",
        daily=[[day.on.isoformat(), day.low_c, day.high_c] for day in days],
        by=by,
    )
    log("typed lows and highs", str(place), summary(forecast), by=by)
    return forecast


@action(lock=_place)
def keep_usual(
    place: Place, months: Sequence[UsualRange], *, removes_others: bool = False, credit: str = "", by: Any
) -> Place:
    """Keep what is usual at a place in these months; the others stay as they are, unless they are to be removed."""
    given = {one.month for one in months}
    others = UsualMonth.objects.filter(place=place).exclude(month__in=given)
    removed = others.delete()[0] if removes_others else 0
    UsualMonth.objects.filter(place=place, month__in=given).delete()
    UsualMonth.objects.bulk_create(
        UsualMonth(place=place, month=one.month, low_c=one.low_c, high_c=one.high_c, credit=credit) for one in months
    )
    said = f"Lows and highs of {months_text(len(months))} at {place}."
    said += f" Removed {months_text(removed)}." if removed else ""
    log("kept what is usual", str(place), said, by=by)
    return place


@action(lock=_place)
def want_fresh(place: Place, *, by: Any) -> Place:
    """Ask for fresh hours of a place; they are brought beside the page. Raises NoService while none can be asked."""
    service = service_registry.first_service(household())
    if service is None:
        raise NoService(
            "No weather service is chosen yet. The keeper chooses one in the settings; until then send in a file, or "
            "type lows and highs.",
            code="no_service",
        )
    Place.objects.filter(pk=place.pk).update(wanted_at=timezone.now())
    log("asked for fresh hours", str(place), f"Asked {service.name} for {place}.", by=by)
    return place


def place_url(place: Place) -> str:
    """Return the address of a place's page."""
    return reverse("weather:place", args=[place.pk])


def summary(forecast: Forecast) -> str:
    """Return what was kept, in a sentence that shows a wrong unit or zone at a glance."""
    # Lows and highs say nothing of the hours before the first and after the last of them: those are no gap.
    held = [place for place, value in enumerate(forecast.hours_c) if value is not None]
    known = [forecast.hours_c[place] for place in held]
    missing = held[-1] - held[0] + 1 - len(held)
    zone = forecast.place.zone
    first = (forecast.starts_at + held[0] * hour_grid.HOUR).astimezone(zone)
    last = (forecast.starts_at + held[-1] * hour_grid.HOUR).astimezone(zone)
    fahrenheit = household().fahrenheit
    low, high = (degrees(value, fahrenheit=fahrenheit) for value in (min(known), max(known)))
    hours = "1 hour" if len(known) == 1 else f"{len(known)} hours"
    many = "1 hour between is" if missing == 1 else f"{missing} hours between are"
    gaps = f" {many} missing; only short gaps will be filled." if missing else ""
    return (
        f"Kept {hours} for {forecast.place}, from {clock_said(first, short=True)} to {clock_said(last, short=True)} "
        f"(its own clock): lowest {low}, highest {high}.{gaps}"
    )


def _issued(given: datetime | None, now: datetime) -> datetime:
    if given is None:
        return now - UNKNOWN_AGE
    if given > now + CLOCKS_DIFFER:
        raise ValidationError(
            f"The forecast cannot have been made at {moment_said(given)}, which is still to come. "
            "Give the time at which it was issued, or leave it empty.",
            code="issued_later",
        )
    return given
