"""The values read for each PDF."""

from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from breeder.base.models import Setting
from breeder.carriers.models import CarrierRule, Closure, Permit
from breeder.cultures.models import Belief, Culture
from breeder.documents import queries, rules
from breeder.documents.printed_names import Name
from breeder.documents.rules import NothingToPrint
from breeder.orders.models import Order
from breeder.people.models import Address
from breeder.shipments.models import Kit, Parcel, ParcelItem
from tests import build
from tests.carriers import book
from tests.documents.boxes import POST_ON, box, put, service

pytestmark = pytest.mark.django_db

HOME = Setting(trade_name="Fern and Bark", return_address="1 Moss Lane\nTrenton NJ 08608", terms="Be there.")


def read(parcel: Parcel) -> Parcel:
    return queries.parcel_by_number(parcel.number)


def test_a_box_that_is_not_there_or_empty_is_answered_with_a_sentence() -> None:
    parcel = box()
    with pytest.raises(NothingToPrint, match="There is no box 77."):
        queries.parcel_by_number(77)
    with pytest.raises(NothingToPrint, match=rf"Box {parcel.number} holds nothing yet\."):
        read(parcel)


def test_pulls_name_the_tub_and_the_line_that_is_really_in_it() -> None:
    parcel, ordered, taken = box(), build.line("Harbour"), build.line("Orange")
    tub = build.tub(ordered, shelf="B", place_on_shelf=4)
    item = put(parcel, tub, 12, males=1, females=2, cups=3)
    item.culture = build.tub(taken, shelf="C", place_on_shelf=9)
    item.save()
    (pull,) = queries.pulls([read(parcel)])
    assert (pull.tub, pull.shelf, pull.place) == (item.culture.number, "C", 9)
    assert pull.name == Name("Armadillidium vulgare", "", "Orange")
    assert (pull.number, pull.males, pull.females, pull.cups, pull.box) == (12, 1, 2, 3, parcel.number)


def test_a_pull_without_a_tub_keeps_the_ordered_line() -> None:
    parcel = box()
    put(parcel, build.tub(build.line("Harbour")), 12, chosen=False)
    (pull,) = queries.pulls([read(parcel)])
    assert (pull.tub, pull.name.form) == (None, "Harbour")


def test_the_slip_tells_what_was_really_packed() -> None:
    parcel = box(kit=Kit.objects.create(name="Foam", packs=[{"kind": "heat"}]))
    put(parcel, build.tub(build.line("Harbour")), 12, packed=14)
    put(parcel, build.tub(build.line("Orange")), 10, packed=0)
    slip = queries.slip(read(parcel), HOME)
    assert [(content.name.form, content.number) for content in slip.contents] == [("Harbour", 14)]
    assert slip.shipper == "Fern and Bark\n1 Moss Lane\nTrenton NJ 08608"
    assert slip.consignee == "Ada Marsh\n1 Fern Lane\nTrenton NJ 08608"
    assert slip.has_pack
    assert slip.terms == "Be there."


def test_a_box_of_which_nothing_was_packed_has_no_slip() -> None:
    parcel = box()
    put(parcel, build.tub(), 12, packed=0)
    with pytest.raises(NothingToPrint, match="Nothing was packed"):
        queries.slip(read(parcel), HOME)


def test_the_label_is_due_on_the_planned_latest_day_past_sundays_and_closures() -> None:
    parcel = box(service=service(latest_days=4))
    put(parcel, build.tub(), 12)
    assert queries.address_label(read(parcel), HOME).deliver_by == "Fri 6 Mar 2026"
    Closure.objects.create(carrier="Post", on=date(2026, 3, 4), name="A holiday")
    Closure.objects.create(carrier="Other", on=date(2026, 3, 5), name="Another's holiday")
    assert queries.address_label(read(parcel), HOME).deliver_by == "Sat 7 Mar 2026"
    Closure.objects.create(carrier="Post", on=date(2026, 3, 7), name="A holiday")
    assert queries.address_label(read(parcel), HOME).deliver_by == "Mon 9 Mar 2026"


def test_the_label_of_a_bare_box_leaves_open_what_is_not_known() -> None:
    order = Order.objects.create(
        number=9001, person=build.person("Bo Reed"), agreed_at=datetime(2026, 2, 1, tzinfo=UTC)
    )
    parcel = box(order=order, service=None, post_on=None)
    put(parcel, build.tub(), 12)
    label = queries.address_label(read(parcel), Setting(trade_name="Fern"))
    assert (label.consignee, label.has_address, label.has_return) == ("Bo Reed", False, False)
    assert (label.sender, label.deliver_by, label.service, label.marking) == ("Fern", "", "", "")


def test_the_label_speaks_of_harm_only_where_a_species_defends_itself() -> None:
    parcel = box()
    put(parcel, build.tub(build.line()), 12)
    assert queries.address_label(read(parcel), HOME).contents == "Live harmless isopods"
    stinger = build.species("Archispirostreptus gigas", group="millipede", secretes="benzoquinones")
    put(parcel, build.tub(build.line("", of=stinger)), 3)
    assert queries.address_label(read(parcel), HOME).contents == "Live isopods and millipedes"


def test_there_is_one_cup_label_for_each_cup() -> None:
    parcel = box()
    put(parcel, build.tub(build.line("Harbour")), 25, cups=2)
    put(parcel, build.tub(build.line("Culture")), 3, stage="cups")
    cups = queries.cups(read(parcel))
    assert [(cup.count, cup.which) for cup in cups] == [
        ("13 young", "cup 1 of 2"),
        ("12 young", "cup 2 of 2"),
        ("cup of culture", "cup 1 of 3"),
        ("cup of culture", "cup 2 of 3"),
        ("cup of culture", "cup 3 of 3"),
    ]
    assert {cup.on for cup in cups} == {"2 Mar 2026"}


def test_a_pack_from_two_tubs_is_one_row_on_the_slip_and_has_its_own_cups_only() -> None:
    parcel, line = box(), build.line("Harbour")
    first = put(parcel, build.tub(line), 10, cups=1, males=1)
    ParcelItem.objects.create(
        parcel=parcel, order_line=first.order_line, culture=build.tub(line), planned=2, cups=0, females=1
    )
    fresh = read(parcel)
    assert [(cup.count, cup.sexes) for cup in queries.cups(fresh)] == [("12 young", rules.sexes(12, 1, 1))]
    (content,) = queries.slip(fresh, HOME).contents
    assert (content.number, content.males, content.females, content.cups) == (12, 1, 1, 1)
    assert sorted(pull.cups for pull in queries.pulls([fresh])) == [0, 1]


def test_absurdly_many_cups_are_refused_before_they_are_drawn() -> None:
    parcel = box()
    put(parcel, build.tub(), 25, cups=32_000)
    with pytest.raises(NothingToPrint, match="That would print 32000 cup labels"):
        queries.cups(read(parcel))


def test_a_day_takes_the_waiting_boxes_of_that_day() -> None:
    waiting, sent, other = box(), box(status="sent"), box(post_on=date(2026, 3, 3))
    for parcel in (waiting, sent, other):
        put(parcel, build.tub(), 12)
    box()  # empty
    assert [parcel.number for parcel in queries.parcels_of_day(POST_ON)] == [waiting.number]
    with pytest.raises(NothingToPrint, match="No box waits to be packed for 9 Mar 2026"):
        queries.parcels_of_day(date(2026, 3, 9))


def test_a_box_takes_as_many_queries_for_one_item_as_for_twelve() -> None:
    def asked(items: int) -> int:
        parcel = box()
        for _ in range(items):
            put(parcel, build.tub(), 2)
        with CaptureQueriesContext(connection) as caught:
            fresh = read(parcel)
            queries.pulls([fresh])
            queries.slip(fresh, HOME)
            queries.cups(fresh)
            queries.address_label(fresh, HOME)
        return len(caught)

    assert asked(1) == asked(12)


def test_tub_labels_come_in_the_order_asked_for_or_in_shelf_order() -> None:
    high, low = build.tub(shelf="B"), build.tub(shelf="A")
    closed = build.tub(shelf="A", closed_on=date(2026, 1, 1))
    assert [card.number for card in queries.tub_cards([], "")] == [low.number, high.number]
    asked = [closed.number, high.number]
    assert [card.number for card in queries.tub_cards(asked, "")] == asked
    assert queries.tub_cards(asked, "")[0].code == f"tub {closed.number}"
    with pytest.raises(NothingToPrint, match="There is no tub 8888 and 9999."):
        queries.tub_cards([high.number, 8888, 9999], "")


def test_a_label_opens_the_page_of_its_tub_where_the_book_can_be_reached() -> None:
    tub = build.tub()
    (card,) = queries.tub_cards([tub.number], "http://shelf.example:8000")
    assert card.code == f"http://shelf.example:8000/tubs/{tub.number}/"


def test_the_round_sheet_has_the_open_tubs_with_the_day_of_their_last_count() -> None:
    tub = build.tub(build.line(sold_by="cup"), shelf="A", purpose=Culture.Purpose.QUARANTINE, quarantine_until=POST_ON)
    other = build.tub(shelf="B")
    build.tub(shelf="A", closed_on=date(2026, 1, 1))
    for stage, day in (("young", 3), ("adults", 9)):
        counted = datetime(2026, 2, day, 12, tzinfo=UTC)
        Belief.objects.create(culture=tub, stage=stage, middle=10, log_sd=0.3, counted_at=counted)
    first, second = queries.round_rows()
    assert (first.tub, first.counted, first.by_cup) == (tub.number, "9 Feb 2026", True)
    assert first.purpose == "quarantine until 2 Mar 2026"
    assert (second.tub, second.counted, second.purpose) == (other.number, "never", "")
    assert [row.tub for row in queries.round_rows("B")] == [other.number]
    with pytest.raises(NothingToPrint, match="no open tub on shelf Z"):
        queries.round_rows("Z")


def test_the_slip_names_the_permit_that_its_animals_move_under() -> None:
    book.movement("permit", "Arthropoda")
    book.permit(taxa=["Armadillidium vulgare"])
    parcel = box()
    Address.objects.update(region="US-NJ")
    put(parcel, build.tub(build.line("Harbour")), 12)
    assert queries.slip(read(parcel), HOME).permits == ("PPQ 526 P-1 of USDA APHIS",)
    Permit.objects.update(valid_until=date(2026, 3, 1))
    assert queries.slip(read(parcel), HOME).permits == ()


def test_the_label_bears_the_marking_that_the_carrier_asks_for() -> None:
    book.carrier(marking="LIVE ANIMALS")
    book.carrier(marking="SPIDERS", taxon="Araneae")
    parcel = box(service=service(name="plain", marking=""))
    put(parcel, build.tub(build.line("Harbour")), 12)
    assert queries.address_label(read(parcel), HOME).marking == "LIVE ANIMALS"
    CarrierRule.objects.update(verified=False)
    assert queries.address_label(read(parcel), HOME).marking == ""


def test_a_box_packed_with_fewer_than_were_sexed_claims_no_sex_on_any_cup() -> None:
    parcel = box()
    put(parcel, build.tub(build.line("Harbour")), 10, packed=7, males=5, females=5, cups=3)
    assert [cup.sexes for cup in queries.cups(parcel)] == ["", "", ""]
