"""Fetch fresh forecasts place by place: one run at a time, never inside a page or a transaction."""

import logging
import random
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar
from urllib.parse import urlsplit

from django.db import connections, transaction

from breeder.base.queries import household
from breeder.weather import error_pairs, fetch_store, host_backoff, hour_grid, leases, service_registry
from breeder.weather.fetcher import Fetcher
from breeder.weather.models import Forecast, Place
from breeder.weather.services.errors import BadResponse, NotCovered, RateLimited, ServiceTrouble, Unavailable
from breeder.weather.services.nws import NwsService
from breeder.weather.services.types import ServiceAnswer, ServiceRequest, WeatherService
from breeder.weather.services.us_stations import OBSERVED_KEPT_FOR, STATIONS_KEPT_FOR, UsStations

LOG = logging.getLogger(__name__)
ReadResult = TypeVar("ReadResult")

HORIZON = timedelta(days=12)
OBSERVED_BACK = timedelta(days=3)
NOT_MODIFIED = 304

# Everyone asks the services on the full hour; stay a few minutes away from it.
BUSY_BEFORE_S, BUSY_AFTER_S = 60, 120
LATEST_AFTER_S = 420


_BROUGHT, _STILL_GOOD, _FAILED = "brought", "still good", "failed"


class _NothingNew(Exception):
    """The stored answer is still good, so there is nothing to read."""


@dataclass
class RefreshReport:
    """The result of a run: the number of places with fresh hours, and a sentence for each failure."""

    was_running: bool = False
    brought: int = 0
    still_good: int = 0
    troubles: list[str] = field(default_factory=list)

    @property
    def sentence(self) -> str:
        if self.was_running:
            return "Forecasts are being brought by another run already."
        places = "1 place" if self.brought == 1 else f"{self.brought} places"
        fresh = "1 was fresh still" if self.still_good == 1 else f"{self.still_good} were fresh still"
        summary = f"Fresh hours for {places}; {fresh}."
        return " ".join([summary, *dict.fromkeys(self.troubles)])


def seconds_off_the_hour(now: datetime, dice: random.Random) -> float:
    """Return how many seconds to wait near the full hour; 0 at other times."""
    into = now.minute * 60 + now.second
    if BUSY_AFTER_S <= into < 3600 - BUSY_BEFORE_S:
        return 0.0
    to_the_hour = 3600 - into if into > 1800 else -into
    return to_the_hour + dice.uniform(BUSY_AFTER_S, LATEST_AFTER_S)


def refresh(
    needed: Callable[[], Iterable[Place]],
    *,
    make: service_registry.MakeFetcher = service_registry.fetcher_for,
    only_wanted: bool = False,
) -> RefreshReport:
    """Fetch hours for the needed places and those asked for meanwhile; does nothing during another run."""
    setting = household()
    askers = [
        (chosen.service, make(chosen.service, chosen.own_home)) for chosen in service_registry.chosen_services(setting)
    ]
    if not askers:
        return RefreshReport(troubles=["No weather service is chosen. Choose one in the settings, or send in files."])
    fetcher = askers[0][1]
    holder = leases.take(leases.REFRESHING, fetcher.clock())
    if holder is None:
        return RefreshReport(was_running=True)
    try:
        run = _Run(askers, holder)
        if not only_wanted:
            run.bring(needed())
        run.bring_wanted()
        fetch_store.drop_old(fetcher.clock())
        return run.report
    finally:
        leases.give_back(leases.REFRESHING, holder, fetcher.clock())


@dataclass
class _Run:
    """A run that holds the lease; it asks every service about each place."""

    askers: list[tuple[WeatherService, Fetcher]]
    holder: str
    report: RefreshReport = field(default_factory=RefreshReport)

    @property
    def now(self) -> datetime:
        return self.askers[0][1].clock()

    def bring(self, places: Iterable[Place]) -> None:
        """Fetch hours for places; stops if another run took the lease."""
        for place in places:
            if not leases.renew(leases.REFRESHING, self.holder, self.now):
                return
            self.bring_one(place)

    def bring_wanted(self) -> None:
        """Fetch hours for places that someone asked for, also during this run."""
        tried: set[int] = set()
        while wanted := list(Place.objects.filter(wanted_at__isnull=False).exclude(pk__in=tried)):
            tried |= {place.pk for place in wanted}
            self.bring(wanted)

    def bring_one(self, place: Place) -> None:
        """Fetch hours for one place; note failures with it, and report if another service stands in."""
        outcomes = {service.name: self._bring_from(service, fetcher, place) for service, fetcher in self.askers}
        self.report.brought += _BROUGHT in outcomes.values()
        self.report.still_good += _BROUGHT not in outcomes.values() and _STILL_GOOD in outcomes.values()
        first, *others = outcomes
        stand_ins = [name for name in others if outcomes[name] != _FAILED]
        if outcomes[first] == _FAILED and stand_ins:
            self.report.troubles.append(f"{stand_ins[0]} stands in for {first} at {place}.")

    def _bring_from(self, service: WeatherService, fetcher: Fetcher, place: Place) -> str:
        """Fetch hours from one service, and return the outcome."""
        asking = _PlaceRequest(service, fetcher, place)
        try:
            asking.forecast()
        except _NothingNew:
            Place.objects.filter(pk=place.pk).update(wanted_at=None)
            return _STILL_GOOD
        except ServiceTrouble as trouble:
            if isinstance(trouble, BadResponse):
                fetch_store.forget_whole_answers(place, service.key)
            held = timedelta() if isinstance(trouble, Unavailable | RateLimited) else fetch_store.REFUSED_FOR
            asking.note(trouble, held)
            self.report.troubles.append(trouble.sentence)
            return _FAILED
        self._learn_from(asking)
        return _BROUGHT

    def _learn_from(self, brought: "_PlaceRequest") -> None:
        """Fetch measured hours if the service has them; the keeper is not told if that fails."""
        service = brought.service
        if not isinstance(service, NwsService):
            return
        asking = _PlaceRequest(service, brought.fetcher, brought.place)
        try:
            asking.observations(UsStations(service))
        except _NothingNew:
            return
        except ServiceTrouble as trouble:
            far = isinstance(trouble, NotCovered)
            if asking.endpoint not in fetch_store.MEASURING:
                # The forecast needs the point too, so a point without a station must not be marked as failed.
                asking.endpoint = fetch_store.MEASURING[0]
            asking.note(trouble, STATIONS_KEPT_FOR if far else OBSERVED_KEPT_FOR)


class _PlaceRequest:
    """All requests to one service about one place, one after another."""

    def __init__(self, service: WeatherService, fetcher: Fetcher, place: Place) -> None:
        self.service, self.fetcher, self.place = service, fetcher, place
        self.endpoint = "forecast"
        self.last: tuple[ServiceRequest, ServiceAnswer] | None = None

    def note(self, trouble: ServiceTrouble, held: timedelta) -> None:
        """Note what went wrong for the place, and leave the host alone if it asked for that."""
        if isinstance(trouble, RateLimited) and self.last:
            host_backoff.leave_alone(_host(self.last[0]), trouble.until)
        fetch_store.keep_trouble(self.place, self.service.key, self.endpoint, trouble, self.fetcher.clock(), held)

    def forecast(self) -> Forecast:
        """Keep and return the hours. Raises a ServiceTrouble, or _NothingNew if the stored ones are still good."""
        try:
            return self._forecast()
        except NotCovered:
            # Offices get new grids, so the stored point may be out of date.
            if not fetch_store.forget_whole_answers(self.place, self.service.key):
                raise
            return self._forecast()

    def _forecast(self) -> Forecast:
        spot, now = fetch_store.place_spot(self.place), self.fetcher.clock()
        answers: tuple[ServiceAnswer, ...] = ()
        while asks := self._read(self.service.build_requests, spot, now, now + HORIZON, answers):
            answers += tuple(self._answer(ask) for ask in asks)
        fetched = self._read(self.service.parse, answers, spot, self.fetcher.clock())
        if self.last is None:
            raise _NothingNew
        return fetch_store.keep_forecast(self.place, *self.last, fetched, self.fetcher.dice)

    def observations(self, stations: UsStations) -> int:
        """Keep recently measured hours and return how many are new. Raises a ServiceTrouble or _NothingNew."""
        spot, now = fetch_store.place_spot(self.place), self.fetcher.clock()
        answers: tuple[ServiceAnswer, ...] = ()
        while asks := self._read(stations.build_requests, spot, now - OBSERVED_BACK, now, answers):
            answers += tuple(self._answer(ask) for ask in asks)
        observed = self._read(stations.parse, answers, spot, now)
        starts_at, hours = hour_grid.on_whole_hours(observed.readings)
        with transaction.atomic(durable=True):
            if self.last:
                fetch_store.keep_answered(self.place, self.service.key, *self.last, self.fetcher.dice)
            return error_pairs.keep_and_learn(self.place, starts_at, hours, observed.credit, now)

    def _read(self, reader: Callable[..., ReadResult], *given: Any) -> ReadResult:
        """Return what a service's reader makes of its answers.

        An unexpected fault counts as a broken answer for this place, so that the run goes on with the next place.
        """
        try:
            return reader(*given)
        except ServiceTrouble:
            raise
        except Exception as fault:
            LOG.exception("An answer of %s broke its reader.", self.service.name)
            raise BadResponse(self.service.name, "unforeseen", type(fault).__name__) from fault

    def _answer(self, ask: ServiceRequest) -> ServiceAnswer:
        self.endpoint = ask.endpoint
        now = self.fetcher.clock()
        row = fetch_store.last_fetch(self.place, self.service.key, ask.endpoint)
        if row is not None and row.good_until > now and not (row.trouble and self.place.wanted_at):
            if row.body and not row.trouble:
                return fetch_store.kept_answer(row)
            raise _NothingNew
        condition = fetch_store.conditional_headers(row, now)
        answer = self._send(ask, condition)
        # "Not modified" counts only if it was asked for; otherwise the stored forecast is too old to be believed.
        if row is not None and condition and answer.status == NOT_MODIFIED:
            fetch_store.keep_unchanged(row, ask, answer, self.fetcher.dice)
            raise _NothingNew
        if ask.is_lasting and answer.status == 200:
            fetch_store.keep_whole_answer(self.place, self.service.key, ask, answer, self.fetcher.dice)
        self.last = ask, answer
        return answer

    def _send(self, ask: ServiceRequest, condition: dict[str, str]) -> ServiceAnswer:
        """Return the answer to one request, and keep the host's record."""
        host = _host(ask)
        self.fetcher.sleep(host_backoff.seconds_to_wait(host, self.service.name, self.fetcher.clock()))
        host_backoff.note_request(host, self.fetcher.clock())
        try:
            answer = self.fetcher.get(ask, condition)
        except Unavailable:
            host_backoff.note_failure(host, self.fetcher.clock())
            raise
        if answer.status >= 500:
            host_backoff.note_failure(host, self.fetcher.clock())
        else:
            host_backoff.note_success(host)
        return answer


def _host(ask: ServiceRequest) -> str:
    return urlsplit(ask.url).netloc[:120]


def in_background(work: Callable[[], object]) -> threading.Thread:
    """Do work in a thread with its own database connections, so that the page does not wait."""

    def run() -> None:
        try:
            work()
        finally:
            connections.close_all()

    thread = threading.Thread(target=run, name="forecasts", daemon=True)
    thread.start()
    return thread


def bring_wanted_soon() -> threading.Thread:
    """Fetch hours in the background for the places that were asked for."""
    return in_background(lambda: refresh(list, only_wanted=True))
