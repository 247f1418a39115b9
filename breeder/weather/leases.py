"""Leases: one row says who may do what only one may do at a time; it ends by itself when its holder dies."""

import secrets
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from breeder.weather.models import Lease

REFRESHING = "forecasts"
# Longer than the slowest place can take (two services, five questions in all, twenty seconds each), so a living holder
# always renews in time.
HELD_FOR = timedelta(minutes=3)


def take(name: str, now: datetime, held_for: timedelta = HELD_FOR) -> str | None:
    """Return a holder's mark, or None while somebody else holds the lease. One UPDATE decides, on both databases."""
    holder = secrets.token_hex(16)
    with transaction.atomic(durable=True):
        if Lease.objects.filter(name=name, until__lte=now).update(holder=holder, until=now + held_for):
            return holder
        try:
            with transaction.atomic():
                Lease.objects.create(name=name, holder=holder, until=now + held_for)
        except IntegrityError:
            return None
    return holder


def renew(name: str, holder: str, now: datetime, held_for: timedelta = HELD_FOR) -> bool:
    """Hold the lease for longer; False if it ran out and somebody else has it by now."""
    return bool(Lease.objects.filter(name=name, holder=holder).update(until=now + held_for))


def give_back(name: str, holder: str, now: datetime) -> None:
    """End the lease, unless it is somebody else's by now."""
    Lease.objects.filter(name=name, holder=holder).update(holder="", until=now)


def is_held(name: str, now: datetime) -> bool:
    """Return whether somebody holds the lease."""
    return Lease.objects.filter(name=name, until__gt=now).exists()
