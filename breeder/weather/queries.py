"""Reads of places and their hours."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.db.models import Max, QuerySet

from breeder.base.models import Setting
from breeder.core.transit.weather_hours import Hours
from breeder.weather import forecast_spread, hour_grid, service_registry
from breeder.weather.climatology import Usual, from_measured
from breeder.weather.fetch_store import MEASURING
from breeder.weather.models import Forecast, Observation, Place, UsualMonth

# No source looks further than 16 days; files and recorded stretches may be longer, but begin within this time.
LONGEST_FORECAST = timedelta(days=400)

# So far beyond the last known hour is shown what is usual.
USUAL_AHEAD = timedelta(weeks=4)

# A wish for fresh hours that was not met by then is no longer said to be under way.
WANTED_FOR = timedelta(minutes=10)


def places() -> QuerySet[Place]:
    """Return all places with when their newest hours were issued."""
    return Place.objects.annotate(newest=Max("forecasts__issued_at")).order_by("label")


def forecasts_of(place: Place) -> QuerySet[Forecast]:
    """Return what was received for a place, newest first."""
    return place.forecasts.select_related("by").order_by("-issued_at", "-id")


class Received:
    """What a place's sources have given, read once; any stretch of hours is then merged from it."""

    def __init__(self, place: Place, rows: QuerySet[Forecast]) -> None:
        self.place, self.learnt = place, list(place.learnt.all())
        self.rows = list(rows.defer("provenance", "daily").order_by("-issued_at", "-id"))

    @classmethod
    def since(cls, place: Place, issued_since: datetime) -> "Received":
        """Return what was issued since a moment."""
        return cls(place, place.forecasts.filter(issued_at__gte=issued_since))

    @property
    def kinds(self) -> list[str]:
        """Return which kinds of source have given hours."""
        return sorted({row.source for row in self.rows})

    def hours(self, start: datetime, end: datetime, source: str | None = None) -> Hours:
        """Return the whole UTC hours from `start` to `end`, both included, each from the freshest source that has it.

        Gaps of up to three hours inside one source are drawn along a line and flagged; nothing is ever carried past an
        end. Where a kind of `source` is named all others are left out.
        """
        times = hour_grid.hours_between(start, end)
        merged = _Merged(times, forecast_spread.Experience.of(self.place, self.learnt, times[0]))
        for row in self.rows:
            if source in (None, row.source):
                merged.add(row)
            if merged.is_whole:
                break
        return merged.hours_of(self.place)


def hours_for(place: Place, start: datetime, end: datetime, *, issued_since: datetime | None = None) -> Hours:
    """Return the hours of one stretch, as `Received.hours`; sources issued before `issued_since` are left out."""
    times = hour_grid.hours_between(start, end)
    rows = place.forecasts.filter(starts_at__lte=times[-1], starts_at__gt=times[0] - LONGEST_FORECAST)
    if issued_since is not None:
        rows = rows.filter(issued_at__gte=issued_since)
    return Received(place, rows).hours(start, end)


@dataclass(frozen=True)
class Asking:
    """What a chosen service last did for a place, for its page; `stands_in` names the one whose place it takes."""

    service: str
    is_wanted: bool
    asked_at: datetime | None
    trouble: str
    stands_in: str = ""


def askings_of(place: Place, setting: Setting, now: datetime) -> list[Asking]:
    """Return how it stands with each chosen service, the first one first; nothing where none is chosen."""
    wanted = place.wanted_at is not None and now - place.wanted_at < WANTED_FOR
    last = {row.service: row for row in place.fetches.exclude(endpoint__in=MEASURING).order_by("asked_at")}
    found: list[Asking] = []
    for chosen in service_registry.chosen_of(setting):
        row = last.get(chosen.service.key)
        asking = Asking(chosen.service.name, wanted, row.asked_at if row else None, row.trouble if row else "")
        if found and found[0].trouble and row and not row.trouble:
            asking = replace(asking, stands_in=found[0].service)
        found.append(asking)
    return found


def stand_ins_of(place: Place, setting: Setting, now: datetime) -> list[str]:
    """Return a sentence where the first service failed and the second one's hours are used."""
    return [
        f"{place}: {asking.stands_in} did not give its hours; {asking.service} stands in."
        for asking in askings_of(place, setting, now)
        if asking.stands_in
    ]


def usual_of(place: Place) -> dict[int, Usual]:
    """Return what is usual at a place, by month, as it was kept."""
    rows = UsualMonth.objects.filter(place=place)
    return {row.month: Usual(row.month, row.low_c, row.high_c) for row in rows}


def usual_credit_of(place: Place) -> str:
    """Return where what is usual at a place came from, as it was written down last."""
    credits = UsualMonth.objects.filter(place=place).exclude(credit="").order_by("month")
    return credits.values_list("credit", flat=True).first() or ""


def usual_said(place: Place, months: Iterable[int], *, fahrenheit: bool) -> list[str]:
    """Return a sentence for each month of which it is known what is usual at a place."""
    known = usual_of(place)
    return [known[month].said(place.label, fahrenheit=fahrenheit) for month in months if month in known]


def usual_ahead_of(place: Place, hours: Hours | None, now: datetime, *, fahrenheit: bool) -> list[str]:
    """Return what is usual in the months of the four weeks after the last hour that is known."""
    known = [at for at, value in zip(hours.times, hours.c, strict=True) if value is not None] if hours else []
    first = max([*known, now]).astimezone(place.zone)
    return usual_said(place, dict.fromkeys((first.month, (first + USUAL_AHEAD).month)), fahrenheit=fahrenheit)


def usual_by_measured(place: Place) -> list[Usual]:
    """Return what is usual by the place's own measured hours, for the months that have enough of them."""
    return from_measured(Observation.objects.filter(place=place).values_list("at", "observed_c"), place.zone)


class _Merged:
    """Hours being filled from one source after another, the freshest first."""

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

    def hours_of(self, place: Place) -> Hours:
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
