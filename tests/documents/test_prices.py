"""What the printed price list offers."""

import pytest
from django.utils import timezone

from breeder.base.models import Setting
from breeder.documents import queries
from breeder.documents.rules import NothingToPrint
from tests import build
from tests.orders.stand import counted_line

pytestmark = pytest.mark.django_db

HOME = Setting(currency="EUR", few_below_packs=3)


def test_packs_carry_price_and_a_word_and_what_is_gone_is_named_apart() -> None:
    plenty = counted_line("Plenty", 500)
    build.offer(plenty, price="24.00")
    build.offer(plenty, number=20, price=None)
    build.offer(plenty, number=30, public=False)
    build.offer(counted_line("Scarce", 20))
    build.offer(build.line("Gone"))
    build.line("Never offered")
    offers, gone = queries.priced(HOME, timezone.localdate())
    assert [(offer.name.form, offer.pack, offer.price, offer.available) for offer in offers] == [
        ("Plenty", "starter of 10 young", "24.00 EUR", "available"),
        ("Plenty", "starter of 20 young", "", "available"),
        ("Scarce", "starter of 10 young", "24.00 EUR", "few"),
    ]
    assert [name.form for name in gone] == ["Gone"]
    assert {offer.group for offer in offers} == {"Isopods"}


def test_a_list_of_nothing_says_so() -> None:
    with pytest.raises(NothingToPrint, match="Nothing is offered yet"):
        queries.priced(HOME, timezone.localdate())
