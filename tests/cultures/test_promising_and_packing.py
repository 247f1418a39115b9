"""What is free falls when animals are promised, and by nothing more when they are packed."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from breeder.cultures import rules, steps
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.tubs import Place, merge_tubs, split_tub
from breeder.cultures.models import Promise
from breeder.cultures.queries.stock import stock_by_line, stock_of
from tests.build import line, tub
from tests.cultures.book import promise

pytestmark = pytest.mark.django_db


def free(line_id: int, stage: str = "young") -> int:
    return stock_of(line_id).free(stage)


def test_promise_12_and_pack_12_nine_times(keeper: User) -> None:
    of = line(young_kept=20, harvest_share=None)
    culture = tub(of)
    record_count(culture.pk, "young", "eye", {"from": 250, "to": 500}, by=keeper)
    for _ in range(9):
        before = free(of.pk)
        held = promise(of.pk, 12)
        assert free(of.pk) == before - 12
        with transaction.atomic():
            steps.lock_lines([of.pk])
            steps.pack_from(culture, "young", 12, promise=held, at=timezone.now(), by=keeper)
        assert free(of.pk) == before - 12
        assert held.state == Promise.State.PACKED


def test_the_harvest_share_too_counts_a_packed_animal_once(keeper: User) -> None:
    of = line(young_kept=0)
    culture = tub(of)
    record_count(culture.pk, "young", "hand", {"counted": 100}, by=keeper)
    assert free(of.pk) == 30
    held = promise(of.pk, 12)
    assert free(of.pk) == 18
    with transaction.atomic():
        steps.lock_lines([of.pk])
        steps.pack_from(culture, "young", 12, promise=held, at=timezone.now(), by=keeper)
    assert free(of.pk) == 18


@pytest.mark.parametrize("loss", ["0", "0.10", "0.33"])
def test_promise_then_pack_changes_nothing_with_a_handling_loss_too(keeper: User, loss: str) -> None:
    of = line(young_kept=50, harvest_share=None, handling_loss=loss)
    culture = tub(of)
    record_count(culture.pk, "young", "hand", {"counted": 200}, by=keeper)
    first = left = free(of.pk)
    assert first == int(150 * (100 - int(float(loss) * 100)) / 100)
    for number in (10, 1, 33, 7, first - 51):
        held = promise(of.pk, number)
        left -= number
        assert free(of.pk) == left
        with transaction.atomic():
            steps.lock_lines([of.pk])
            steps.pack_from(culture, "young", number, promise=held, at=timezone.now(), by=keeper)
        assert free(of.pk) == left
    assert left == 0


def test_tipping_a_tub_apart_and_together_renews_no_harvest(keeper: User) -> None:
    """Before, 2 that might still go became 29."""
    of = line(young_kept=0)
    first = tub(of)
    record_count(first.pk, "young", "hand", {"counted": 100}, by=keeper)
    with transaction.atomic():
        steps.lock_lines([of.pk])
        steps.pack_from(first, "young", 28, promise=None, at=timezone.now(), by=keeper)
    assert free(of.pk) == 2
    second = split_tub(first.pk, Place("B"), share=0.5, by=keeper).entry.culture
    halves = stock_of(of.pk).stages["young"]
    assert halves.free == 2
    assert [one.free_alone for one in halves.tubs] == [1, 1]
    merge_tubs(second.pk, first.pk, by=keeper)
    assert free(of.pk) == 2
    record_count(first.pk, "young", "hand", {"counted": 70}, by=keeper)
    assert free(of.pk) == 21  # only a count renews it


def test_the_bar_tells_what_waits_and_what_may_be_there(keeper: User) -> None:
    of = line(young_kept=20)
    record_count(tub(of).pk, "young", "eye", {"from": 100, "to": 250}, by=keeper)
    promise(of.pk, 12)
    stock = stock_of(of.pk).stages["young"]
    assert (stock.lower, stock.stays, stock.promised, stock.free) == (75, 20, 12, 35)  # ⌊0.30 · 158.1⌋ − 12
    assert (stock.later, stock.doubt) == (75 - 20 - 12 - 35, 158 - 75)
    assert stock.waits_for_count


def test_a_hold_that_ran_out_unpaid_holds_nothing_when_read(keeper: User) -> None:
    of = line(young_kept=0, harvest_share=None)
    record_count(tub(of).pk, "young", "hand", {"counted": 50}, by=keeper)
    now = timezone.now()
    promise(of.pk, 12, expires_at=now - timedelta(seconds=1))
    assert free(of.pk) == 50
    kept = promise(of.pk, 12, expires_at=now - timedelta(seconds=1))
    steps.mark_paid(kept, at=now)
    assert free(of.pk) == 38


def test_the_refusal_names_free_kept_back_and_promised(keeper: User) -> None:
    of = line(young_kept=30, harvest_share=None)
    record_count(tub(of).pk, "young", "hand", {"counted": 46}, by=keeper)
    promise(of.pk, 4)
    stocks = stock_by_line([of.pk])
    wants = [rules.Want(of.pk, "young", 7), rules.Want(of.pk, "young", 6)]
    with pytest.raises(rules.NotEnoughSurplus) as refused:
        rules.require(wants, stocks)
    assert refused.value.sentences == (
        "Only 12 can be spared from Armadillidium vulgare ‘Harbour’: about 46 young at least, 30 kept back, "
        "4 promised. Take 12 or fewer, or choose another line.",
    )
    assert rules.shortages([rules.Want(of.pk, "young", 12)], stocks) == []
