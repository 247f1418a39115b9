"""Serve the shipping days as a calendar feed (RFC 5545), for a phone that cannot log in: the address is the secret."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

from django.contrib.auth.models import User
from django.utils.crypto import constant_time_compare, salted_hmac

from breeder.shipments.models import Parcel
from breeder.shipments.rules import departure_rules

SALT = "breeder.dispatch.calendar"  # part of every calendar address ever given out, so it never changes
KEY_LENGTH = 32
PRODUCT = "-//Underbark//posting days//EN"


def feed_key(user: User) -> str:
    """Return the secret part of a person's feed address; a new password makes a new one."""
    return salted_hmac(SALT, f"{user.pk}:{user.password}").hexdigest()[:KEY_LENGTH]


def may_read(user: User | None, key: str) -> bool:
    """Return whether the key opens this person's feed."""
    return user is not None and user.is_active and constant_time_compare(key, feed_key(user))


def feed(parcels: Iterable[Parcel], host: str, now: datetime) -> bytes:
    """Return one all-day event for each shipping day, with its boxes and kits.

    Leaves out boxes of ended orders. No name or address is in it.
    """
    from icalendar import Calendar  # a tenth of a second that only the feed needs

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", "Posting days")
    waited_for = (parcel for parcel in parcels if parcel.post_on and not departure_rules.order_ended(parcel.order, now))
    chosen = sorted(waited_for, key=lambda box: (box.post_on, box.number))
    for on, boxes in groupby(chosen, key=lambda box: box.post_on):
        calendar.add_component(_event(on, list(boxes), host, now))
    return bytes(calendar.to_ical())


def _event(on: date, boxes: list[Parcel], host: str, now: datetime) -> Any:
    from icalendar import Event  # as above

    event = Event()
    event.add("uid", f"posting-{on.isoformat()}@{host}")
    event.add("dtstamp", now)
    event.add("dtstart", on)
    event.add("dtend", on + timedelta(days=1))
    event.add("summary", f"Post {len(boxes)} box{'' if len(boxes) == 1 else 'es'}")
    event.add("description", "\n".join(_line(box) for box in boxes))
    event.add("transp", "TRANSPARENT")
    return event


def _line(box: Parcel) -> str:
    by = f", by {box.service}, handed over by {box.service.cut_off:%H:%M}" if box.service else ""
    return f"Box {box.number} in {box.kit or 'no kit yet'}{by}"
