"""Politeness to a service's host: at most one request a second, and a rest after failures."""

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F

from breeder.weather.models import Host
from breeder.weather.services.errors import Unavailable

FAILURES_BEFORE_REST = 5
REST = timedelta(minutes=15)
BETWEEN_ASKS = timedelta(seconds=1)


def seconds_to_wait(name: str, service: str, now: datetime) -> float:
    """Return how long to wait before the next request, in seconds. Raises Unavailable during a rest."""
    host = Host.objects.filter(name=name).first()
    if host is None:
        return 0.0
    if host.closed_until is not None and host.closed_until > now:
        raise Unavailable(
            service, f"{service} is left alone until {host.closed_until:%H:%M} UTC, after it failed or asked for that."
        )
    if host.asked_at is None:
        return 0.0
    return max(0.0, min(BETWEEN_ASKS, host.asked_at + BETWEEN_ASKS - now).total_seconds())


def note_request(name: str, now: datetime) -> None:
    """Note a request to a host. Fails inside a transaction, where no request may be made."""
    with transaction.atomic(durable=True):
        Host.objects.update_or_create(name=name, defaults={"asked_at": now})


def note_failure(name: str, now: datetime) -> None:
    """Count a failure; after the fifth in a row the host gets a rest."""
    Host.objects.filter(name=name).update(failures=F("failures") + 1)
    Host.objects.filter(name=name, failures__gte=FAILURES_BEFORE_REST).update(failures=0, closed_until=now + REST)


def note_success(name: str) -> None:
    """Forget earlier failures."""
    Host.objects.filter(name=name).exclude(failures=0).update(failures=0)


def leave_alone(name: str, until: datetime) -> None:
    """Leave a host alone until a time."""
    Host.objects.filter(name=name).update(closed_until=until)
