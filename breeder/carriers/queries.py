"""Reads of services and closures."""

from datetime import date

from django.db.models import QuerySet

from breeder.carriers.models import Closure, Service
from breeder.core.transit.delivery_days import DELAY_SHARES, PostingDay, Timing, posting_day


def services(*, active: bool = True) -> QuerySet[Service]:
    """Return the services in use (or all)."""
    return Service.objects.filter(active=True) if active else Service.objects.all()


def carriers() -> list[str]:
    """Return the carriers of the book's services, by name."""
    return sorted(set(Service.objects.order_by().values_list("carrier", flat=True)))


def closures_of(carrier: str) -> tuple[date, ...]:
    """Return the days on which a carrier carries nothing, earliest first."""
    return tuple(Closure.objects.filter(carrier=carrier).values_list("on", flat=True))


def closures_by_carrier() -> dict[str, list[date]]:
    """Return the closures of every carrier with a service in use, in two queries."""
    found: dict[str, list[date]] = {carrier: [] for carrier in services().values_list("carrier", flat=True)}
    for carrier, on in Closure.objects.filter(carrier__in=found).values_list("carrier", "on"):
        found[carrier].append(on)
    return found


def on_day(service: Service, day: date) -> PostingDay:
    """Return whether a service takes a parcel on a day, and why not."""
    return posting_day(timing_of(service), day, closures_of(service.carrier))


def timing_of(service: Service) -> Timing:
    """Return what matters of a service for its days."""
    return Timing(
        weekdays=frozenset(service.weekdays),
        usual_days=service.usual_days,
        latest_days=service.latest_days,
        delay_shares=tuple(service.delay_shares) or DELAY_SHARES,
    )
