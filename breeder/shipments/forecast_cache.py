"""Cache the air of every place over the board's horizon as arrays, until new hours arrive."""

import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from threading import Lock
from typing import Any

from django.db.models import Count, Max, Q
from django.utils import timezone

from breeder.base.models import Setting
from breeder.carriers.queries import carrier_closures, service_timing
from breeder.core.transit import place_air, source_conflicts
from breeder.core.transit.delivery_days import shipping_days
from breeder.core.transit.place_air import ONE_DAY, PlaceAir
from breeder.core.transit.source_conflicts import JourneyEnd
from breeder.core.transit.trial_result import Journey
from breeder.core.transit.weather_hours import Hours
from breeder.people.models import Address
from breeder.shipments import run_check
from breeder.shipments.models import Parcel
from breeder.shipments.queries import parcels as parcel_queries
from breeder.shipments.rules import departure_rules
from breeder.weather.hour_grid import hours_between
from breeder.weather.models import Place
from breeder.weather.queries import ReceivedForecasts

DAYS_SHOWN = 10
READ_IN_ANY_CASE = 12  # places not in the cache; each takes a few milliseconds


@dataclass(frozen=True)
class CachedPlace:
    """One place's hours: the freshest with their arrays, and those of each source if there are several."""

    freshest: PlaceAir
    by_source: tuple[Hours, ...] = ()


class NotReadYet(Exception):
    """A place's hours were not read before the page must answer."""


class _PlaceCache:
    """The last read of each place, stamped with what had been received and learned; the oldest is dropped first."""

    SIZE = 1024  # places of about 0.2 MB

    def __init__(self) -> None:
        self.reads: OrderedDict[int, tuple[Any, CachedPlace]] = OrderedDict()
        self.lock = Lock()

    def get(self, place: int, stamp: Any, make: Callable[[], CachedPlace]) -> CachedPlace:
        """Return the read with the same stamp, or read now."""
        kept = self.reads.get(place)
        if kept is not None and kept[0] == stamp:
            return kept[1]
        read = make()
        with self.lock:
            self.reads[place] = (stamp, read)
            while len(self.reads) > self.SIZE:
                self.reads.popitem(last=False)
        return read


PLACE_CACHE = _PlaceCache()


class BoardForecasts:
    """The air at both ends of all boxes, and their journeys, over the horizon; no new place is read after `until`."""

    def __init__(
        self, household: Setting, now: datetime, addresses: Iterable[Address], until: float | None = None
    ) -> None:
        self.until, self.newly_read = until, 0
        self.now, self.today = now, timezone.localdate(now)
        self.since = now - departure_rules.FORECAST_LAPSES
        self.home = household
        # From midnight on, so that a passing hour does not change computed cells.
        first = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0) - 2 * ONE_DAY
        horizon = timedelta(days=parcel_queries.HORIZON_DAYS)
        self.span = (first, first + 3 * ONE_DAY + horizon + run_check.LONGEST_JOURNEY)
        self.places = self._places([household, *addresses])
        self.by_place: dict[tuple[object, object], CachedPlace] = {}
        self.airs: dict[int, PlaceAir] = {}
        self.by_service: dict[tuple[int, str], list[Journey]] = {}

    def journeys(self, parcel: Parcel) -> list[Journey]:
        """Return a box's journeys on its next shipping days; boxes of one service and way share them."""
        key = (parcel.service_id, parcel.way)
        if key not in self.by_service:
            closures = carrier_closures(parcel.service.carrier)
            timing = service_timing(parcel.service)
            horizon = shipping_days(timing, closures, self.today, parcel_queries.HORIZON_DAYS)
            days = [day.on for day in horizon if day.usable]
            to_counter = parcel.way == Parcel.Way.COUNTER
            self.by_service[key] = [
                run_check.box_journey(parcel, parcel.service, day, to_counter=to_counter) for day in days[:DAYS_SHOWN]
            ]
        return self.by_service[key]

    def readings(self, address: Address, journey: Journey) -> tuple[tuple[PlaceAir, PlaceAir], ...]:
        """Return every reading of both ends on a journey, the freshest first."""
        origin = self._side(self.home.latitude, self.home.longitude, self.home.timezone, "Home", journey)
        destination = self._side(address.latitude, address.longitude, address.timezone, str(address), journey)
        return tuple(
            (self._air(ends.origin), self._air(ends.destination))
            for ends in source_conflicts.readings(origin, destination)
        )

    def _side(self, latitude: object, longitude: object, zone: str, label: str, journey: Journey) -> JourneyEnd:
        key = (latitude, longitude)
        if key not in self.by_place:
            self.by_place[key] = self._read(latitude, longitude, zone, label)
        read = self.by_place[key]
        freshest = read.freshest.hours
        self.airs[id(freshest)] = read.freshest
        if not read.by_source:
            return JourneyEnd(freshest)
        last = journey.deliveries[-1].on + ONE_DAY
        wanted = {at for at in freshest.times if journey.post_on <= at.astimezone(freshest.zone).date() <= last}
        return source_conflicts.journey_end(freshest, read.by_source, wanted)

    def _air(self, hours: Hours) -> PlaceAir:
        # An Air keeps its hours alive, so that no other hours can get the same id.
        if id(hours) not in self.airs:
            self.airs[id(hours)] = place_air.hours_to_air(hours)
        return self.airs[id(hours)]

    def _places(self, spots: Iterable[Any]) -> dict[tuple[object, object], Place]:
        """Return all places in one query, with a stamp of what was received for each."""
        latitudes = {spot.latitude for spot in spots if spot.latitude is not None}
        fresh = Q(forecasts__issued_at__gte=self.since)
        rows = Place.objects.filter(latitude__in=latitudes).prefetch_related("learnt")
        stamps = {
            "newest": Max("forecasts__pk", filter=fresh),
            "received": Max("forecasts__received_at", filter=fresh),
            "many": Count("forecasts", filter=fresh),
        }
        return {(row.latitude, row.longitude): row for row in rows.annotate(**stamps)}

    def _read(self, latitude: object, longitude: object, zone: str, label: str) -> CachedPlace:
        place = self.places.get((latitude, longitude))
        if place is None:
            return CachedPlace(
                place_air.hours_to_air(_unknown(float(str(latitude)), float(str(longitude)), zone, label, *self.span))
            )
        learnt = tuple((row.source, row.lead_until_h, row.lesson) for row in place.learnt.all())
        stamp = [getattr(place, name) for name in ("label", "timezone", "newest", "received", "many")]
        return PLACE_CACHE.get(place.pk, (*stamp, learnt, self.span), lambda: self._hours(place))

    def _in_time(self) -> None:
        # Reads stay in the cache and a few always happen, so a page that asks again gets further each time.
        if self.until is not None and self.newly_read >= READ_IN_ANY_CASE and time.monotonic() > self.until:
            raise NotReadYet
        self.newly_read += 1

    def _hours(self, place: Place) -> CachedPlace:
        self._in_time()
        received = ReceivedForecasts.since(place, self.since)
        freshest = place_air.hours_to_air(received.hours(*self.span))
        if len(received.kinds) < 2:
            return CachedPlace(freshest)
        return CachedPlace(freshest, tuple(received.hours(*self.span, kind) for kind in received.kinds))


def _unknown(latitude: float, longitude: float, zone: str, label: str, start: datetime, end: datetime) -> Hours:
    times = hours_between(start, end)
    none = (None,) * len(times)
    return Hours(
        label, latitude, longitude, zone, times, none, none, (0.0,) * len(times), (False,) * len(times), (), ()
    )
