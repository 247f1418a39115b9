"""Pages of orders: typed values are kept, refusals are whole, a double click is one order."""

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.models import Setting
from breeder.orders.models import Offer, Order
from breeder.species.models import Line
from tests.orders.stand import agree, counted_line, free, pack

pytestmark = pytest.mark.django_db
BLOCK = "Ada Marsh\n1 Fern Lane\nTrenton NJ 08608"


def form_of(starter: Offer, packs: object, **changed: object) -> dict[str, object]:
    day = timezone.localdate() + timedelta(days=3)
    typed = {"new_name": "Ada Marsh", "address_block": BLOCK, "held_until": day.isoformat(), "postage": "9.50"}
    typed["looked_up"] = "on"
    return typed | {f"packs-{starter.pk}": packs, "agree": "1", "token": form_tokens.new_token()} | changed


def test_an_order_is_agreed_on_the_page(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    answer = keeper_client.post(reverse("orders:new"), form_of(pack(harbour), 2))
    order = Order.objects.get()
    assert answer["Location"] == reverse("orders:order", args=[order.number])
    assert order.address.town == "Trenton"
    assert free(harbour) == 36
    assert b"57.50 USD" in keeper_client.get(answer["Location"]).content


def test_a_double_click_is_one_order(keeper_client: Client) -> None:
    typed = form_of(pack(counted_line("Harbour", 60)), 1)
    first, second = (keeper_client.post(reverse("orders:new"), typed) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Order.objects.count() == 1


def test_a_line_sold_out_in_an_open_form_keeps_what_was_typed(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 24)
    starter = pack(harbour)
    keeper_client.get(reverse("orders:new"))
    agree((starter, 1), name="Bo Reed")
    answer = keeper_client.post(reverse("orders:new"), form_of(starter, 2))
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "Only 12 can be spared" in said
    assert "none kept back, 12 promised" in said
    assert "1 Fern Lane" in said
    assert 'value="2"' in said


def test_two_browsers_want_the_last_24_and_one_of_them_gets_them(keeper: User) -> None:
    harbour = counted_line("Harbour", 24)
    starter = pack(harbour)
    ada, bo = Client(), Client()
    for browser in (ada, bo):
        browser.force_login(keeper)
        assert "2 packs free" in browser.get(reverse("orders:new")).content.decode()
    first = ada.post(reverse("orders:new"), form_of(starter, 2))
    second = bo.post(reverse("orders:new"), form_of(starter, 2, new_name="Bo Reed"))
    assert (first.status_code, second.status_code) == (302, 422)
    assert "No young can be spared" in second.content.decode()
    assert "24 promised" in second.content.decode()
    assert free(harbour) == 0
    assert Order.objects.count() == 1


def test_looking_for_a_line_keeps_what_is_typed_and_finds_no_fault(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    starter, _ = pack(harbour), pack(counted_line("Rook", 3))
    typed = form_of(starter, "x", new_name="", address_block="Ada\nNowhere", find="rook") | {"look": ""}
    typed.pop("agree")
    answer = keeper_client.post(reverse("orders:new"), typed)
    said = answer.content.decode()
    assert answer.status_code == 200
    for kept in ("Nowhere", "‘Harbour’", 'value="x"', "‘Rook’", str(typed["token"])):
        assert kept in said
    assert 'role="alert"' not in said
    assert not Order.objects.exists()


def test_a_pack_withdrawn_while_the_form_was_open_is_named(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60))
    keeper_client.get(reverse("orders:new"))
    Offer.objects.update(active=False)
    answer = keeper_client.post(reverse("orders:new"), form_of(starter, 2))
    assert answer.status_code == 422
    assert "is no longer offered" in answer.content.decode()


def test_a_pack_without_price_asks_for_the_agreed_one(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60), price=None)
    typed = form_of(starter, 2, **{f"price-{starter.pk}": "31.50", "postage": ""})
    answer = keeper_client.post(reverse("orders:new"), typed)
    assert b"63.00 USD" in keeper_client.get(answer["Location"]).content


def test_an_order_is_changed_paid_and_cancelled_on_its_pages(keeper_client: Client) -> None:
    harbour, rook = counted_line("Harbour", 60), counted_line("Rook", 60)
    order, other = agree((pack(harbour), 2)), pack(rook)
    line = order.lines.get()
    day = timezone.localdate() + timedelta(days=5)
    typed = {f"line-{line.pk}-packs": "1", f"line-{line.pk}-price": "20.00", "held_until": day.isoformat()}
    address = {
        "address_block": BLOCK,
        "looked_up": "on",
        f"packs-{other.pk}": "1",
        "change": "1",
        "token": form_tokens.new_token(),
    }
    page = reverse("orders:change", args=[order.number])
    assert keeper_client.post(page, typed | address).status_code == 302
    order.refresh_from_db()
    assert (free(harbour), free(rook), order.address.town) == (48, 48, "Trenton")
    pay = {"amount": "44.00", "on": timezone.localdate().isoformat(), "way": "in", "token": form_tokens.new_token()}
    keeper_client.post(reverse("orders:pay", args=[order.number]), pay)
    assert "Paid" in keeper_client.get(reverse("orders:order", args=[order.number])).content.decode()
    cancel = {"reason": "moved house", "token": form_tokens.new_token()}
    keeper_client.post(reverse("orders:cancel", args=[order.number]), cancel)
    assert "moved house" in keeper_client.get(reverse("orders:order", args=[order.number])).content.decode()
    assert (free(harbour), free(rook)) == (60, 60)


def test_a_number_of_packs_that_was_emptied_is_asked_for_and_not_taken_as_none(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2))
    typed = {f"line-{order.lines.get().pk}-packs": "", "held_until": timezone.localdate().isoformat(), "change": "1"}
    answer = keeper_client.post(reverse("orders:change", args=[order.number]), typed)
    assert answer.status_code == 422
    assert free(harbour) == 36


def test_more_than_is_due_is_asked_about_and_then_kept(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    page = reverse("orders:pay", args=[order.number])
    typed = {"amount": "240", "on": timezone.localdate().isoformat(), "way": "in", "token": form_tokens.new_token()}
    assert "more_is_meant" not in keeper_client.get(page).content.decode()
    answer = keeper_client.post(page, typed)
    assert answer.status_code == 422
    assert "more_is_meant" in answer.content.decode()
    assert keeper_client.post(page, typed | {"more_is_meant": "on"}).status_code == 302
    assert order.payments.count() == 1


def test_an_unpaid_hold_that_ran_out_is_over_when_its_page_is_read(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 24)
    order = agree((pack(harbour), 2), days=-1)
    said = keeper_client.get(reverse("orders:order", args=[order.number])).content.decode()
    assert "The hold ran out" in said
    assert "Hold it again" in said
    until = (timezone.localdate() + timedelta(days=2)).isoformat()
    keeper_client.post(
        reverse("orders:hold", args=[order.number]), {"held_until": until, "token": form_tokens.new_token()}
    )
    assert free(harbour) == 0


ODD = ("", "-1", "9" * 30, "\x00", "NaN", "ő" * 500)


@pytest.mark.parametrize("odd", ODD)
def test_nothing_typed_makes_a_page_fail(keeper_client: Client, odd: str) -> None:
    starter = pack(counted_line("Harbour", 60))
    order = agree((starter, 1))
    line = order.lines.get().pk
    typed = dict.fromkeys(
        "person new_name email address_block held_until promised_by postage note find reason latitude longitude "
        "timezone without_place amount on way reference "
        f"line kind stage number males females overcount price packs-{starter.pk} packs-{odd} price-{starter.pk} "
        f"line-{line}-packs line-{line}-price".split(),
        odd,
    )
    for name, button in (("new", "agree"), ("new", "look"), ("offer_new", "")):
        assert keeper_client.post(reverse(f"orders:{name}"), typed | {button: "1"}).status_code < 500, name
    for name in ("change", "cancel", "pay", "hold"):
        address = reverse(f"orders:{name}", args=[order.number])
        assert keeper_client.post(address, typed | {"change": "1"}).status_code < 500, name
    asked = dict.fromkeys(("status", "who", "sort", "page", "person", "offer", "line"), odd)
    for name in ("list", "csv", "new", "offers", "offer_new"):
        assert keeper_client.get(reverse(f"orders:{name}"), asked).status_code < 500, name


def test_an_order_number_beyond_all_numbers_is_not_found(keeper_client: Client) -> None:
    for name in ("order", "change", "cancel", "pay", "hold"):
        assert keeper_client.get(f"/orders/{'9' * 40}/{'' if name == 'order' else name + '/'}").status_code == 404


@pytest.mark.parametrize("column", ["number", "person", "status", "held_until", "promised_by", "total", "due"])
def test_orders_sort_by_every_column(keeper_client: Client, column: str) -> None:
    starter = pack(counted_line("Harbour", 60))
    for name in ("Ada Marsh", "Bo Reed"):
        agree((starter, 1), name=name)
    Order.objects.filter(number=1).update(status=Order.Status.PAID, held_until=None)
    assert keeper_client.get(reverse("orders:list"), {"sort": f"-{column}"}).status_code == 200


def test_orders_are_narrowed_by_status_and_person(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60))
    agree((starter, 1)), agree((starter, 1), name="Bo Reed")
    page = reverse("orders:list")
    assert "Bo Reed" not in keeper_client.get(page, {"who": "ada"}).content.decode()
    assert "Ada Marsh" not in keeper_client.get(page, {"status": "paid"}).content.decode()
    assert "Bo Reed" not in keeper_client.get(reverse("orders:csv"), {"who": "ada"}).content.decode()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"packs": "-3"}, "smallest it can be is 0"),
        ({"packs": "1e9"}, "is not a whole number"),
        ({"packs": "999999"}, "largest it can be"),
        ({"new_name": ""}, "name of somebody new"),
        ({"held_until": "2001-01-01"}, "which is over"),
        ({"held_until": "soon"}, "is not a date"),
        ({"postage": "-1"}, "smallest it can be is 0"),
        ({"postage": "1,250"}, "‘Postage’ is ‘1,250’, and the comma can be read in two ways. Write 1250 without it."),
        ({"postage": "9 USD"}, "‘Postage’ is ‘9 USD’, which is not a number"),
        ({"address_block": "Ada Marsh\n1 Fern Lane\nNowhere NJ 00000"}, "00000"),
    ],
)
def test_bad_values_get_a_sentence_and_agree_nothing(keeper_client: Client, changed: dict[str, str], said: str) -> None:
    starter = pack(counted_line("Harbour", 60))
    packs = changed.pop("packs", 1)
    answer = keeper_client.post(reverse("orders:new"), form_of(starter, packs, **changed))
    assert answer.status_code == 422
    assert said in answer.content.decode().split('id="reply"')[1].split("</form>")[0], "next to the button"
    assert not Order.objects.exists()


ABROAD = "Di Busch\nFarnweg 4\n10117 Berlin\nGermany"
BERLIN = {"latitude": "52.5186", "longitude": "13.4081", "timezone": "Europe/Berlin"}


def test_an_order_abroad_is_agreed_with_its_place_typed_on_the_form(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60))
    first = keeper_client.get(reverse("orders:new")).content.decode()
    assert all(f'name="{name}"' in first for name in BERLIN)
    refused = keeper_client.post(reverse("orders:new"), form_of(starter, 1, address_block=ABROAD))
    assert refused.status_code == 422
    assert "this address is in Germany (DE): type latitude, longitude and time zone" in refused.content.decode()
    assert refused.context["terms"].asks_for_place
    keeper_client.post(reverse("orders:new"), form_of(starter, 1, address_block=ABROAD, **BERLIN))
    to = Order.objects.get().address
    assert (to.country, to.timezone) == ("DE", "Europe/Berlin")
    assert (to.latitude, to.longitude) == (Decimal("52.52"), Decimal("13.41"))


def test_an_order_is_changed_to_an_address_abroad(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    page = reverse("orders:change", args=[order.number])
    day = (timezone.localdate() + timedelta(days=3)).isoformat()
    typed = {"address_block": ABROAD, "held_until": day, "looked_up": "on", "change": "1", **BERLIN}
    typed[f"line-{order.lines.get().pk}-packs"] = "1"
    assert keeper_client.post(page, typed | {"token": form_tokens.new_token()}).status_code == 302
    order.refresh_from_db()
    assert order.address.timezone == "Europe/Berlin"


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"latitude": "95"}, "latitude", "Latitude is 95"),
        ({"latitude": "north"}, "latitude", "‘Latitude’ is ‘north’, which is not a number"),
        ({"longitude": ""}, "latitude", "Fill in all three"),
        ({"longitude": "74.0", "timezone": "America/New_York"}, "latitude", "Places in the west have a minus sign"),
        ({"latitude": "0", "longitude": "0"}, "latitude", "in the sea off Africa"),
        ({"timezone": "Berlin"}, "timezone", "‘Berlin’ is not a time zone. Write Europe/Berlin."),
        ({"address_block": ""}, "latitude", "A place is typed here, but no address"),
    ],
)
def test_a_wrong_place_gets_a_sentence_beside_its_field_and_agrees_nothing(
    keeper_client: Client, changed: dict[str, str], field: str, said: str
) -> None:
    starter = pack(counted_line("Harbour", 60))
    typed = form_of(starter, 1, **({"address_block": ABROAD} | BERLIN | changed))
    answer = keeper_client.post(reverse("orders:new"), typed)
    assert answer.status_code == 422
    assert said in " ".join(answer.context["terms"].errors[field])
    assert answer.context["terms"].asks_for_place
    assert not Order.objects.exists()


def test_money_may_be_typed_with_a_comma(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60))
    keeper_client.post(reverse("orders:new"), form_of(starter, 1, postage="9,50"))
    assert Order.objects.get().postage == Decimal("9.50")


def test_every_page_of_an_order_opens(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    for name in ("order", "change", "cancel", "pay", "hold"):
        assert keeper_client.get(reverse(f"orders:{name}", args=[order.number])).status_code == 200, name
    for name in ("list", "offers", "offer_new", "csv"):
        assert keeper_client.get(reverse(f"orders:{name}")).status_code == 200, name
    assert keeper_client.get(reverse("orders:order", args=[99])).status_code == 404


def test_orders_belong_to_the_keeper(helper_client: Client, client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    pages = [reverse(f"orders:{name}") for name in ("list", "csv", "new", "offers", "offer_new")]
    pages += [reverse(f"orders:{name}", args=[order.number]) for name in ("order", "change", "cancel", "pay", "hold")]
    for page in [*pages, reverse("orders:offer_edit", args=[order.lines.get().offer_id])]:
        assert helper_client.get(page).status_code == 403, page
        assert client.get(page).status_code == 302, page


def test_names_that_look_like_formulas_are_guarded_in_the_spreadsheet(keeper_client: Client) -> None:
    agree((pack(counted_line("Harbour", 60)), 1), name="=cmd()")
    assert "'=cmd()" in keeper_client.get(reverse("orders:csv")).content.decode()


def test_who_goes_back_and_agrees_other_packs_is_told_and_can_send_them_anew(keeper_client: Client) -> None:
    starter, page = pack(counted_line("Harbour", 60)), reverse("orders:new")
    day = (timezone.localdate() + timedelta(days=3)).isoformat()
    typed = {"new_name": "Ada Marsh", "held_until": day, f"packs-{starter.pk}": 1, "agree": "1", "token": "t"}
    first = keeper_client.post(page, typed)
    assert keeper_client.post(page, typed)["Location"] == first["Location"]
    # Lines may be looked for on the page that was gone back to; only the button that agrees is refused.
    look = {name: value for name, value in typed.items() if name != "agree"} | {"look": "1", "find": "Harbour"}
    assert keeper_client.post(page, look).status_code == 200
    other = typed | {"new_name": "Ben Reed", f"packs-{starter.pk}": 2}
    refused = keeper_client.post(page, other)
    assert refused.status_code == 422
    assert "Nothing was written this time" in refused.content.decode()
    assert Order.objects.count() == 1
    fresh = re.findall(r'name="token" value="([^"]+)"', refused.content.decode())[-1]
    assert keeper_client.post(page, other | {"token": fresh}).status_code == 302
    assert [order.person.name for order in Order.objects.order_by("number")] == ["Ada Marsh", "Ben Reed"]


def test_what_another_browser_changed_in_an_order_meanwhile_is_said_and_not_undone(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    line, page = order.lines.get(), reverse("orders:change", args=[order.number])
    day = timezone.localdate() + timedelta(days=3)
    typed = {"held_until": day.isoformat(), "change": "1", f"line-{line.pk}-packs": 1, f"line-{line.pk}-price": "24"}
    typed["seen"] = keeper_client.get(page).context["lines"]["seen"].value()
    assert keeper_client.post(page, typed | {f"line-{line.pk}-packs": 3}).status_code == 302
    stale = keeper_client.post(page, typed | {"note": "for the show"})
    said = stale.content.decode()
    assert stale.status_code == 422
    assert "was changed since you opened this page; in the book it is now 3 × starter of 10 young" in said
    assert "for the show" in said
    line.refresh_from_db()
    assert line.packs == 3
    # Looked at again, it is sent as it is to be.
    assert keeper_client.post(page, typed | {"seen": stale.context["lines"]["seen"].value()}).status_code == 302


def test_a_line_that_another_browser_put_on_the_order_is_shown_before_it_is_kept(keeper_client: Client) -> None:
    harbour, rook = (pack(counted_line(form, 60)) for form in ("Harbour", "Rook"))
    order = agree((harbour, 1))
    line, page = order.lines.get(), reverse("orders:change", args=[order.number])
    day = (timezone.localdate() + timedelta(days=3)).isoformat()
    typed = {"held_until": day, "change": "1", f"line-{line.pk}-packs": 1, f"line-{line.pk}-price": "24"}
    typed["seen"] = keeper_client.get(page).context["lines"]["seen"].value()
    assert keeper_client.post(page, typed | {f"packs-{rook.pk}": 2}).status_code == 302
    stale = keeper_client.post(page, typed | {"note": "for the show"})
    (other,) = order.lines.exclude(pk=line.pk)
    assert "in the book it is now 1 × starter of 10 young" in stale.content.decode()
    assert f'name="line-{other.pk}-packs" value="2"' in stale.content.decode()
    assert "needs another look" not in stale.content.decode()


def test_a_fault_elsewhere_on_the_page_does_not_hide_that_the_order_changed(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    line, page = order.lines.get(), reverse("orders:change", args=[order.number])
    day = (timezone.localdate() + timedelta(days=3)).isoformat()
    typed = {"held_until": day, "change": "1", f"line-{line.pk}-packs": 1, f"line-{line.pk}-price": "24"}
    typed["seen"] = keeper_client.get(page).context["lines"]["seen"].value()
    assert keeper_client.post(page, typed | {"postage": "9.00"}).status_code == 302
    faulty = keeper_client.post(page, typed | {"postage": "nine"})
    mended = typed | {"postage": "8.00", "seen": faulty.context["lines"]["seen"].value()}
    stale = keeper_client.post(page, mended)
    assert stale.status_code == 422
    assert "postage 9.00" in stale.content.decode()


def test_a_pack_of_a_line_that_was_closed_is_withdrawn(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    starter = pack(harbour)
    Line.objects.filter(pk=harbour.pk).update(status=Line.Status.CLOSED)
    page = reverse("orders:offer_edit", args=[starter.pk])
    form = keeper_client.get(page).context["form"]
    lines = [str(value) for value, _ in form.fields["line"].choices]
    line = str(harbour.pk) if str(harbour.pk) in lines else ""
    typed = {"line": line, "kind": "starter", "number": "10", "stage": "young", "overcount": "2", "price": "24.00"}
    assert keeper_client.post(page, typed).status_code == 302
    starter.refresh_from_db()
    assert (starter.line, starter.active) == (harbour, False)


def test_a_pack_of_no_possible_number_is_left_aside(keeper_client: Client) -> None:
    typed = form_of(pack(counted_line("Harbour", 60)), "", **{f"packs-{'9' * 20}": "1"})
    answer = keeper_client.post(reverse("orders:new"), typed)
    assert "No packs are chosen" in answer.content.decode()


def test_a_name_is_found_and_known_again_whatever_letters_are_large(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60))
    agree((starter, 1), name="Örjan Ünal")
    assert "Örjan Ünal" in keeper_client.get(reverse("orders:list"), {"who": "örjan ü"}).content.decode()
    again = keeper_client.post(reverse("orders:new"), form_of(starter, 1, new_name="örjan ünal"))
    assert "is in the book already" in again.content.decode()


def test_the_spreadsheet_tells_days_by_the_clock_of_the_household(keeper_client: Client) -> None:
    Setting.objects.update_or_create(pk=Setting.ONLY, defaults={"timezone": "America/New_York"})
    with time_machine.travel(datetime(2026, 3, 5, 3, 30, tzinfo=UTC)):  # the evening of the 4th
        typed = form_of(pack(counted_line("Harbour", 60)), 1, held_until="2026-03-08", promised_by="2026-03-20")
        keeper_client.post(reverse("orders:new"), typed)
        rows = keeper_client.get(reverse("orders:csv")).content.decode()
    assert "held,2026-03-04,2026-03-08,2026-03-20," in rows


def test_an_offer_is_made_and_a_wrong_one_is_explained(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    typed = {"line": harbour.pk, "kind": "starter", "number": "10", "stage": "young", "price": "", "active": "on"}
    keeper_client.post(reverse("orders:offer_new"), typed | {"token": form_tokens.new_token()})
    made = Offer.objects.get()
    assert (made.overcount, made.price) == (2, None)
    answer = keeper_client.post(reverse("orders:offer_new"), typed | {"kind": "cup", "token": form_tokens.new_token()})
    assert answer.status_code == 422
    assert "sold by the animal" in answer.content.decode()


def test_what_an_ordered_pack_holds_stays_and_its_price_may_change(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60))
    order = agree((starter, 1))
    typed = {"number": "50", "overcount": "3", "price": "30.00", "active": "on", "token": form_tokens.new_token()}
    keeper_client.post(reverse("orders:offer_edit", args=[starter.pk]), typed)
    starter.refresh_from_db()
    assert (starter.number, starter.overcount, starter.price) == (10, 3, 30)
    line = order.lines.get()
    assert (line.overcount, line.price) == (2, 24)
