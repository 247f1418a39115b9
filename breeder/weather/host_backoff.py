"""How a service's host is treated: asked at most once a second, and left alone for a while after failures."""

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F

from breeder.weather.models import Host
from breeder.weather.services.errors import Unavailable

FAILURES_BEFORE_REST = 5
REST = timedelta(minutes=15)
BETWEEN_ASKS = timedelta(seconds=1)


def seconds_to_wait(name: str, service: str, now: datetime) -> float:
    """Return how long to wait before the next question. Raises Unavailable while the host is left alone."""
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


def asked(name: str, now: datetime) -> None:
    """Note that a host is being asked. Fails inside a transaction, where no question may ever be asked."""
    with transaction.atomic(durable=True):
        Host.objects.update_or_create(name=name, defaults={"asked_at": now})


def failed(name: str, now: datetime) -> None:
    """Count a failure; the fifth in a row gives the host a rest."""
    Host.objects.filter(name=name).update(failures=F("failures") + 1)
    Host.objects.filter(name=name, failures__gte=FAILURES_BEFORE_REST).update(failures=0, closed_until=now + REST)


def answered(name: str) -> None:
    """Forget earlier failures."""
    Host.objects.filter(name=name).exclude(failures=0).update(failures=0)


def leave_alone(name: str, until: datetime) -> None:
    """Do not ask a host before a moment."""
    Host.objects.filter(name=name).update(closed_until=until)
