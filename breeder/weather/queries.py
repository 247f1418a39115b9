"""Reads of places and their hours."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.db.models import Max, QuerySet

from breeder.base.models import Setting
from breeder.core.transit.weather_hours import Hours
from breeder.weather import forecast_spread, hour_grid, service_registry
from breeder.weather.climatology import UsualRange, from_measured
from breeder.weather.fetch_store import MEASURING
from breeder.weather.models import Forecast, Observation, Place, UsualMonth

# No source looks further than 16 days; files and recorded hours may be longer, but begin within this time.
LONGEST_FORECAST = timedelta(days=400)

# The page shows usual temperatures this far beyond the last known hour.
USUAL_AHEAD = timedelta(weeks=4)

# After this the page no longer says that fresh hours are on their way.
WANTED_FOR = timedelta(minutes=10)


def places() -> QuerySet[Place]:
    """Return all places, with the issue time of their newest hours."""
    return Place.objects.annotate(newest=Max("forecasts__issued_at")).order_by("label")


def place_forecasts(place: Place) -> QuerySet[Forecast]:
    """Return the forecasts received for a place, newest first."""
    return place.forecasts.select_related("by").order_by("-issued_at", "-id")


class ReceivedForecasts:
    """The forecasts of a place, read once; any span of hours is then merged from them."""

    def __init__(self, place: Place, rows: QuerySet[Forecast]) -> None:
        self.place, self.learnt = place, list(place.learnt.all())
        self.rows = list(rows.defer("provenance", "daily").order_by("-issued_at", "-id"))

    @classmethod
    def since(cls, place: Place, issued_since: datetime) -> "ReceivedForecasts":
        """Return the forecasts issued since a time."""
        return cls(place, place.forecasts.filter(issued_at__gte=issued_since))

    @property
    def kinds(self) -> list[str]:
        """Return the kinds of source that gave hours."""
        return sorted({row.source for row in self.rows})

    def hours(self, start: datetime, end: datetime, source: str | None = None) -> Hours:
        """Return the whole UTC hours from `start` to `end`, both included, each from the freshest source that has it.

        Gaps of up to three hours inside one source are interpolated linearly and flagged; nothing is extrapolated. With
        `source`, only that kind of source counts.
        """
        times = hour_grid.hours_between(start, end)
        merged = _Merged(times, forecast_spread.Experience.of(self.place, self.learnt, times[0]))
        for row in self.rows:
            if source in (None, row.source):
                merged.add(row)
            if merged.is_whole:
                break
        return merged.hours(self.place)


def hours_for(place: Place, start: datetime, end: datetime, *, issued_since: datetime | None = None) -> Hours:
    """Return the hours of one span, as `ReceivedForecasts.hours`, without forecasts issued before `issued_since`."""
    times = hour_grid.hours_between(start, end)
    rows = place.forecasts.filter(starts_at__lte=times[-1], starts_at__gt=times[0] - LONGEST_FORECAST)
    if issued_since is not None:
        rows = rows.filter(issued_at__gte=issued_since)
    return ReceivedForecasts(place, rows).hours(start, end)


@dataclass(frozen=True)
class ServiceState:
    """The last request to a chosen service for a place; `stands_in` names the service it replaces."""

    service: str
    is_wanted: bool
    asked_at: datetime | None
    trouble: str
    stands_in: str = ""


def service_states(place: Place, setting: Setting, now: datetime) -> list[ServiceState]:
    """Return the state of each chosen service for a place, in order; empty if none is chosen."""
    wanted = place.wanted_at is not None and now - place.wanted_at < WANTED_FOR
    last = {row.service: row for row in place.fetches.exclude(endpoint__in=MEASURING).order_by("asked_at")}
    askings: list[ServiceState] = []
    for chosen in service_registry.chosen_services(setting):
        row = last.get(chosen.service.key)
        asking = ServiceState(chosen.service.name, wanted, row.asked_at if row else None, row.trouble if row else "")
        if askings and askings[0].trouble and row and not row.trouble:
            asking = replace(asking, stands_in=askings[0].service)
        askings.append(asking)
    return askings


def stand_in_texts(place: Place, setting: Setting, now: datetime) -> list[str]:
    """Return a sentence if the first service failed and the hours of the second are used."""
    return [
        f"{place}: {asking.stands_in} did not give its hours; {asking.service} stands in."
        for asking in service_states(place, setting, now)
        if asking.stands_in
    ]


def usual_by_month(place: Place) -> dict[int, UsualRange]:
    """Return the usual lows and highs on record for a place, by month."""
    rows = UsualMonth.objects.filter(place=place)
    return {row.month: UsualRange(row.month, row.low_c, row.high_c) for row in rows}


def usual_credit(place: Place) -> str:
    """Return the last written source of a place's usual lows and highs."""
    credits = UsualMonth.objects.filter(place=place).exclude(credit="").order_by("month")
    return credits.values_list("credit", flat=True).first() or ""


def usual_texts(place: Place, months: Iterable[int], *, fahrenheit: bool) -> list[str]:
    """Return a sentence for each of these months with a usual low and high on record."""
    known = usual_by_month(place)
    return [known[month].text(place.label, fahrenheit=fahrenheit) for month in months if month in known]


def usual_ahead_texts(place: Place, hours: Hours | None, now: datetime, *, fahrenheit: bool) -> list[str]:
    """Return the sentences for the months of the four weeks after the last known hour."""
    known = [at for at, value in zip(hours.times, hours.c, strict=True) if value is not None] if hours else []
    first = max([*known, now]).astimezone(place.zone)
    return usual_texts(place, dict.fromkeys((first.month, (first + USUAL_AHEAD).month)), fahrenheit=fahrenheit)


def usual_by_measured(place: Place) -> list[UsualRange]:
    """Return the usual lows and highs from a place's measured hours, for months with enough of them."""
    return from_measured(Observation.objects.filter(place=place).values_list("at", "observed_c"), place.zone)


class _Merged:
    """Hours that are filled from one source after another, freshest first."""

    def __init__(self, times: tuple[datetime, ...], experience: forecast_spread.Experience) -> None:
        self.times, self.experience = times, experience
        self.c: list[float | None] = [None] * len(times)
        self.issued: list[datetime | None] = [None] * len(times)
        self.extra: list[float] = [0.0] * len(times)
        self.share: list[float] = [1.0] * len(times)
        self.filled = [False] * len(times)
        self.coarse, self.spread, self.anchored = ([False] * len(times) for _ in range(3))
        self.used: list[Forecast] = []

    @property
    def is_whole(self) -> bool:
        return None not in self.c

    def add(self, row: Forecast) -> None:
        offset = int((self.times[0] - row.starts_at) / hour_grid.HOUR)
        if None not in self.c[max(0, -offset) : max(0, len(row.hours_c) - offset)]:
            return
        values, filled = hour_grid.fill_short_gaps(row.hours_c)
        took = False
        for index, at in enumerate(self.times):
            there = index + offset
            value = values[there] if self.c[index] is None and 0 <= there < len(values) else None
            if value is None:
                continue
            self.c[index] = value + self.experience.shift_c(row, at)
            self.issued[index], self.filled[index] = row.issued_at, filled[there]
            self.extra[index] = forecast_spread.added_sd_c(row, there, at, self.experience, is_filled=filled[there])
            self.share[index] = self.experience.sd_share(row, at)
            self.coarse[index] = forecast_spread.step_h(row, there) > 1
            self.spread[index], self.anchored[index] = (
                forecast_spread.has_spread(row, there),
                forecast_spread.has_extremes(row, there),
            )
            took = True
        if took:
            self.used.append(row)

    def hours(self, place: Place) -> Hours:
        return Hours(
            label=place.label,
            latitude=float(place.latitude),
            longitude=float(place.longitude),
            timezone=place.timezone,
            times=self.times,
            c=tuple(self.c),
            issued=tuple(self.issued),
            extra_sd_c=tuple(self.extra),
            filled=tuple(self.filled),
            sources=tuple(dict.fromkeys(row.get_source_display() for row in self.used)),
            credits=tuple(dict.fromkeys(row.credit for row in self.used if row.credit)),
            sd_share=tuple(self.share) if any(share != 1.0 for share in self.share) else (),
            coarse=_if_any(self.coarse),
            spread=_if_any(self.spread),
            anchored=_if_any(self.anchored),
        )


def _if_any(flags: list[bool]) -> tuple[bool, ...]:
    return tuple(flags) if any(flags) else ()
