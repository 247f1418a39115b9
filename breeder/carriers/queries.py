"""Reads of services and closures."""

from datetime import date

from django.db.models import QuerySet

from breeder.carriers.models import Closure, Service
from breeder.core.transit.delivery_days import DELAY_SHARES, ShippingDay, Timing, shipping_day


def services(*, active: bool = True) -> QuerySet[Service]:
    """Return the services in use, or all of them."""
    return Service.objects.filter(active=True) if active else Service.objects.all()


def carriers() -> list[str]:
    """Return the names of the carriers in the book, sorted."""
    return sorted(set(Service.objects.order_by().values_list("carrier", flat=True)))


def carrier_closures(carrier: str) -> tuple[date, ...]:
    """Return the days on which a carrier is closed, earliest first."""
    return tuple(Closure.objects.filter(carrier=carrier).values_list("on", flat=True))


def closures_by_carrier() -> dict[str, list[date]]:
    """Return the closures of every carrier with a service in use, in two queries."""
    closures: dict[str, list[date]] = {carrier: [] for carrier in services().values_list("carrier", flat=True)}
    for carrier, on in Closure.objects.filter(carrier__in=closures).values_list("carrier", "on"):
        closures[carrier].append(on)
    return closures


def service_day(service: Service, day: date) -> ShippingDay:
    """Return whether a service takes a parcel on a day, with the reason if it does not."""
    return shipping_day(service_timing(service), day, carrier_closures(service.carrier))


def service_timing(service: Service) -> Timing:
    """Return the weekdays, transit days and delays of a service."""
    return Timing(
        weekdays=frozenset(service.weekdays),
        usual_days=service.usual_days,
        latest_days=service.latest_days,
        delay_shares=tuple(service.delay_shares) or DELAY_SHARES,
    )
