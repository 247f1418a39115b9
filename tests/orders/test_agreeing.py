"""An order promises all its packs at once, or none."""

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from breeder.base import form_tokens
from breeder.base.action_frame import Sent
from breeder.base.models import LogRow
from breeder.cultures.models import Promise
from breeder.cultures.queries.stock import stock_of
from breeder.orders import actions
from breeder.orders.models import Order
from breeder.orders.rules.order_status import Who
from breeder.orders.rules.packs import Wanted, packs_free
from breeder.people.models import Person
from tests.build import offer, tub
from tests.orders.stand import agree, counted_line, free, pack, sexed_line, terms

pytestmark = pytest.mark.django_db


def test_agreeing_sets_wanted_and_overcount_aside() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2))
    assert free(harbour) == 60 - 24
    assert order.lines.get().promise.number == 24
    assert LogRow.objects.filter(did="agreed an order").count() == 1


def test_the_last_24_go_to_one_order_of_24_or_two_of_12() -> None:
    harbour = counted_line("Harbour", 24)
    starter = pack(harbour)
    agree((starter, 1))
    with pytest.raises(ValidationError) as refusal:
        agree((starter, 2))
    assert free(harbour) == 12
    agree((starter, 1))
    assert free(harbour) == 0
    assert "Only 12 can be spared" in " ".join(refusal.value.messages)


def test_the_refusal_names_free_kept_back_and_promised_of_every_line_at_once() -> None:
    harbour, rook = counted_line("Harbour", 60, kept=30), counted_line("Rook", 40, kept=30)
    agree((pack(harbour), 1))
    with pytest.raises(ValidationError) as refusal:
        agree((pack(harbour), 3), (pack(rook), 1))
    said = refusal.value.messages
    assert len(said) == 2
    assert "Only 18 can be spared" in said[0]
    assert "60 young at least, 30 kept back, 12 promised" in said[0]
    assert "‘Rook’" in said[1]


def test_the_refusal_says_when_more_could_go_after_a_count() -> None:
    harbour = counted_line("Harbour", 100, kept=20, harvest_share="0.30")
    agree((pack(harbour), 1))
    with pytest.raises(ValidationError) as refusal:
        agree((pack(harbour), 2))
    said = refusal.value.messages[0]
    assert "Only 18 can be spared" in said
    assert "Until the next count no more than 30 may go" in said


def test_a_refused_order_leaves_nothing_behind() -> None:
    harbour, rook = counted_line("Harbour", 60), counted_line("Rook", 5)
    with pytest.raises(ValidationError):
        agree((pack(harbour), 1), (pack(rook), 1))
    assert not Order.objects.exists()
    assert not Promise.objects.exists()
    assert not Person.objects.exists()
    assert free(harbour) == 60


def test_the_same_form_sent_twice_is_one_order() -> None:
    harbour = counted_line("Harbour", 60)
    starter = pack(harbour)
    sent = Sent(form_tokens.new_token(), answer=lambda order: f"/orders/{order.number}/")
    first = agree((starter, 1), sent=sent)
    with pytest.raises(form_tokens.AlreadyDone) as repeated:
        agree((starter, 1), sent=sent)
    assert repeated.value.answer == f"/orders/{first.number}/"
    assert Order.objects.count() == 1
    assert free(harbour) == 48


def test_rows_of_the_same_line_are_added_up_before_they_are_judged() -> None:
    harbour = counted_line("Harbour", 30)
    ten, fifteen = pack(harbour), pack(harbour, number=15, overcount=3)
    with pytest.raises(ValidationError):
        agree((ten, 1), (fifteen, 2))
    agree((ten, 1), (fifteen, 1))
    assert free(harbour) == 0


def test_order_numbers_are_plain_and_without_gaps(keeper: User) -> None:
    harbour = counted_line("Harbour", 60)
    starter = pack(harbour)
    numbers = [agree((starter, 1), by=keeper).number for _ in range(3)]
    with pytest.raises(ValidationError):
        agree((starter, 50))
    numbers.append(agree((starter, 1), by=keeper).number)
    assert numbers == [1, 2, 3, 4]


def test_a_pack_that_was_withdrawn_is_refused_by_name() -> None:
    harbour = counted_line("Harbour", 60)
    gone = pack(harbour, active=False)
    with pytest.raises(ValidationError) as refusal:
        agree((gone, 1))
    assert "no longer offered" in " ".join(refusal.value.messages)


def test_a_pair_takes_one_of_each_sex_and_leaves_those_that_stay() -> None:
    veil = sexed_line("Veil", 6, 20)
    pair = offer(veil, kind="sexed", stage="adults", number=2, males=1, females=1, overcount=0)
    order = agree((pair, 3))
    promise = order.lines.get().promise
    assert (promise.number, promise.males, promise.females) == (6, 3, 3)
    with pytest.raises(ValidationError) as refusal:
        agree((pair, 3))
    assert "1 male can be spared" in " ".join(refusal.value.messages)


def test_as_many_packs_are_called_free_as_can_be_promised() -> None:
    veil = sexed_line("Veil", 6, 20)
    pair = offer(veil, kind="sexed", stage="adults", number=2, males=1, females=1, overcount=0)
    packs = packs_free(pair, stock_of(veil.pk))
    assert packs >= 1
    with pytest.raises(ValidationError):
        agree((pair, packs + 1))
    agree((pair, packs))
    assert packs_free(pair, stock_of(veil.pk)) == 0


def test_showing_females_are_all_promised_as_females_those_on_top_too() -> None:
    veil = sexed_line("Veil", 8, 20, shown_by="females")
    showing = offer(veil, kind="showing", stage="adults", number=3, overcount=1)
    promise = agree((showing, 2)).lines.get().promise
    assert (promise.number, promise.males, promise.females) == (8, 0, 8)


def test_a_tub_that_is_named_must_give_what_is_wanted() -> None:
    harbour = counted_line("Harbour", 60)
    other = tub(harbour)
    wanted = [Wanted(offer_id=pack(harbour).pk, packs=1, culture_id=other.pk)]
    with pytest.raises(ValidationError) as refusal:
        actions.agree_order(Who(new_name="Ada Marsh"), wanted, terms(), by=None)
    assert "Choose another tub" in " ".join(refusal.value.messages)


def test_a_sexed_pair_needs_sexes_that_were_counted() -> None:
    harbour = counted_line("Harbour", 60)
    pair = offer(harbour, kind="sexed", stage="adults", number=2, males=1, females=1, overcount=0)
    with pytest.raises(ValidationError) as refusal:
        agree((pair, 1))
    assert refusal.value.messages
