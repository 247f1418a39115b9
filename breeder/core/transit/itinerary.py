"""Lay out a box's journey, one delay case at a time: legs in UTC, whose weather each leg has, and its exposure.

A case is one number of days late. Sundays and closures before delivery are extra nights in the network.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from breeder.core.transit.delivery_days import Delivery
from breeder.core.transit.exposure import USUAL, Template
from breeder.core.transit.local_time import moment

HOUR = timedelta(hours=1)
LEAST_DEPOT = HOUR


class Exposure(StrEnum):
    """What surrounds the box."""

    VAN = "van"
    HUB = "hub"
    DOORSTEP = "doorstep"
    COUNTER = "counter"


class Where(StrEnum):
    """Whose weather a leg has; the hubs in between are unknown, so both ends bracket them."""

    ORIGIN = "origin"
    BETWEEN = "between"
    DESTINATION = "destination"


@dataclass(frozen=True)
class Leg:
    """One stretch of the journey."""

    label: str
    where: Where
    exposure: Exposure
    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True)
class DelayCase:
    """One way the journey can go, with its weight among all cases."""

    name: str
    weight: float
    delivered_on: date
    legs: tuple[Leg, ...]
    template: Template = USUAL

    @property
    def starts_at(self) -> datetime:
        """Return the whole UTC hour at or before the box is handed over."""
        return self.legs[0].starts_at.replace(minute=0, second=0, microsecond=0)

    @property
    def hours(self) -> int:
        """Return the whole hours from there until someone has the box."""
        return max(1, -int((self.starts_at - self.legs[-1].ends_at) // HOUR))

    @property
    def times(self) -> tuple[datetime, ...]:
        """Return the whole UTC hours of the journey, both ends included."""
        return tuple(self.starts_at + step * HOUR for step in range(self.hours + 1))

    def leg_at(self, at: datetime) -> Leg:
        """Return the leg in which the box is at a moment; outside the journey, its first or last leg."""
        return next((leg for leg in self.legs if at < leg.ends_at), self.legs[-1])


@dataclass(frozen=True)
class ServiceTimes:
    """When a service accepts and delivers a box, in local time, and how long the box waits on a doorstep."""

    cut_off: time
    delivers_from: time
    delivers_until: time
    doorstep_h: float
    template: Template = USUAL


def delay_cases(
    post_on: date,
    deliveries: Iterable[Delivery],
    times: ServiceTimes,
    *,
    to_counter: bool,
    origin: ZoneInfo,
    destination: ZoneInfo,
) -> tuple[DelayCase, ...]:
    """Return one case for each possible delivery."""
    return tuple(
        DelayCase(
            delivery.name,
            delivery.share,
            delivery.on,
            journey_legs(post_on, delivery.on, times, to_counter=to_counter, origin=origin, destination=destination),
            times.template,
        )
        for delivery in deliveries
    )


def journey_legs(
    post_on: date, delivered_on: date, times: ServiceTimes, *, to_counter: bool, origin: ZoneInfo, destination: ZoneInfo
) -> tuple[Leg, ...]:
    """Return the legs of one journey: depot, network, then van and doorstep, or the counter where it is picked up."""
    handed_over = moment(post_on, times.cut_off, origin)
    truck = max(moment(post_on, times.template.truck_at, origin), handed_over + LEAST_DEPOT)
    out = max(moment(delivered_on, times.delivers_from, destination), truck + HOUR)
    end_of_round = max(moment(delivered_on, times.delivers_until, destination), out + HOUR)
    first = (
        Leg("collected", Where.ORIGIN, Exposure.VAN, handed_over, truck),
        Leg("network", Where.BETWEEN, Exposure.HUB, truck, out),
    )
    if to_counter:
        return (*first, Leg("counter", Where.DESTINATION, Exposure.COUNTER, out, end_of_round))
    # No one knows when the van comes by; the middle of its round leaves the box outside in the afternoon.
    in_van = (end_of_round - out) / 2 if times.template.van_h is None else timedelta(hours=times.template.van_h)
    brought = out + in_van
    van = Leg("van", Where.DESTINATION, Exposure.VAN, out, brought)
    if times.doorstep_h <= 0:
        return (*first, van)
    taken_in = brought + timedelta(hours=times.doorstep_h)
    return (*first, van, Leg("doorstep", Where.DESTINATION, Exposure.DOORSTEP, brought, taken_in))


def needed_span(cases: Sequence[DelayCase]) -> tuple[datetime, datetime]:
    """Return the first and last hour that any of the cases needs weather for."""
    return min(case.times[0] for case in cases), max(case.times[-1] for case in cases)
