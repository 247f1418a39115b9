"""The proof of the book finds what does not fit, and its work grows with the entries alone."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from breeder.cultures import belief_store, ledger_check
from breeder.cultures.actions.changes import move_animals
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.tubs import Place, split_tub
from breeder.cultures.models import Culture, Entry
from tests.build import line, tub
from tests.cultures.book import day

pytestmark = pytest.mark.django_db


def two_tubs() -> tuple[Culture, Culture]:
    of = line(harvest_share=None)
    first, second = tub(of), tub(of)
    for one in (first, second):
        record_count(one.pk, "young", "hand", {"counted": 100}, happened_at=day(1), by=None)
    return first, second


def test_a_move_of_which_only_one_side_was_put_right_is_found() -> None:
    first, second = two_tubs()
    out = move_animals(first.pk, second.pk, "young", 5, happened_at=day(2), by=None).entry
    assert list(ledger_check.differences()) == []
    now = timezone.now()
    Entry.objects.create(culture=first, kind="correct", stage="young", corrects=out, happened_at=now, recorded_at=now)
    belief_store.bring_up_to_date([first.pk])
    found = list(ledger_check.differences())
    assert [(one.tub, one.stored, one.replayed) for one in found] == [
        (second.number, "5 moved in", "its other side was put right")
    ]


def test_a_move_whose_sides_differ_is_found() -> None:
    first, second = two_tubs()
    fact = {"stage": "young", "kind": "change", "reason": "moved", "happened_at": day(3), "recorded_at": day(3)}
    out = Entry.objects.create(culture=first, number=-5, **fact)
    Entry.objects.create(culture=second, number=6, other_side=out, **fact)
    belief_store.bring_up_to_date([first.pk, second.pk])
    assert [one.replayed for one in ledger_check.differences()] == [f"-5 out of tub {first.number}"]


def test_the_proof_asks_no_more_for_many_moves_than_for_few() -> None:
    first, second = two_tubs()

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert list(ledger_check.differences()) == []
        return len(queries)

    move_animals(first.pk, second.pk, "young", 1, happened_at=day(2), by=None)
    few = asked()
    for number in range(20):
        move_animals(first.pk, second.pk, "young", 1, happened_at=day(3 + number), by=None)
    assert asked() == few
    split_tub(first.pk, Place("B"), share=0.5, happened_at=day(40), by=None)
    assert list(ledger_check.differences()) == []
