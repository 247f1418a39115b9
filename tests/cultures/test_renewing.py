"""A book kept by an older version is worked out anew by today's methods, and the keeper is told once what changed."""

from io import StringIO
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection

from breeder.cultures import actions, belief_renewal, count_entry, ledger_check, queries
from breeder.cultures.ledger_triggers import guard_ledger
from breeder.cultures.models import Belief, Culture, Entry
from tests.build import line, species, tub
from tests.cultures.book import day, tub_stock

pytestmark = pytest.mark.django_db
SLOW = {"mature_days": 1000, "young_survival": "0.5"}
PORTIONS = {"counts": [30, 1, 2], "sizes": [1, 1, 1], "whole": 4}


def check() -> str:
    out = StringIO()
    call_command("check_ledger", stdout=out)
    return out.getvalue()


def by_an_older_version(culture: Culture, **figures: Any) -> None:
    """Let a count and what was believed after it stand as an older version wrote them."""
    with connection.cursor() as cursor:
        for name in ("", "_update", "_delete"):
            at = " ON breeder_entry" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS entry_is_kept{name}{at}")
    entry = Entry.objects.get(culture=culture, kind="count")
    Entry.objects.filter(pk=entry.pk).update(**figures)
    guard_ledger()
    row = Belief.objects.get(culture=culture)
    old = {"kind": "animals", "middle": figures["estimate"], "log_sd": figures["log_sd"], "shared_sd": 0.1}
    old |= {"since": entry.happened_at.isoformat(), "cap": figures["estimate"]}
    moment = entry.happened_at.isoformat()
    belief = {"sources": [old], "begun_on": moment, "moved": 0, "taken": 0, "counted_on": moment, "used": None}
    ageing = {"adult_life_months": 24.0, "widening_per_month": 0.02, "stale_after_months": 6.0}
    row.used = {"belief": belief, "ageing": ageing}
    row.middle, row.log_sd = figures["estimate"], figures["log_sd"]
    row.save()


def old_book(keeper: User) -> Culture:
    of = line(of=species("Porcellio scaber", **SLOW), harvest_share=None, young_kept=0)
    culture = tub(of)
    actions.record_count(culture.pk, "young", "portions", PORTIONS, by=keeper)
    by_an_older_version(culture, estimate=44.0, lower=19.3, log_sd=0.5, shared_sd=0.1)
    return culture


def test_an_old_count_is_worked_out_by_todays_method_and_its_shared_error_stays(keeper: User) -> None:
    culture = old_book(keeper)
    assert tub_stock(culture).lower == 19
    assert belief_renewal.renew() == 1
    today = count_entry.counted("portions", PORTIONS, shared_sd=0.1)
    assert tub_stock(culture).lower == int(today.lower or 0)
    row = Belief.objects.get()
    assert row.log_sd == pytest.approx(today.log_sd)
    assert row.shared_sd == pytest.approx(0.1)
    assert Entry.objects.get().log_sd == 0.5  # what was written stays
    assert list(ledger_check.differences()) == []
    assert belief_renewal.renew() == 0


def test_the_check_explains_the_differences_once(keeper: User) -> None:
    culture = old_book(keeper)
    first, second = check(), check()
    assert "sure before" in first
    assert f"{culture.number}    young  19" in first
    assert "said only once" in first
    assert "no difference" in first
    assert "sure before" not in second
    assert "no difference" in second


def test_what_changed_is_still_told_when_something_was_written_before_the_check(keeper: User) -> None:
    culture = old_book(keeper)
    belief_renewal.renew_after_migrating()
    actions.record_change(culture.pk, "young", 1, "died", by=keeper)
    (told,) = belief_renewal.tell_once()
    assert (told.tub, told.sure_before) == (culture.number, 19)
    assert belief_renewal.tell_once() == []


def test_a_count_whose_raw_numbers_are_not_kept_stays_as_it_was(keeper: User) -> None:
    culture = tub(line(of=species("Porcellio scaber", **SLOW), harvest_share=None))
    actions.record_count(culture.pk, "young", "eye", {"from": 50, "to": 100}, happened_at=day(1), by=keeper)
    entry = Entry.objects.get()
    entry.given = {}
    assert count_entry.counted_again(entry) is None
    assert queries.book_of(culture).held(culture.pk, "young").belief is not None
