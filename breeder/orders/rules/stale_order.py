"""Whether an order is still what a page showed of it; asked after the lock, when nobody else can change it."""

from django.utils import timezone

from breeder.base.edit_conflicts import ChangedMeanwhile, short
from breeder.orders.models import Order


def stamp_of(order: Order) -> str:
    """Return a few letters that change whenever something changes that the page of an order's change writes."""
    terms = (order.held_until, order.promised_by, order.postage, order.note, order.address_id)
    return short((terms, [(line.pk, line.packs, line.price) for line in order.lines.all() if line.packs]))


def refuse_stale(order: Order, seen: str) -> None:
    """Refuse to write over what the page did not show; `seen` is its stamp. Raises ChangedMeanwhile."""
    if seen == stamp_of(order):
        return
    raise ChangedMeanwhile(
        f"Order {order.number} was changed since you opened this page; in the book it is now {_now(order)}. "
        "Nothing of yours was written. What you typed is still here: check it and the terms, and save again if you "
        "want to keep it.",
        code="changed_meanwhile",
    )


def _now(order: Order) -> str:
    parts = [str(line) for line in order.lines.all() if line.packs]
    if order.held_until:
        parts.append(f"held until {timezone.localdate(order.held_until):%-d %B %Y}")
    if order.promised_by:
        parts.append(f"to be posted by {order.promised_by:%-d %B %Y}")
    parts.append(f"postage {order.postage:.2f}")
    if order.note:
        parts.append(f"note “{order.note}”")
    return ", ".join(parts)
