"""The picture of a tub over time: counts stand where they were made, and the safe line never passes the likely one."""

import re
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.cultures import tub_chart
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import record_count, record_looked
from breeder.cultures.models import Culture
from breeder.cultures.queries.tubs import book_of, looks_of
from tests.build import tub
from tests.cultures.book import day, lower

pytestmark = pytest.mark.django_db


@pytest.fixture
def followed(keeper: User) -> Any:
    """A tub with two counts and a sale between, read 60 days later."""
    with time_machine.travel(day(60), tick=False):
        culture = tub()
        record_count(culture.pk, "young", "eye", {"from": 50, "to": 100}, happened_at=day(0), by=keeper)
        record_change(culture.pk, "young", 20, "culled", happened_at=day(15), by=keeper)
        record_count(culture.pk, "young", "hand", {"counted": 80}, happened_at=day(30), by=keeper)
        yield culture


def drawn(culture: Culture) -> tub_chart.Chart:
    found = tub_chart.chart_of(book_of(culture), culture, "young", timezone.now())
    assert found is not None
    return found


def points(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", path)]


def test_counts_and_sales_stand_where_they_happened(followed: Culture) -> None:
    found = drawn(followed)
    first, second = found.dots
    assert first.x == tub_chart.LEFT
    assert second.x == pytest.approx((tub_chart.LEFT + tub_chart.RIGHT) / 2, abs=0.1)
    assert found.taken == (pytest.approx(tub_chart.LEFT + (tub_chart.RIGHT - tub_chart.LEFT) / 4, abs=0.1),)
    assert second.y < first.y  # 80 stand higher than 71


def test_the_safe_line_lies_under_the_likely_one_and_ends_at_todays_number(followed: Culture) -> None:
    found = drawn(followed)
    safe, likely = points(found.lower), points(found.likely)
    assert len(safe) == len(likely) > 50
    assert all(low >= high for (_, low), (_, high) in zip(safe, likely, strict=True))  # y grows downwards
    assert found.rows[-1].lower == lower(followed)
    assert [tick.said for tick in found.ticks] == ["0", "20", "40", "60", "80"]


def test_the_page_shows_it_with_a_table_beside_it(followed: Culture, keeper_client: Client) -> None:
    html = keeper_client.get(reverse("cultures:tub", args=[followed.number])).content.decode()
    assert 'class="curve-band"' in html
    assert "What happened, as a table" in html
    assert html.count('class="curve-dot"') == 3  # two counts and the one of the key


def test_looks_stand_under_the_axis_and_what_was_seen_in_the_table(followed: Culture, keeper: User) -> None:
    record_looked(followed.pk, ["well"], happened_at=day(15), by=keeper)
    record_looked(followed.pk, ["mites"], happened_at=day(45), by=keeper)
    wrong = record_looked(followed.pk, ["mould"], happened_at=day(50), by=keeper).entry
    correct_entry(wrong.pk, by=keeper)
    looks = looks_of(followed)
    found = tub_chart.chart_of(book_of(followed), followed, "young", timezone.now(), looks)
    assert found is not None
    assert [look.seen for look in found.looks] == [(), ("mites",)]
    width = tub_chart.RIGHT - tub_chart.LEFT
    places = [tub_chart.LEFT + width / 4, tub_chart.LEFT + 3 * width / 4]
    assert [look.x for look in found.looks] == pytest.approx(places, abs=0.1)
    assert (found.looks_well, [look.seen for look in found.looks_else]) == (1, [("mites",)])
    said = [read.said for read in found.rows]
    assert len(said) == 5  # two counts, a sale, the mites, today
    assert said[1].startswith("20 young culled")
    assert (said[3], said[4]) == ("Looked: mites.", "")


def test_a_tub_of_today_has_nothing_to_draw_yet(keeper: User) -> None:
    culture = tub()
    assert tub_chart.chart_of(book_of(culture), culture, "young", timezone.now()) is None
    record_count(culture.pk, "young", "hand", {"counted": 80}, by=keeper)
    assert tub_chart.chart_of(book_of(culture), culture, "young", timezone.now()) is None
