"""Days and moments as every page and message writes them: the year is there wherever it is not this one."""

from datetime import date, datetime

from django.utils import timezone

from breeder.core.days import day_text


def day_said(on: date | datetime | None, *, weekday: bool = False, short: bool = False) -> str:
    """Return '6 March', 'Friday 6 March' or, short, 'Fri 6 Mar'; '6 March 2025' in another year; empty for no day.

    A moment is read on the household's clock.
    """
    if on is None:
        return ""
    if isinstance(on, datetime):
        on = timezone.localdate(on) if timezone.is_aware(on) else on.date()
    return day_text(on, this_year=timezone.localdate().year, weekday=weekday, short=short)


def weekday_said(on: date | datetime | None) -> str:
    """Return 'Friday 6 March', with the year in another one."""
    return day_said(on, weekday=True)


def moment_said(at: datetime | None) -> str:
    """Return 'Fri 6 Mar 14:05' on the household's clock, with the year in another one; empty for no moment."""
    return clock_said(timezone.localtime(at) if timezone.is_aware(at) else at, short=True) if at else ""


def clock_said(at: datetime, *, short: bool = False) -> str:
    """Return 'Friday 6 March 14:05' on the clock that a moment is told by, wherever that is."""
    return f"{day_said(at.date(), weekday=True, short=short)} {at:%H:%M}"
