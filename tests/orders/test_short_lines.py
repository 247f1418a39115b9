"""Who is promised what of a line, paid first, and the choices while it is short: cancel, reduce, move, count."""

from datetime import timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.crashes import mark_crashed
from breeder.cultures.models import Promise
from breeder.cultures.queries.stock import stock_of
from breeder.orders import actions
from breeder.orders.models import Order
from breeder.orders.queries.promises import promises_of_line
from breeder.orders.rules.order_status import Who
from breeder.orders.rules.packs import Wanted
from breeder.species.models import Line
from tests.build import tub
from tests.orders.stand import agree, counted_line, pack, sexed_line, terms

pytestmark = pytest.mark.django_db


def short_line() -> tuple[Line, Order, Order]:
    """Return a line of which 36 are promised and 24 there; the second order is paid."""
    ash = counted_line("Ash", 60)
    starter = pack(ash, price="24.00")
    first, second = agree((starter, 2), name="Ada Marsh"), agree((starter, 1), name="Bo Reed")
    actions.record_payment(second.number, second.lines.get().price, timezone.localdate(), by=None)
    record_count(ash.cultures.get().pk, "young", "hand", {"counted": 24}, by=None)
    return ash, first, second


def rows(of: Line) -> list[tuple[str, int, int]]:
    _, (stage,) = promises_of_line(of.pk, timezone.now())
    return [(row.order.person.name, row.covered, row.missing) for row in stage.rows if row.order]


def test_paid_promises_are_covered_first_and_nothing_is_cancelled() -> None:
    ash, *_ = short_line()
    assert rows(ash) == [("Bo Reed", 12, 0), ("Ada Marsh", 12, 12)]
    assert stock_of(ash.pk).stages["young"].short == 12
    assert Promise.objects.filter(state="held").count() == 2


def test_the_page_shows_the_order_and_offers_to_cancel_and_reduce(keeper_client: Client) -> None:
    ash, first, second = short_line()
    said = keeper_client.get(reverse("orders:line_promises", args=[ash.pk])).content.decode()
    assert "12 young short" in said
    assert said.index("Bo Reed") < said.index("Ada Marsh")
    assert said.count("12 missing") == 1
    assert reverse("orders:cancel", args=[first.number]) in said
    assert reverse("orders:change", args=[first.number]) in said
    assert reverse("orders:change", args=[second.number]) in said
    assert said.count("Text to copy") == 1
    assert "I hold 24 young of Armadillidium vulgare ‘Ash’ for you. 12 of them are not there" in said
    assert "Ask the last buyers to wait" in said
    assert (
        reverse("orders:line_promises", args=[ash.pk])
        in keeper_client.get(reverse("cultures:line", args=[ash.pk])).content.decode()
    )


def test_of_one_animal_the_pages_and_the_letter_speak_in_the_singular(keeper_client: Client) -> None:
    ash = sexed_line("Ash", 20, 20)
    single = pack(ash, kind="showing", stage="adults", number=1, overcount=0, females=0)
    order, home = agree((single, 1)), ash.cultures.get()
    assert str(single).startswith("1 showing female, ")
    page = reverse("orders:line_promises", args=[ash.pk])
    covered = keeper_client.get(page).content.decode()
    assert "1 adult is covered" in covered
    assert '<span class="strong">1 adult</span> for Ada Marsh' in covered
    actions.name_tub(order.number, order.lines.get().pk, home.pk, by=None)
    mark_crashed(home.pk, "all dead", by=None)
    short = keeper_client.get(page).content.decode()
    assert "1 adult short" in short
    assert "I hold 1 adult of Armadillidium vulgare ‘Ash’ for you. It is not there after my last count" in short
    crashed = keeper_client.get(reverse("orders:crash", args=[home.number])).content.decode()
    assert "1 adult is promised without cover" in crashed
    assert "1 adult for Ada Marsh is promised out of this tub" in crashed


def test_reducing_the_last_order_covers_the_rest() -> None:
    ash, first, _ = short_line()
    change = actions.Change(terms(), {first.lines.get().pk: actions.LineChange(1, None)})
    actions.change_order(first.number, change, by=None)
    assert rows(ash) == [("Bo Reed", 12, 0), ("Ada Marsh", 12, 0)]
    assert stock_of(ash.pk).stages["young"].short == 0


def test_an_old_count_is_offered_to_be_counted_again(keeper_client: Client) -> None:
    ash, *_ = short_line()
    page = reverse("orders:line_promises", args=[ash.pk])
    count = reverse("cultures:tub_count", args=[ash.cultures.get().number])
    assert count not in keeper_client.get(page).content.decode()
    Promise.objects.update(expires_at=None)
    Order.objects.update(held_until=None)
    with time_machine.travel(timezone.now() + timedelta(days=8)):
        keeper_client.force_login(keeper_client.get(page).wsgi_request.user)
        assert count in keeper_client.get(page).content.decode()


def named(of: Line, tub_id: int | None) -> Order:
    offer = pack(of)
    return actions.agree_order(Who(new_name="Cy Dale"), [Wanted(offer.pk, 1, culture_id=tub_id)], terms(), by=None)


def test_a_promise_moves_to_another_tub_even_while_the_line_is_short(keeper_client: Client) -> None:
    ash = counted_line("Ash", 60)
    first, second = ash.cultures.get(), tub(ash)
    record_count(second.pk, "young", "hand", {"counted": 20}, by=None)
    agree((pack(ash), 3), name="Ada Marsh")
    order = named(ash, first.pk)
    record_change(first.pk, "young", 45, "died", by=None)
    assert stock_of(ash.pk).stages["young"].short == 13
    line = order.lines.get()
    page = reverse("orders:line_promises", args=[ash.pk])
    assert "tub 2 (20 free)" in keeper_client.get(page).content.decode()
    sent = {"order": order.number, "line": line.pk, "tub": second.pk, "token": form_tokens.new_token()}
    assert keeper_client.post(reverse("orders:name_tub", args=[ash.pk]), sent)["Location"] == page
    line.refresh_from_db()
    assert (line.culture_id, line.promise.culture_id) == (second.pk, second.pk)
    keeper_client.post(reverse("orders:name_tub", args=[ash.pk]), sent | {"tub": "", "token": form_tokens.new_token()})
    line.refresh_from_db()
    assert (line.culture_id, line.promise.culture_id) == (None, None)


def test_a_promise_does_not_move_to_a_tub_that_cannot_give_it(keeper_client: Client) -> None:
    ash = counted_line("Ash", 60)
    second, other = tub(ash), counted_line("Slate", 50).cultures.get()
    record_count(second.pk, "young", "hand", {"counted": 11}, by=None)
    order = named(ash, None)
    line = order.lines.get()
    with pytest.raises(ValidationError, match="only 11 can be spared from tub 2"):
        actions.name_tub(order.number, line.pk, second.pk, by=None)
    with pytest.raises(ValidationError, match="gives no young"):
        actions.name_tub(order.number, line.pk, other.pk, by=None)
    with pytest.raises(ValidationError, match="not a line of order"):
        actions.name_tub(order.number, line.pk + 1, second.pk, by=None)
    sent = {"order": order.number, "line": line.pk, "tub": second.pk, "token": form_tokens.new_token()}
    sent["reply_at"] = f"name-tub-{line.pk}"
    refused = keeper_client.post(reverse("orders:name_tub", args=[ash.pk]), sent)
    assert refused.status_code == 422
    form = refused.content.decode().split(f'<select class="short" name="tub" id="tub-{line.pk}"')[1].split("</form>")[0]
    assert "only 11 can be spared" in form, "it is said next to the button, in the part that is open"
    assert "<details open>" in refused.content.decode()
    gone = keeper_client.post(reverse("orders:name_tub", args=[ash.pk]), sent | {"order": "99999"})
    assert gone.status_code == 422
    actions.cancel_order(order.number, "not now", by=None)
    with pytest.raises(ValidationError, match="was cancelled"):
        actions.name_tub(order.number, line.pk, second.pk, by=None)
