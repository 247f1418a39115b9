"""Where a limit or a default begins to matter, from both sides. Common practice, no source."""

from collections.abc import Iterator
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.cultures import actions, count_entry, entry_text, queries
from breeder.cultures.forms import COUNT_FORMS, SplitForm, WhenForm
from breeder.cultures.forms.fields import WhenField
from breeder.cultures.models import Culture
from tests.build import NOW, line, tub

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


def form_errors(method: str, **typed: str) -> dict[str, list[str]]:
    stage = "adults" if method == "by_sexes" else "young"
    return dict(COUNT_FORMS[method]({"stage": stage, **typed}).errors)


def test_a_count_is_due_ninety_days_after_the_last(keeper: User) -> None:
    for days, due in ((89, False), (90, True)):
        culture = tub()
        at = NOW - timedelta(days=days)
        actions.record_count(culture.pk, "young", "hand", {"counted": 9}, happened_at=at, by=keeper)
        assert queries.tub_rows(number=culture.number)[0].count_due is due


def test_a_phones_clock_may_run_five_minutes_ahead(keeper: User) -> None:
    culture = tub()
    for seconds in (299, 300):
        at = NOW + timedelta(seconds=seconds)
        actions.record_count(culture.pk, "young", "hand", {"counted": 9}, happened_at=at, by=keeper)
    at = NOW + timedelta(seconds=301)
    with pytest.raises(ValidationError, match="has not come yet"):
        actions.record_count(culture.pk, "young", "hand", {"counted": 9}, happened_at=at, by=keeper)


def test_a_hundred_thousand_animals_are_the_most_in_one_entry(keeper: User) -> None:
    culture = tub()
    actions.record_change(culture.pk, "young", 100_000, "received", by=keeper)
    with pytest.raises(ValidationError, match="100000"):
        actions.record_change(culture.pk, "young", 100_001, "received", by=keeper)


def test_a_million_animals_are_the_most_that_a_count_makes_but_what_stands_is_read(keeper: User) -> None:
    """100000 under one piece, times ten: a million. A tipped half of far more fits no whole number on a server."""
    culture = tub()
    actions.record_count(culture.pk, "young", "piece", {"seen": 100_000, "factor": 10}, by=keeper)
    with pytest.raises(ValidationError, match="about 1000010 animals, more than one tub can hold"):
        actions.record_count(culture.pk, "young", "piece", {"seen": 100_000, "factor": 10.0001}, by=keeper)
    assert count_entry.counted("piece", {"seen": 100_000, "factor": 10.0001}).estimate == pytest.approx(1_000_010)


def test_where_nothing_is_said_none_were_missed_and_none_lie_in_clusters() -> None:
    """45 counted are 45; 9 and 11 in two portions of a hundredth each are 1000."""
    for method in ("hand", "full_sort"):
        assert count_entry.counted(method, {"counted": 45}).estimate == 45
    given = {"counts": [9, 11], "sizes": [1, 1], "whole": 100}
    assert count_entry.counted("portions", given).estimate == pytest.approx(1000)


SMALLEST = [
    ("hand", {"counted": "0"}),
    ("index", {"seen": "1", "trial_known": "1", "trial_seen": "1"}),
    ("after_sale", {"index_before": "1", "index_after": "0", "removed": "1"}),
    ("weight", {"sample_count": "1", "sample_g": "0.1", "whole_g": "0.1"}),
    ("marked", {"marked": "1", "caught": "1", "marked_caught": "1"}),
    ("removal", {"catches": "1 0"}),
    ("by_sexes", {"before": "1.1", "after": "1.0", "taken": "0.1"}),
]


@pytest.mark.parametrize(("method", "typed"), SMALLEST, ids=[method for method, _ in SMALLEST])
def test_the_smallest_count_of_each_way_is_taken_and_less_is_not(method: str, typed: dict[str, str]) -> None:
    assert form_errors(method, **typed) == {}
    for name in typed:
        if typed[name] == "1" and name not in ("seen", "trial_seen", "marked_caught"):
            assert name in form_errors(method, **typed | {name: "0"})


def test_ninety_of_a_hundred_may_be_missed_and_none(keeper: User) -> None:
    for missed, wrong in (("0", False), ("90", False), ("91", True), ("-1", True)):
        assert bool(form_errors("hand", counted="45", missed=missed)) is wrong


def test_two_hundred_portions_are_one_count() -> None:
    for portions, wrong in ((200, False), (201, True)):
        counts = " ".join(["3"] * portions)
        assert bool(form_errors("portions", counts=counts, sizes="1", whole="1000")) is wrong


def test_nothing_happened_before_1990() -> None:
    for day, wrong in (("1990-01-02T12:00", False), ("1989-12-30T12:00", True)):
        assert bool(form_errors("hand", counted="45", happened_at=day)) is wrong


def test_a_time_that_clocks_show_twice_or_leap_over_is_taken() -> None:
    """In New York 1:30 came twice on 1 November 2026, and 2:30 never on 8 March."""
    for typed, told in (("2026-11-01T01:30", (5, 30)), ("2026-03-08T02:30", (7, 30)), ("2026-03-08T04:30", (8, 30))):
        with timezone.override(ZoneInfo("America/New_York")):
            at = WhenField().clean(typed)
        assert (at.astimezone(UTC).hour, at.astimezone(UTC).minute) == told


def test_one_animal_can_be_asked_for_and_a_pack_is_asked_for_first() -> None:
    assert WhenForm({"wanted": "1", "stage": "young"}).is_valid()
    assert not WhenForm({"wanted": "0", "stage": "young"}).is_valid()


def test_places_on_a_shelf_run_from_1_to_999(keeper_client: Client) -> None:
    of = line()
    for place, taken in (("0", False), ("1", True), ("999", True), ("1000", False)):
        sent = {"line": str(of.pk), "shelf": "A", "place_on_shelf": place, "purpose": "breeding"}
        before = Culture.objects.count()
        keeper_client.post(reverse("cultures:tub_new"), sent)
        assert (Culture.objects.count() > before) is taken, place


def test_no_tub_was_begun_before_1990(keeper_client: Client) -> None:
    sent = {"line": str(line().pk), "shelf": "A", "place_on_shelf": "1", "purpose": "breeding"}
    for day, taken in (("0001-01-01", False), ("1989-12-31", False), ("1990-01-01", True)):
        answer = keeper_client.post(reverse("cultures:tub_new"), sent | {"started_on": day})
        assert (Culture.objects.exists(), "Check the year" in answer.content.decode()) == (taken, not taken), day


def test_a_tub_page_shows_the_twenty_newest_entries_first(keeper_client: Client, keeper: User) -> None:
    for entries, more in ((19, False), (20, True)):
        culture = tub()
        for minute in range(entries):
            actions.record_looked(culture.pk, happened_at=NOW - timedelta(minutes=minute), by=keeper)
        page = keeper_client.get(reverse("cultures:tub", args=[culture.number]))
        assert page.context["more"] is more


def test_a_tub_may_begin_with_none_and_has_up_to_999_litres(keeper_client: Client) -> None:
    of = line()
    sent = {"line": str(of.pk), "shelf": "A", "place_on_shelf": "1", "purpose": "breeding", "adults": "0", "young": "0"}
    for litres, taken in (("-0.1", False), ("0", True), ("999", True), ("999.1", False)):
        before = Culture.objects.count()
        keeper_client.post(reverse("cultures:tub_new"), sent | {"litres": litres})
        assert (Culture.objects.count() > before) is taken, litres
    whole = Culture.objects.first()
    assert whole is not None
    for name in ("adults", "young"):
        assert not SplitForm({name: "0"} | sent, tub=whole).errors.get(name)


def test_a_week_is_seven_days_for_the_plan(keeper: User) -> None:
    """A tub counted six days ago is done for this week; one of seven days ago is asked for again."""
    recent, older = (tub(line(form, harvest_share=None)) for form in ("Recent", "Older"))
    for culture, days in ((recent, 6), (older, 7)):
        at = NOW - timedelta(days=days)
        actions.record_count(culture.pk, "young", "eye", {"from": 100, "to": 250}, happened_at=at, by=keeper)
    plan = queries.plan_of_week()
    assert plan.counted == 1
    assert plan.of(recent.pk) is None
    assert plan.of(older.pk) is not None


def test_the_last_look_is_undone_on_the_round_for_half_an_hour(keeper: User) -> None:
    looked = actions.record_looked(tub().pk, by=keeper)
    for minutes, found in ((30, looked.entry), (31, None)):
        with time_machine.travel(NOW + timedelta(minutes=minutes), tick=False):
            assert queries.last_of(keeper) == found


def test_a_tub_tipped_out_whole_is_told_as_all(keeper: User) -> None:
    whole, into = tub(), tub(line("Mixed"), purpose="mixed")
    actions.record_count(whole.pk, "young", "hand", {"counted": 40}, by=keeper)
    actions.merge_tubs(whole.pk, into.pk, by=keeper)
    told = [entry_text.sentence_of(row.entry, row.other_number) for row in queries.entry_rows(into)]
    assert any(one.startswith(f"All of the young tipped in from tub {whole.number}") for one in told), told
