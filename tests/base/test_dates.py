"""Days and moments are written in one way everywhere, with the year wherever it is not this one."""

import re
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.conf import settings
from django.utils import timezone

from breeder.base.dates import day_said, moment_said

NEW_YEARS_EVE = datetime(2026, 12, 31, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("on", "how", "said"),
    [
        (date(2026, 3, 6), {}, "6 March"),
        (date(2025, 3, 6), {}, "6 March 2025"),
        (date(2027, 1, 4), {"weekday": True}, "Monday 4 January 2027"),
        (date(2026, 3, 6), {"weekday": True, "short": True}, "Fri 6 Mar"),
        (date(2025, 3, 6), {"weekday": True, "short": True}, "Thu 6 Mar 2025"),
        (None, {}, ""),
    ],
)
def test_a_day_has_its_year_where_that_is_not_this_one(on: date | None, how: dict[str, bool], said: str) -> None:
    with time_machine.travel(NEW_YEARS_EVE, tick=False):
        assert day_said(on, **how) == said


def test_a_moment_is_read_on_the_clock_of_the_household() -> None:
    with time_machine.travel(NEW_YEARS_EVE, tick=False), timezone.override(ZoneInfo("Pacific/Auckland")):
        at = datetime(2026, 12, 31, 11, 30, tzinfo=UTC)  # half past midnight there, where the new year has begun too
        assert moment_said(at) == "Fri 1 Jan 00:30"
        assert day_said(date(2026, 12, 31)) == "31 December 2026"


def test_no_page_writes_a_day_without_asking_for_its_year() -> None:
    """A date filter of Django's own is only for what has its year, or is a time of day, or the heading of today."""
    own = re.compile(r'\|date:"([^"]*)"')
    without = {
        f"{path.name}: {form}"
        for path in (Path(settings.BASE_DIR) / "templates").rglob("*.html")
        for form in own.findall(path.read_text())
        if not re.search("[Yy]", form)
    }
    assert without == {"page.html: l, j F", "_orders.html: l H:i"}


def test_no_message_writes_a_day_without_asking_for_its_year() -> None:
    day = re.compile(r"\{[^{}]*:[^{}]*%-?d %[Bb](?! %Y)[^{}]*\}")
    found = {
        f"{path.relative_to(settings.BASE_DIR)}: {line.strip()}"
        for path in (Path(settings.BASE_DIR) / "breeder").rglob("*.py")
        if "management" not in path.parts
        for line in path.read_text().splitlines()
        if day.search(line) and "LEAP_YEAR" not in line and "UTC" not in line
    }
    assert found == set()
