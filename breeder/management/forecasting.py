"""Fetch forecasts for all places that waiting boxes need: by a command, or in a thread of the running site."""

import logging
import random
import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from django.db import connections
from django.utils import timezone

from breeder.base.models import Setting
from breeder.base.queries import household
from breeder.shipments.queries.parcels import parcels_here
from breeder.shipments.steps.departure_steps import places_of
from breeder.weather import refresh
from breeder.weather.models import Place
from breeder.weather.steps import PlaceUnknown, place_for

LOG = logging.getLogger(__name__)

EVERY_S = 3600.0
JITTER = 0.1
FIRST_AFTER_S = 30.0


def places_needed() -> Iterator[Place]:
    """Yield home and both ends of every box that is here, each once; skip addresses without a known place."""
    setting = household()
    seen: set[int] = set()
    for place in _places(setting):
        if place.pk not in seen:
            seen.add(place.pk)
            yield place


def _places(setting: Setting) -> Iterator[Place]:
    if setting.latitude is None or setting.longitude is None:
        return
    yield place_for(setting.latitude, setting.longitude, setting.timezone, "Home")
    for parcel in parcels_here():
        if parcel.order.address is None:
            continue
        try:
            yield from places_of(parcel, setting)
        except PlaceUnknown:
            continue


def fetch_all() -> refresh.RefreshReport:
    """Fetch fresh hours for every place needed, unless another run is doing so."""
    return refresh.refresh(places_needed)


def next_wait_s(now: datetime, dice: random.Random, every_s: float = EVERY_S) -> float:
    """Return how long to wait until the next run: about an hour, never on the full hour."""
    wait = every_s * (1 + dice.uniform(-JITTER, JITTER))
    return wait + refresh.seconds_off_the_hour(now + timedelta(seconds=wait), dice)


class ForecastThread(threading.Thread):
    """Fetches forecasts about once an hour while the site runs, once a service is chosen."""

    def __init__(
        self,
        bring: Callable[[], refresh.RefreshReport] = fetch_all,
        *,
        first_after_s: float = FIRST_AFTER_S,
        clock: Callable[[], datetime] = timezone.now,
        dice: random.Random | None = None,
        afterwards: Callable[[], None] = lambda: None,
    ) -> None:
        super().__init__(name="forecasts", daemon=True)
        self.bring, self.clock, self.dice = bring, clock, dice or random.Random()
        self.first_after_s, self.afterwards = first_after_s, afterwards
        self.stopping = threading.Event()

    def run(self) -> None:
        wait = self.first_after_s + refresh.seconds_off_the_hour(self.clock(), self.dice)
        while not self.stopping.wait(wait):
            self.once()
            wait = next_wait_s(self.clock(), self.dice)

    def once(self) -> None:
        """Fetch forecasts. A failure is logged, and the next run comes anyway."""
        try:
            if household().weather_service:
                LOG.info(self.bring().sentence)
                self.afterwards()
        except Exception:
            LOG.exception("Forecasts could not be brought; it is tried again in about an hour.")
        finally:
            connections.close_all()

    def stop(self) -> None:
        """End the thread at its next wait."""
        self.stopping.set()
