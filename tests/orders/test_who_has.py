"""Who has a line from the keeper: from what was packed, latest first, without what was put right or who was removed."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.models import Entry
from breeder.orders import actions
from breeder.orders.models import Order
from breeder.orders.queries.line_customers import handed_of_line, who_has
from breeder.people.actions import remove_person
from breeder.shipments.models import Parcel, ParcelItem
from breeder.species.models import Line
from tests.orders.stand import agree, counted_line, free, pack, take

pytestmark = pytest.mark.django_db


def taken(of: Line, name: str, number: int = 12) -> Order:
    order = agree((pack(of), 1), name=name)
    take(of, number, order)
    return order


def test_what_was_packed_before_the_hold_ran_out_is_known_when_it_is_held_again() -> None:
    ash = counted_line("Ash", 60)
    order = agree((pack(ash), 2))
    take(ash, 12, order)
    actions.lapse_holds(at=timezone.now() + timedelta(days=9))
    actions.hold_again(order.number, timezone.now() + timedelta(days=3), by=None)
    assert [(one.person.name, one.said) for one in handed_of_line(ash.pk)] == [("Ada Marsh", "12 young")]
    assert free(ash) == 60 - 24


def test_the_page_names_who_got_how_many_latest_first(keeper_client: Client) -> None:
    ash = counted_line("Ash", 200)
    taken(ash, "Ada Marsh")
    taken(ash, "Bo Reed", 10)
    who = who_has(handed_of_line(ash.pk))
    assert [(one.person.name, one.said, one.tub) for one in who.handed] == [
        ("Bo Reed", "10 young", ash.cultures.get().number),
        ("Ada Marsh", "12 young", ash.cultures.get().number),
    ]
    said = keeper_client.get(reverse("orders:line_people", args=[ash.pk])).content.decode()
    assert "2 people have this line from you." in said
    assert said.index("Bo Reed") < said.index("Ada Marsh")
    line = keeper_client.get(reverse("cultures:line", args=[ash.pk])).content.decode()
    assert "Last 10 young to Bo Reed, today." in line


def test_what_is_promised_but_not_packed_or_was_put_right_is_not_there() -> None:
    ash = counted_line("Ash", 200)
    agree((pack(ash), 1), name="Bo Reed")
    taken(ash, "Ada Marsh")
    assert len(handed_of_line(ash.pk)) == 1
    correct_entry(Entry.objects.get(reason="packed").pk, by=None)
    who = who_has(handed_of_line(ash.pk))
    assert (who.handed, who.lede) == ((), "Nobody has this line from you yet.")


def test_animals_that_left_in_a_box_out_of_no_named_tub_are_told_too() -> None:
    ash = counted_line("Ash", 200)
    order = agree((pack(ash), 1), name="Ada Marsh")
    line = order.lines.get()
    box = Parcel.objects.create(number=1, order=order, status=Parcel.Status.PACKED, sent_at=timezone.now())
    ParcelItem.objects.create(parcel=box, order_line=line, planned=12, packed=11)
    assert handed_of_line(ash.pk) == []
    Parcel.objects.update(status=Parcel.Status.SENT)
    (one,) = handed_of_line(ash.pk)
    assert (one.number, one.tub, one.stage) == (11, None, "young")


def test_somebody_who_was_removed_is_counted_and_not_named(keeper: User, keeper_client: Client) -> None:
    ash = counted_line("Ash", 200)
    gone = taken(ash, "Ada Marsh")
    taken(ash, "Bo Reed")
    Order.objects.filter(pk=gone.pk).update(status=Order.Status.SENT)
    remove_person(gone.person_id, by=keeper)
    page = keeper_client.get(reverse("orders:line_people", args=[ash.pk])).content.decode()
    assert "1 person has this line from you. 1 who asked to be removed is not shown." in page
    assert "removed" not in page.split("<tbody>")[1]
    file = keeper_client.get(reverse("orders:line_people_csv", args=[ash.pk])).content.decode("utf-8-sig")
    rows = file.strip().splitlines()
    assert rows[0] == "on,person,kind,e-mail,phone,stage,number,males,females,order,tub"
    assert len(rows) == 2
    assert ",Bo Reed,Customer,,,young,12,,,2,1" in rows[1]


def test_the_page_asks_no_more_for_500_than_for_10(keeper_client: Client) -> None:
    ash = counted_line("Ash", 200)
    order = taken(ash, "Ada Marsh", 1)
    tub, promise = ash.cultures.get(), order.lines.get().promise
    now = timezone.now()

    def pack_more(number: int) -> None:
        packed = {"culture": tub, "kind": "change", "reason": "packed", "stage": "young", "promise": promise}
        Entry.objects.bulk_create(
            Entry(number=-1, happened_at=now - timedelta(days=n), recorded_at=now, **packed) for n in range(number)
        )

    def asked() -> int:
        with CaptureQueriesContext(connection) as sent:
            keeper_client.get(reverse("orders:line_people", args=[ash.pk]))
        return len(sent)

    pack_more(10)
    few = asked()
    pack_more(490)
    assert asked() == few


def test_a_helper_does_not_see_who_bought(helper_client: Client) -> None:
    ash = counted_line("Ash", 200)
    taken(ash, "Ada Marsh")
    for name in ("line_people", "line_people_csv", "line_promises"):
        assert helper_client.get(reverse(f"orders:{name}", args=[ash.pk])).status_code == 403
    assert b"Ada Marsh" not in helper_client.get(reverse("cultures:line", args=[ash.pk])).content
