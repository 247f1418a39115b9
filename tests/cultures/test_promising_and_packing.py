"""What is free falls when animals are promised, and by nothing more when they are packed."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from breeder.cultures import actions, queries, rules, steps
from breeder.cultures.models import Promise
from tests.build import line, tub
from tests.cultures.book import promise

pytestmark = pytest.mark.django_db


def free(line_id: int, stage: str = "young") -> int:
    return queries.stock_of(line_id).free(stage)


def test_promise_12_and_pack_12_nine_times(keeper: User) -> None:
    of = line(young_kept=20, harvest_share=None)
    culture = tub(of)
    actions.record_count(culture.pk, "young", "eye", {"from": 250, "to": 500}, by=keeper)
    for _ in range(9):
        before = free(of.pk)
        held = promise(of.pk, 12)
        assert free(of.pk) == before - 12
        with transaction.atomic():
            steps.take_turn([of.pk])
            steps.pack_from(culture, "young", 12, promise=held, at=timezone.now(), by=keeper)
        assert free(of.pk) == before - 12
        assert held.state == Promise.State.PACKED


def test_the_harvest_share_too_counts_a_packed_animal_once(keeper: User) -> None:
    of = line(young_kept=0)
    culture = tub(of)
    actions.record_count(culture.pk, "young", "hand", {"counted": 100}, by=keeper)
    assert free(of.pk) == 30
    held = promise(of.pk, 12)
    assert free(of.pk) == 18
    with transaction.atomic():
        steps.take_turn([of.pk])
        steps.pack_from(culture, "young", 12, promise=held, at=timezone.now(), by=keeper)
    assert free(of.pk) == 18


def test_a_hold_that_ran_out_unpaid_holds_nothing_when_read(keeper: User) -> None:
    of = line(young_kept=0, harvest_share=None)
    actions.record_count(tub(of).pk, "young", "hand", {"counted": 50}, by=keeper)
    now = timezone.now()
    promise(of.pk, 12, expires_at=now - timedelta(seconds=1))
    assert free(of.pk) == 50
    kept = promise(of.pk, 12, expires_at=now - timedelta(seconds=1))
    steps.mark_paid(kept, at=now)
    assert free(of.pk) == 38


def test_the_refusal_names_free_kept_back_and_promised(keeper: User) -> None:
    of = line(young_kept=30, harvest_share=None)
    actions.record_count(tub(of).pk, "young", "hand", {"counted": 46}, by=keeper)
    promise(of.pk, 4)
    stocks = queries.stock_by_line([of.pk])
    wants = [rules.Want(of.pk, "young", 7), rules.Want(of.pk, "young", 6)]
    with pytest.raises(rules.NotEnoughSurplus) as refused:
        rules.require(wants, stocks)
    assert refused.value.sentences == (
        "Only 12 can be spared from Armadillidium vulgare ‘Harbour’: about 46 young at least, 30 kept back, "
        "4 promised. Take 12 or fewer, or choose another line.",
    )
    assert rules.shortages([rules.Want(of.pk, "young", 12)], stocks) == []
