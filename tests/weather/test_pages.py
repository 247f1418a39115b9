"""The weather pages: a file or typed days are kept whole or not at all, and what was typed is shown again."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from breeder.base.models import Setting
from breeder.weather import steps
from breeder.weather.models import Forecast, Place
from breeder.weather.refresh import RefreshReport

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _now() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def place(db: None) -> Place:
    return steps.place_for("40.22", "-74.76", "America/New_York", "Trenton")


def upload(client: Client, place: Place, text: str | bytes, **values: Any) -> Any:
    content = text if isinstance(text, bytes) else text.encode()
    given = {"zone": "America/New_York", "unit": "", "file": SimpleUploadedFile("hours.csv", content)} | values
    return client.post(reverse("weather:upload", args=[place.pk]), given, follow=True)


def csv(hours: int = 30, head: str = "time,temp_c", value: float = 8.0) -> str:
    rows = [f"{NOW + timedelta(hours=ahead):%Y-%m-%dT%H:%MZ},{value}" for ahead in range(hours)]
    return "\n".join([head, *rows])


def test_a_file_is_kept_once_and_its_summary_shows_a_wrong_unit(keeper_client: Client, place: Place) -> None:
    answer, again = (upload(keeper_client, place, csv(), token="t", credit="My station") for _ in range(2))
    assert again.status_code == 200
    forecast = Forecast.objects.get()
    assert (forecast.starts_at, len(forecast.hours_c), forecast.credit) == (NOW, 30, "My station")
    page = answer.content.decode()
    assert "Kept 30 hours for Trenton" in page
    assert "lowest 8 °C, highest 8 °C" in page
    assert "My station" in page


def test_a_file_without_a_time_of_issue_is_taken_to_be_twelve_hours_old(keeper_client: Client, place: Place) -> None:
    upload(keeper_client, place, csv())
    assert Forecast.objects.get().issued_at == NOW - timedelta(hours=12)
    upload(keeper_client, place, csv(), issued_at="2026-03-02T09:30")
    assert Forecast.objects.first().issued_at == datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    "text, values, sentence",
    [
        ("time;wert\n2026-03-02T15:00Z;1", {}, "the columns are"),
        ("time,temp_c\n2026-03-02T15:00Z,80", {}, "If it was meant in °F, choose °F"),
        ("time,temp_c\n2026-03-02T15:00Z,8\x00", {}, "NUL byte"),
        ("time,temp_c\n" + "2026-03-02T15:00Z,8\n" * 10_001, {}, "more than 10,000 rows"),
        (b"", {}, "empty"),
        ("time,temp_c\n2026-03-02T15:30Z,8\n2026-03-02T19:30Z,8", {}, "No whole hour can be read"),
        (csv(), {"zone": "Moon/Sea"}, "is not a time zone"),
        (csv(), {"issued_at": "2026-04-01T10:00"}, "which is still to come"),
        (csv(), {"issued_at": "soon"}, "The forecast was made at"),
    ],
)
def test_a_file_with_a_fault_is_refused_in_words_and_nothing_is_kept(
    keeper_client: Client, place: Place, text: Any, values: dict[str, str], sentence: str
) -> None:
    answer = upload(keeper_client, place, text, credit="Typed credit", **values)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "Typed credit" in answer.content.decode()
    assert not Forecast.objects.exists()


def test_an_hour_that_is_missing_between_is_counted(keeper_client: Client, place: Place) -> None:
    rows = csv().splitlines()
    answer = upload(keeper_client, place, "\n".join(rows[:9] + rows[10:]))
    assert "Kept 29 hours for Trenton" in answer.content.decode()
    assert "1 hour between is missing" in answer.content.decode()


def test_one_hour_and_one_month_are_in_the_singular(keeper_client: Client, place: Place) -> None:
    assert "Kept 1 hour for Trenton" in upload(keeper_client, place, csv(1)).content.decode()
    measured = upload(keeper_client, place, csv(1), measured="on").content.decode()
    assert "1 measured hour is new for Trenton; its forecasts are judged by it." in measured
    months = {"low_3": "1", "high_3": "9"}
    page = keeper_client.post(reverse("weather:usual", args=[place.pk]), months, follow=True).content.decode()
    assert "Kept 1 usual month of Trenton." in page


@pytest.mark.parametrize(
    ("report", "sentence"),
    [
        (RefreshReport(brought=1), "Fresh hours for 1 place; 0 were fresh still."),
        (RefreshReport(brought=2, still_good=1), "Fresh hours for 2 places; 1 was fresh still."),
    ],
)
def test_a_run_says_how_many_places_it_brought_hours_for(report: RefreshReport, sentence: str) -> None:
    assert report.sentence == sentence


@time_machine.travel(datetime(2026, 3, 2, 20, tzinfo=UTC), tick=False)
def test_a_place_is_shown_by_its_own_clock_as_its_page_says(keeper_client: Client, keeper: User) -> None:
    Setting.objects.update_or_create(pk=Setting.ONLY, defaults={"timezone": "America/New_York"})
    far = steps.place_for("45.52", "-122.68", "America/Los_Angeles", "Portland")
    upload(keeper_client, far, csv(30), issued_at="2026-03-02T09:30")
    page = keeper_client.get(reverse("weather:place", args=[far.pk])).content.decode()
    assert "The clock of America/Los_Angeles" in page
    assert "From Mon 2 Mar 07:00 to Tue 3 Mar 12:00" in page
    assert "issued Mon 2 Mar 06:30" in page
    assert '<td data-label="From">Mon 2 Mar 07:00</td>' in page
    with time_machine.travel(datetime(2027, 1, 2, tzinfo=UTC)):
        keeper_client.force_login(keeper)
        page = keeper_client.get(reverse("weather:place", args=[far.pk])).content.decode()
    assert '<td data-label="From">Mon 2 Mar 2026 07:00</td>' in page


def days_typed(low: float = 2.0, high: float = 9.0, number: int = 4) -> dict[str, str]:
    return {f"{word}_{row}": str(value) for row in range(number) for word, value in (("low", low), ("high", high))}


def test_typed_days_are_kept_as_typed_with_their_own_spread(keeper_client: Client, place: Place) -> None:
    answer = keeper_client.post(reverse("weather:by_hand", args=[place.pk]), days_typed(), follow=True)
    forecast = Forecast.objects.get()
    assert forecast.source == Forecast.Source.BY_HAND
    assert forecast.daily[0] == ["2026-03-02", 2.0, 9.0]
    assert (forecast.extra_sd_c, forecast.issued_at) == (1.7, NOW)
    assert "lows and highs typed by hand" in answer.content.decode()
    # The hours before the first low and after the last high are no gap in the middle.
    assert "between are missing" not in answer.content.decode()


@pytest.mark.parametrize(
    ("typed", "status", "sentence"),
    [
        ("2025-11-02T01:30", 200, "Kept 30 hours"),  # this hour came twice, and is the initial value of the form then
        ("2025-03-09T02:30", 422, "2025-03-09 02:30 does not exist in America/New_York"),
        ("9999-12-31T23:00", 422, "9999-12-31 23:00 is outside the calendar. Correct the year."),
    ],
)
def test_a_time_of_issue_at_a_change_of_the_clocks_is_read_or_refused_in_a_sentence(
    keeper_client: Client, place: Place, typed: str, status: int, sentence: str
) -> None:
    Setting.objects.update_or_create(pk=Setting.ONLY, defaults={"timezone": "America/New_York"})
    answer = upload(keeper_client, place, csv(), issued_at=typed)
    assert (answer.status_code, sentence in answer.content.decode()) == (status, True)


def test_fahrenheit_days_make_the_same_hours(keeper_client: Client, place: Place) -> None:
    page = reverse("weather:by_hand", args=[place.pk])
    keeper_client.post(page, days_typed())
    Setting.objects.update_or_create(pk=1, defaults={"fahrenheit": True, "timezone": "America/New_York"})
    keeper_client.post(page, days_typed(35.6, 48.2))
    second, first = Forecast.objects.order_by("-pk")
    pairs = list(zip(first.hours_c, second.hours_c, strict=True))
    assert all((celsius is None) == (from_fahrenheit is None) for celsius, from_fahrenheit in pairs)
    assert all(abs(celsius - from_fahrenheit) < 0.011 for celsius, from_fahrenheit in pairs if celsius is not None)


def test_days_typed_before_midnight_and_sent_after_it_are_still_those_days(keeper_client: Client, place: Place) -> None:
    page = reverse("weather:by_hand", args=[place.pk])
    opened = keeper_client.get(page).context["form"]["first"].value()
    with time_machine.travel(NOW + timedelta(hours=14), tick=False):
        keeper_client.post(page, days_typed() | {"first": opened.isoformat()})
        assert Forecast.objects.get().daily[0][0] == "2026-03-02"
        for odd in ("soon", "2031-01-01", "0001-01-01"):
            shown = keeper_client.post(page, {"first": odd}).content.decode()
            assert "Tuesday 3 March" in shown
            assert "Monday 2 March" not in shown


@pytest.mark.parametrize(
    "values, sentence",
    [
        ({"low_0": "2"}, "Monday 2 March has no high"),
        ({}, "No day is filled in"),
        ({"low_0": "9", "high_0": "2"}, "the low of 9 °C is above the high of 2 °C"),
        ({"low_0": "60", "high_0": "80"}, "If it was meant in °F"),
        ({"low_0": "cold", "high_0": "80"}, "is not a number"),
    ],
)
def test_typed_days_with_a_fault_are_shown_again(
    keeper_client: Client, place: Place, values: dict[str, str], sentence: str
) -> None:
    answer = keeper_client.post(reverse("weather:by_hand", args=[place.pk]), values)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert all(f'value="{value}"' in answer.content.decode() for value in values.values())
    assert not Forecast.objects.exists()


def test_places_are_kept_by_coordinates_and_strange_ones_refused(keeper_client: Client) -> None:
    page = reverse("weather:places")
    given = {"label": "Marquette", "latitude": "46.544", "longitude": "-87.396", "zone": "America/Detroit"}
    assert keeper_client.post(page, given).status_code == 302
    assert str(Place.objects.get().latitude) == "46.54"
    for change, sentence in (
        ({"longitude": "87.4"}, "minus sign"),
        ({"latitude": "95"}, "the largest it can be is 90"),
        ({"zone": "Here"}, "not a time zone"),
    ):
        refused = keeper_client.post(page, given | change)
        assert refused.status_code == 422
        assert sentence in refused.content.decode()
    assert Place.objects.count() == 1


def test_a_form_that_is_only_looked_at_shows_no_fault(keeper_client: Client, place: Place) -> None:
    for name in ("upload", "by_hand"):
        answer = keeper_client.get(reverse(f"weather:{name}", args=[place.pk]))
        assert answer.status_code == 200
        assert 'role="alert"' not in answer.content.decode()


def test_an_empty_place_teaches_the_next_step(keeper_client: Client, place: Place) -> None:
    assert "Type the lows and highs" in keeper_client.get(reverse("weather:place", args=[place.pk])).content.decode()
    assert keeper_client.get(reverse("weather:place", args=[place.pk + 1])).status_code == 404
