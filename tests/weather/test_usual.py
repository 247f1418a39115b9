"""The usual lows and highs of a month are a hint in words: they never become hours, and never give a Go."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from breeder.base.models import LogRow
from breeder.shipments.actions import departure as dispatch
from breeder.shipments.models import Check
from breeder.weather import actions, climatology, error_pairs, queries, sample_data, steps
from breeder.weather.climatology import NAMES, UsualRange
from breeder.weather.models import Place, UsualMonth
from tests.shipments import boxes

NEW_YORK = ZoneInfo("America/New_York")
MILD_ALL_YEAR = [UsualRange(month, 16.0, 22.0) for month in range(1, 13)]
MONDAY = date(2013, 10, 7)


@pytest.fixture
def place(db: None) -> Place:
    return steps.place_for("40.71", "-74.01", "America/New_York", "New York")


@pytest.mark.django_db
def test_usual_months_never_give_a_go_where_hours_are_missing() -> None:
    """The mildest climate on earth at both ends, and no forecast: still Not decided, now with the hint."""
    boxes.household()
    boxes.bare()
    number = boxes.parcel(MONDAY).number
    with time_machine.travel(boxes.morning_of(MONDAY) - timedelta(days=3), tick=False):
        before = dispatch.check_parcel(number, by=None)
        for place in boxes.places():
            actions.keep_usual(place.pk, MILD_ALL_YEAR, by=None)
        after = dispatch.check_parcel(number, by=None)
    assert before.verdict == after.verdict == Check.Verdict.NOT_DECIDED
    assert before.result["content"] == after.result["content"]
    assert before.result["kits"] == after.result["kits"]
    assert "In a usual October at Queens: 16 °C to 22 °C, no verdict." in after.reason
    assert "usual" not in before.reason


@pytest.mark.django_db
def test_a_check_with_all_its_hours_says_nothing_of_what_is_usual() -> None:
    boxes.household()
    boxes.bare()
    number, now = boxes.parcel(MONDAY).number, boxes.morning_of(MONDAY)
    boxes.real_hours(MONDAY, issued_at=now - timedelta(hours=2))
    for place in boxes.places():
        actions.keep_usual(place.pk, MILD_ALL_YEAR, by=None)
    with time_machine.travel(now, tick=False):
        assert "usual" not in dispatch.check_parcel(number, by=None).reason


def test_hours_are_never_made_of_usual_months(place: Place) -> None:
    actions.keep_usual(place.pk, MILD_ALL_YEAR, by=None)
    start = datetime(2013, 10, 7, tzinfo=UTC)
    assert set(queries.hours_for(place, start, start + timedelta(days=3)).c) == {None}


def test_months_are_typed_and_shown_beyond_the_forecast(place: Place, keeper_client: Client) -> None:
    address = reverse("weather:usual", args=[place.pk])
    assert keeper_client.get(address).status_code == 200
    typed = {f"{word}_{month}": str(value) for month in (1, 2) for word, value in (("low", -3), ("high", 4))}
    assert keeper_client.post(address, typed | {"credit": "my own years"}).status_code == 302
    with time_machine.travel(datetime(2014, 1, 20, 15, tzinfo=UTC), tick=False):
        page = keeper_client.get(reverse("weather:place", args=[place.pk])).content.decode()
    for month in ("January", "February"):
        assert f"In a usual {month} at New York: −3 °C to 4 °C, no verdict." in page
    assert UsualMonth.objects.first().credit == "my own years"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"low_2": "3"}, "February has no high. Fill it in, or empty the other one."),
        ({"low_2": "9", "high_2": "3"}, "February has a low above its high. Exchange them."),
        ({"low_2": "70", "high_2": "80"}, "is not an air temperature"),
    ],
)
def test_a_month_that_cannot_be_is_refused_with_what_was_typed(
    place: Place, keeper_client: Client, typed: dict[str, str], sentence: str
) -> None:
    answer = keeper_client.post(reverse("weather:usual", args=[place.pk]), typed)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert f'value="{typed["low_2"]}"' in answer.content.decode()
    assert UsualMonth.objects.count() == 0


def test_a_month_that_is_mended_keeps_where_the_others_came_from(place: Place, keeper_client: Client) -> None:
    actions.keep_usual(place.pk, MILD_ALL_YEAR, credit="Normals of Central Park", by=None)
    page = reverse("weather:usual", args=[place.pk])
    form = keeper_client.get(page).context["form"]
    shown = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert keeper_client.post(page, shown | {"high_7": "31"}).status_code == 302
    assert set(UsualMonth.objects.values_list("credit", flat=True)) == {"Normals of Central Park"}


@pytest.mark.parametrize(
    "sent", [{}, {"credit": ""}, {"low_1": "", "high_1": "", "credit": "x"}, {"removes_others": "on"}], ids=str
)
def test_a_form_with_next_to_nothing_in_it_removes_no_month(
    place: Place, helper_client: Client, sent: dict[str, str]
) -> None:
    actions.keep_usual(place.pk, MILD_ALL_YEAR, credit="Normals of Central Park", by=None)
    answer = helper_client.post(reverse("weather:usual", args=[place.pk]), sent)
    assert answer.status_code == 422
    assert "No month is filled in, so nothing was changed" in answer.content.decode()
    assert UsualMonth.objects.filter(credit="Normals of Central Park").count() == 12


def test_one_month_by_itself_changes_only_that_month(place: Place, helper_client: Client) -> None:
    actions.keep_usual(place.pk, MILD_ALL_YEAR, credit="Normals of Central Park", by=None)
    page = reverse("weather:usual", args=[place.pk])
    sent = SimpleUploadedFile("one.csv", b"month,low_c,high_c\n1,-3,4\n")
    assert helper_client.post(page, {"file": sent, "removes_others": "on"}).status_code == 302
    shown = helper_client.post(page, {"low_2": "-2", "high_2": "5"}, follow=True).content.decode()
    assert "Kept 1 usual month of New York. 11 usual months not filled in: left as before." in shown
    assert {month: kept.low_c for month, kept in queries.usual_by_month(place).items()} == {
        1: -3.0, 2: -2.0, **dict.fromkeys(range(3, 13), 16.0),
    }  # fmt: skip


def test_the_keeper_removes_months_by_saying_so(place: Place, keeper_client: Client) -> None:
    actions.keep_usual(place.pk, MILD_ALL_YEAR, by=None)
    page = reverse("weather:usual", args=[place.pk])
    assert "Remove the months that are empty here" in keeper_client.get(page).content.decode()
    typed = {"low_1": "-3", "high_1": "4"}
    assert keeper_client.post(page, typed | {"removes_others": "on"}).status_code == 302
    assert set(queries.usual_by_month(place)) == {1}
    assert LogRow.objects.first().sentence.endswith("Removed 11 usual months.")  # type: ignore[union-attr]
    assert keeper_client.post(page, {"removes_others": "on"}).status_code == 302
    assert queries.usual_by_month(place) == {}


def test_a_file_of_months_is_taken_whole(place: Place, keeper_client: Client) -> None:
    rows = "month,low_f,high_f\n" + "".join(f"{month},50,68\n" for month in range(1, 13))
    sent = SimpleUploadedFile("normals.csv", ("\ufeff" + rows).encode())
    assert keeper_client.post(reverse("weather:usual", args=[place.pk]), {"file": sent}).status_code == 302
    assert queries.usual_by_month(place)[7] == UsualRange(7, pytest.approx(10.0), pytest.approx(20.0))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "first row"),
        (b"month,low_c,high_c\n1,\xff,3", "Row 2: the file is not UTF-8 text"),
        (b"month,low,high\n1,2,3\n", "first row"),
        (b"month,low_c,high_c\n13,2,3\n", "Row 2: 13 is no month"),
        (b"month,low_c,high_c\n1,2\n", "Row 2: ‘1, 2’ is no month"),
        (b"month,low_c,high_c\n1,nan,3\n", "Row 2: January"),
        (b"month,low_c,high_c\n1,2,3\n1,2,3\n", "Row 3: January is in the file twice"),
    ],
)
def test_a_file_with_a_fault_gives_no_month_and_names_its_row(content: bytes, sentence: str) -> None:
    months, faults = climatology.read_months_csv(content)
    assert months == []
    assert sentence in faults[0]


def test_measured_hours_give_the_months_that_have_enough_whole_days(place: Place, keeper_client: Client) -> None:
    start = datetime(2013, 1, 1, 5, tzinfo=UTC)
    error_pairs.keep_observed(place, start, sample_data.station_slice("JFK", start, 31 * 24 + 10 * 24), "measured")
    (january,) = queries.usual_by_measured(place)
    assert january.month == 1
    # Means of the daily lows and highs that the airport recorded in January 2013, computed from the same file.
    assert january.low_c < 0.5 < 3.0 < january.high_c < 6.0
    page = keeper_client.get(reverse("weather:usual", args=[place.pk])).content.decode()
    assert "1 month below comes from what was measured here" in page
    assert f'value="{january.low_c}"' in page


def test_twenty_days_are_needed_and_short_days_do_not_count() -> None:
    first = datetime(2013, 1, 1, 5, tzinfo=UTC)
    hours = [(first + timedelta(hours=hour), float(hour % 24)) for hour in range(20 * 24)]
    assert climatology.from_measured(hours, NEW_YORK) == [UsualRange(1, 0.0, 23.0)]
    assert climatology.from_measured(hours[:-3], NEW_YORK) == []


def test_every_month_has_its_name() -> None:
    assert [datetime(2013, month, 1).strftime("%B") for month in range(1, 13)] == list(NAMES)
