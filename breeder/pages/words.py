"""Numbers as a keeper says them."""

from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone

from breeder.core.units import DASH

# Above and below these shares odds are said as words (they are counts of simulated journeys, so 1/400 is a floor).
CERTAIN = 0.995
NEVER = 0.0005


def money(amount: Decimal | None, currency: str) -> str:
    """Return '24.00 USD'; a dash for no amount."""
    return DASH if amount is None else f"{amount:.2f} {currency}"


def whole(number: float | None) -> str:
    """Return a number rounded to the whole, thousands set apart by a thin space."""
    return DASH if number is None else f"{round(number):,}".replace(",", "\u2009")


def ago(day: date | datetime | None, today: date) -> str:
    """Return 'today', 'yesterday', '9 days ago', 'tomorrow', 'in 3 days'; 'never' for no day."""
    if day is None:
        return "never"
    if isinstance(day, datetime):
        day = timezone.localdate(day) if timezone.is_aware(day) else day.date()
    days = (today - day).days
    near = {0: "today", 1: "yesterday", -1: "tomorrow"}
    if days in near:
        return near[days]
    return f"{days} days ago" if days > 0 else f"in {-days} days"


def odds(share: float | None) -> str:
    """Return 'about 1 in 9', 'about 2 in 3', 'certain' or 'never'; 'not known' for no value."""
    if share is None:
        return "not known"
    if share >= CERTAIN:
        return "certain"
    if share <= NEVER:
        return "never"
    if share <= 0.5:
        return f"about 1 in {round(1 / share)}"
    for below, said in ((0.58, "about 1 in 2"), (0.71, "about 2 in 3"), (0.78, "about 3 in 4"), (0.86, "about 4 in 5")):
        if share < below:
            return said
    return f"about {round(share * 10)} in 10" if share < 0.945 else f"about {min(99, round(share * 100))} in 100"
