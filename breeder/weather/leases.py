"""Leases: a database row that lets one process do a job at a time; it expires if the process dies."""

import secrets
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from breeder.weather.models import Lease

REFRESHING = "forecasts"
# Longer than the slowest place can take (two services, five requests in all, twenty seconds each), so a live holder
# always renews in time.
HELD_FOR = timedelta(minutes=3)


def take(name: str, now: datetime, held_for: timedelta = HELD_FOR) -> str | None:
    """Return the holder's token, or None while another process holds the lease. One UPDATE decides."""
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
    """Hold the lease for longer; False if it expired and another process has it."""
    return bool(Lease.objects.filter(name=name, holder=holder).update(until=now + held_for))


def give_back(name: str, holder: str, now: datetime) -> None:
    """End the lease, unless another process has it by now."""
    Lease.objects.filter(name=name, holder=holder).update(holder="", until=now)


def is_held(name: str, now: datetime) -> bool:
    """Return whether the lease is held."""
    return Lease.objects.filter(name=name, until__gt=now).exists()
