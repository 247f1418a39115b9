"""A packing that was none after all gives its promise back what it held, sexes too."""

import pytest
from django.db import transaction
from django.utils import timezone

from breeder.cultures import steps
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import Sexed, record_count
from breeder.cultures.models import Promise
from tests.build import line, tub

pytestmark = pytest.mark.django_db


def held_and_packed(number: int) -> tuple[Promise, int]:
    """Return a promise of 1.2 adults of which `number` (1.1 of them) were packed, and the packing's entry."""
    of = line(adults_kept=0, each_sex_kept=0)
    culture = tub(of)
    record_count(culture.pk, "adults", "hand", {"counted": 20}, sexed=Sexed(8, 10, 2), by=None)
    with transaction.atomic():
        steps.lock_lines([of.pk])
        promise = steps.set_aside(of.pk, "adults", 3, at=timezone.now(), males=1, females=2)
        packing = steps.pack_from(
            culture, "adults", number, promise=promise, at=timezone.now(), by=None, males=1, females=1
        )
    return promise, packing.pk


def test_the_sexes_are_held_again() -> None:
    promise, packing = held_and_packed(2)
    assert (promise.number, promise.males, promise.females) == (1, 0, 1)
    correct_entry(packing, by=None)
    promise.refresh_from_db()
    assert (promise.number, promise.males, promise.females) == (3, 1, 2)


def test_a_correction_taken_back_packs_them_after_all() -> None:
    promise, packing = held_and_packed(2)
    correction = correct_entry(packing, by=None).entry
    correct_entry(correction.pk, by=None)
    promise.refresh_from_db()
    assert (promise.number, promise.males, promise.females) == (1, 0, 1)
    assert promise.state == Promise.State.HELD
