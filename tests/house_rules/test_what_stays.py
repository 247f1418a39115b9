"""What phones, calendars and bookmarks outside of the book remember stays the same whatever moves inside."""

from breeder.base import offline_forms
from breeder.shipments import calendar_feed


def test_the_marks_behind_kept_forms_and_calendar_addresses_never_change() -> None:
    assert offline_forms.BOOK_MARK_SALT == "breeder.pages.kept"
    assert calendar_feed.SALT == "breeder.dispatch.calendar"
