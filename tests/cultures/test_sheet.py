"""Yesterday's paper sheet typed in at the desk: one row a tub, all of it or nothing, at the time it was walked."""

import re
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.models import Setting
from breeder.cultures.actions.tubs import close_tub
from breeder.cultures.models import Culture, Entry
from breeder.species.models import Line
from tests.build import line, tub

pytestmark = pytest.mark.django_db

URL = "/round/sheet/"


def yesterday() -> Any:
    return timezone.localdate() - timedelta(days=1)


def typed(*rows: tuple[Culture, dict[str, Any]], **head: Any) -> dict[str, Any]:
    fields = {f"tub{of.number}-{name}": value for of, row in rows for name, value in row.items()}
    return {"on": yesterday().isoformat(), "token": form_tokens.new_token()} | head | fields


def test_rows_stand_in_the_order_of_the_printed_sheet_and_empty_ones_write_nothing(keeper_client: Client) -> None:
    of = line()
    second, first, cups = tub(of, shelf="B"), tub(of, shelf="A"), tub(line("Cups", sold_by=Line.SoldBy.CUP), shelf="C")
    page = keeper_client.get(URL).content.decode()
    assert re.findall(r'name="tub(\d+)-note"', page) == [str(one.number) for one in (first, second, cups)]
    assert f'name="tub{cups.number}-young"' not in page
    rows = (second, {"adults": "10–25", "young": "50–100", "seen": ["mancae"], "died_young": "2", "note": "lid"})
    answer = keeper_client.post(URL, typed(rows, (first, {"adults": "", "note": " "}), (cups, {"seen": ["well"]})))
    assert answer.status_code == 302
    written = [(entry.culture, entry.kind, entry.stage) for entry in Entry.objects.order_by("pk")]
    assert written == [
        (second, "count", "adults"),
        (second, "count", "young"),
        (second, "looked", ""),
        (second, "change", "young"),
        (cups, "looked", ""),
    ]


@pytest.mark.parametrize(("hour", "expected"), [("", time(12)), ("17:45", time(17, 45))])
def test_a_sheet_bears_its_own_day_at_noon_or_the_hour_given(keeper_client: Client, hour: str, expected: time) -> None:
    keeper_client.post(URL, typed((tub(), {"seen": ["well"]}), hour=hour))
    entry = Entry.objects.get()
    assert entry.happened_at == timezone.make_aware(datetime.combine(yesterday(), expected))
    assert entry.recorded_at - entry.happened_at > timedelta(0)


def test_one_wrong_row_keeps_all_of_it_on_the_page_and_writes_nothing(keeper_client: Client) -> None:
    good, late = tub(), tub(started_on=timezone.localdate())
    rows = ((good, {"young": "25–50", "note": "by the lamp"}), (late, {"seen": ["well"]}))
    page = keeper_client.post(URL, typed(*rows))
    html = page.content.decode()
    assert page.status_code == 422
    assert f"Tub {late.number}: “When” is" in html
    assert 'value="by the lamp"' in html
    assert re.search(rf'name="tub{good.number}-young".*?<option value="25–50" selected>', html)
    assert not Entry.objects.exists()


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"young": "a million"}, "not in the list"),
        ({"died_young": "-3"}, "smallest it can be"),
        ({"died_adults": "some"}, "is not a whole number"),
        ({"note": "x" * 300}, "Shorten it"),
    ],
)
def test_what_is_wrong_in_a_row_is_told_in_a_sentence(keeper_client: Client, row: dict[str, str], said: str) -> None:
    page = keeper_client.post(URL, typed((tub(), row)))
    assert page.status_code == 422
    assert said in page.content.decode()
    assert not Entry.objects.exists()


@pytest.mark.parametrize("on", ["tomorrow", "", "2999-01-01"])
def test_a_day_that_cannot_be_is_refused_and_the_rows_stay(keeper_client: Client, on: str) -> None:
    page = keeper_client.post(URL, typed((tub(), {"note": "by the lamp"}), on=on))
    assert page.status_code == 422
    assert 'value="by the lamp"' in page.content.decode()


def test_an_empty_sheet_says_so(keeper_client: Client) -> None:
    tub()
    page = keeper_client.post(URL, typed())
    assert (page.status_code, "Fill in at least one tub" in page.content.decode()) == (422, True)


def test_a_sheet_sent_twice_is_written_once(keeper_client: Client) -> None:
    sent = typed((tub(), {"seen": ["well"]}))
    first, second = keeper_client.post(URL, sent), keeper_client.post(URL, sent)
    assert first.url == second.url
    assert Entry.objects.count() == 1


def test_a_tub_closed_since_still_stands_on_the_sheet_of_that_day(keeper_client: Client, keeper: User) -> None:
    gone = tub()
    close_tub(gone.pk, reason="died out", by=keeper)
    assert f'name="tub{gone.number}-note"' in keeper_client.get(URL).content.decode()
    assert keeper_client.post(URL, typed((gone, {"seen": ["mould"]}))).status_code == 302


def test_tubs_done_that_day_are_marked_and_long_sheets_ask_no_more_of_the_database(
    keeper_client: Client, django_assert_max_num_queries: Any
) -> None:
    counts = []
    for more in (3, 30):
        of = line(f"Of {more}")
        tubs = [tub(of) for _ in range(more)]
        with django_assert_max_num_queries(15) as queries:
            keeper_client.get(URL)
        counts.append(len(queries))
    assert counts[0] == counts[1]
    keeper_client.post(URL, typed((tubs[0], {"seen": ["well"]})))
    assert keeper_client.get(URL).content.decode().count("looked into that day") == 1


@pytest.mark.parametrize("zone", ["Australia/Sydney", "America/New_York"])
@pytest.mark.parametrize("on", ["0001-01-01", "9999-12-31", "", "yesterday"])
def test_a_day_on_which_no_sheet_can_be_shows_yesterdays(keeper_client: Client, on: str, zone: str) -> None:
    household = Setting.objects.get_or_create(pk=1)[0]
    household.timezone = zone
    household.save()
    culture = tub(started_on=date(1995, 1, 1))
    page = keeper_client.get(URL, {"on": on, "shelf": "A\x00"})
    assert (page.status_code, f'name="tub{culture.number}-note"' in page.content.decode()) == (200, True)
    assert keeper_client.post(URL, typed((culture, {"seen": ["well"]}), on=on, shelf="A\x00")).status_code == 422
    assert not Entry.objects.exists()


def test_one_tub_is_in_the_book_and_the_page_stays_at_its_shelf_whatever_that_is_called(keeper_client: Client) -> None:
    one, other = tub(shelf="A & B#1"), tub(shelf="A ")
    page = keeper_client.post(URL, typed((one, {"seen": ["well"]}), shelf="A & B#1"), follow=True)
    assert [str(said) for said in page.context["messages"]] == [
        f"1 tub of the sheet of {yesterday():%-d %B %Y} is in the book."
    ]
    assert (page.context["shelf"], [row.tub for row in page.context["rows"]]) == ("A & B#1", [one])
    both = typed((one, {"seen": ["well"]}), (other, {"seen": ["well"]}))
    (said,) = keeper_client.post(URL, both, follow=True).context["messages"]
    assert str(said).endswith(" are in the book.")
