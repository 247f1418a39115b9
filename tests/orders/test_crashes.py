"""A crash: one entry keeps the tub out of sale; its page says what left it, its sisters, and whom to tell what."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.cultures import actions as cultures
from breeder.cultures.models import Culture, Entry
from breeder.cultures.queries import sisters_of, stock_of
from breeder.orders import actions, queries
from breeder.orders.rules import Wanted, Who
from breeder.people.models import Person
from breeder.shipments.models import Parcel, ParcelItem
from breeder.species.models import Line
from tests.build import line, offer, tub
from tests.orders.stand import agree, counted_line, free, pack, take, terms

pytestmark = pytest.mark.django_db


def crash(of: Culture) -> Culture:
    cultures.mark_crashed(of.pk, "mould from end to end", by=None)
    return Culture.objects.select_related("line__species").get(pk=of.pk)


def test_a_crash_keeps_the_tub_out_of_sale_at_once_and_says_which_promises_lose_their_cover() -> None:
    ash = counted_line("Ash", 40)
    agree((pack(ash), 1))
    (said,) = cultures.mark_crashed(ash.cultures.get().pk, "mould", by=None).breaks
    assert said.startswith("Armadillidium vulgare ‘Ash’ is short by 12 young")
    assert free(ash) == 0
    one = ash.cultures.get()
    assert one.crashed_on == timezone.localdate()
    assert one.not_for_sale == f"crashed on {timezone.localdate():%-d %B %Y}: mould"
    assert Entry.objects.filter(culture=one, kind="state").count() == 1


def test_taking_the_crash_back_gives_the_tub_back_and_so_does_its_end() -> None:
    ash = counted_line("Ash", 40)
    entry = cultures.mark_crashed(ash.cultures.get().pk, "mould", by=None).entry
    cultures.correct_entry(entry.pk, by=None)
    assert (ash.cultures.get().crashed_on, ash.cultures.get().not_for_sale, free(ash)) == (None, "", 40)
    with pytest.raises(ValidationError, match="is not marked as crashed"):
        cultures.end_crash(ash.cultures.get().pk, "recovered", by=None)
    crash(ash.cultures.get())
    cultures.end_crash(ash.cultures.get().pk, "recovered and counted", by=None)
    assert (ash.cultures.get().crashed_on, free(ash)) == (None, 40)


@pytest.mark.parametrize("because", [" ", "x" * 121])
def test_a_crash_says_what_was_seen(because: str) -> None:
    with pytest.raises(ValidationError):
        cultures.mark_crashed(tub().pk, because, by=None)


def kin(of: Culture) -> list[tuple[int, int | None]]:
    return [(sister.tub.number, sister.by_way_of) for sister in sisters_of(of)]


def test_sisters_are_found_by_split_by_merge_by_moves_and_by_way_of_another() -> None:
    ash = line("Ash")
    first, moved, apart = tub(ash), tub(ash), tub(ash)
    cultures.record_count(first.pk, "young", "hand", {"counted": 90}, by=None)
    split = cultures.split_tub(first.pk, cultures.Place("B"), share=0.5, by=None).entry.culture
    grandchild = cultures.split_tub(split.pk, cultures.Place("B"), share=0.5, by=None).entry.culture
    cultures.move_animals(moved.pk, first.pk, "young", 3, by=None)
    assert kin(first)[2:] == [(grandchild.number, split.number)]
    assert {number for number, via in kin(first) if via is None} == {split.number, moved.number}
    assert apart.number not in [number for number, _ in kin(first)]
    assert (first.number, None) in kin(split)
    how = {sister.tub.number: sister.how for sister in sisters_of(first)}
    assert how[moved.number].startswith("gave it animals on")
    assert how[split.number].startswith("filled from it on")


def test_a_move_that_was_put_right_makes_no_sister() -> None:
    ash = line("Ash")
    first, second = tub(ash), tub(ash)
    entry = cultures.move_animals(first.pk, second.pk, "young", 3, by=None).entry
    assert kin(first) == [(second.number, None)]
    cultures.correct_entry(entry.pk, by=None)
    assert kin(first) == []


def test_what_left_in_60_days_is_told_with_who_got_it_and_the_text_to_copy() -> None:
    ash = counted_line("Ash", 200)
    order = agree((pack(ash), 1), name="Ada Marsh")
    take(ash, 12, order)
    Person.objects.update(email="ada@example.org")
    one = ash.cultures.get()
    cultures.record_change(one.pk, "young", 2, "died", happened_at=timezone.now() - timedelta(days=61), by=None)
    cultures.record_change(one.pk, "young", 3, "died", happened_at=timezone.now() - timedelta(days=59), by=None)
    facts = queries.crash_of(crash(one), "Fern Lane stock", timezone.now())
    assert [(left.said, left.line.order.person.name if left.line else "") for left in facts.left] == [
        ("12 young packed.", "Ada Marsh"),
        ("3 young died.", ""),
    ]
    (letter,) = facts.letters
    today = f"{timezone.localdate():%-d %B %Y}"
    assert f"you had Armadillidium vulgare ‘Ash’ from me: 12 young on {today}." in letter.body
    assert "crashed since (mould from end to end)" in letter.body
    assert letter.body.endswith("Fern Lane stock")
    assert letter.mailto.startswith("mailto:ada@example.org?subject=Your%20Armadillidium")


def test_boxes_that_take_from_the_tub_and_promises_out_of_it_are_named(keeper_client: Client) -> None:
    ash = counted_line("Ash", 200)
    one = ash.cultures.get()
    asked = [Wanted(pack(ash).pk, 1, culture_id=one.pk)]
    order = actions.agree_order(Who(new_name="Ada Marsh"), asked, terms(), by=None)
    plan = {"order_line": order.lines.get(), "culture": one, "planned": 12}
    for number, status in enumerate(("waiting", "packed", "sent", "unpacked"), start=1):
        ParcelItem.objects.create(parcel=Parcel.objects.create(number=number, order=order, status=status), **plan)
    facts = queries.crash_of(crash(one), "x", timezone.now())
    assert [(box.number, box.person, box.many, box.is_packed) for box in facts.boxes] == [
        (1, "Ada Marsh", 12, False),
        (2, "Ada Marsh", 12, True),
    ]
    assert [row.order.number for row in facts.named if row.order] == [order.number]
    said = keeper_client.get(reverse("orders:crash", args=[one.number])).content.decode()
    for told in ("is to take 12 out of this tub", "Do not send it unlooked", "are promised out of this tub"):
        assert told in said


def test_somebody_who_was_removed_is_not_written_to() -> None:
    ash = counted_line("Ash", 200)
    take(ash, 12, agree((pack(ash), 1), name="Ada Marsh"))
    Person.objects.update(removed_at=timezone.now())
    assert queries.crash_of(crash(ash.cultures.get()), "x", timezone.now()).letters == ()


def test_the_whole_crash_on_the_pages(keeper_client: Client) -> None:
    ash = counted_line("Ash", 200)
    one = ash.cultures.get()
    take(ash, 12, agree((pack(ash), 1), name="Ada Marsh"))
    agree((pack(ash), 5), name="Bo Reed")
    sister = cultures.split_tub(one.pk, cultures.Place("B"), share=0.25, by=None).entry.culture
    page = reverse("orders:crash", args=[one.number])
    assert b"What was seen" in keeper_client.get(page).content
    refused = keeper_client.post(page, {"because": "", "token": form_tokens.new_token()})
    assert refused.status_code == 422
    sent = {"because": "mould", "token": form_tokens.new_token()}
    assert keeper_client.post(page, sent)["Location"] == page
    assert keeper_client.post(page, sent)["Location"] == page
    assert Entry.objects.filter(kind="state", culture=one).count() == 1
    said = keeper_client.get(page).content.decode()
    for told in ("Not for sale", "Ada Marsh", "12 young packed.", "Filled from it on", "Text to copy"):
        assert told in said
    assert "are promised without cover" in said
    apart = reverse("orders:crash_sister", args=[one.number, sister.number])
    assert keeper_client.post(apart, {"apart": "1", "token": form_tokens.new_token()})["Location"] == page
    assert Culture.objects.get(pk=sister.pk).not_for_sale.startswith(f"sister of tub {one.number}, which crashed on")
    assert keeper_client.post(apart, {"quarantine": "1", "token": form_tokens.new_token()})["Location"] == page
    after = Culture.objects.get(pk=sister.pk)
    assert (after.purpose, after.quarantine_until) == ("quarantine", timezone.localdate() + timedelta(days=28))
    assert stock_of(ash.pk).stages["young"].lower == 0
    over = reverse("orders:crash_over", args=[one.number])
    assert keeper_client.post(over, {"reason": "", "token": form_tokens.new_token()}).status_code == 422
    assert keeper_client.post(over, {"reason": "recovered", "token": form_tokens.new_token()}).status_code == 302
    assert Culture.objects.get(pk=one.pk).crashed_on is None


def test_the_crash_page_asks_no_more_for_many_sisters_than_for_few(keeper_client: Client) -> None:
    ash = counted_line("Ash", 5000)
    one = crash(ash.cultures.get())

    def asked(sisters: int) -> int:
        for _ in range(sisters):
            cultures.move_animals(one.pk, tub(ash).pk, "young", 1, by=None)
        with CaptureQueriesContext(connection) as sent:
            assert keeper_client.get(reverse("orders:crash", args=[one.number])).status_code == 200
        return len(sent)

    assert asked(3) == asked(20)


def test_a_helper_reports_a_crash_and_reads_nothing_of_people(helper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    agree((pack(harbour), 1), name="Ada Marsh")
    one = harbour.cultures.get()
    tub_page, page = (reverse(name, args=[one.number]) for name in ("cultures:tub", "orders:crash"))
    assert page in helper_client.get(tub_page).content.decode()
    assert "Tell them." in helper_client.get(page).content.decode()
    sent = {"because": "all dead under the lamp", "token": form_tokens.new_token()}
    assert helper_client.post(page, sent)["Location"] == tub_page
    assert helper_client.post(page, sent)["Location"] == tub_page
    one.refresh_from_db()
    assert one.crashed_on is not None
    assert one.entries.latest("pk").by.username == "helper"
    assert helper_client.get(page)["Location"] == tub_page
    shown = helper_client.get(tub_page).content.decode()
    assert "all dead under the lamp" in shown
    assert "Ada Marsh" not in shown


def test_the_rest_of_a_crash_is_the_keepers(helper_client: Client) -> None:
    one = tub(Line.objects.first() or line("Ash"))
    crash(one)
    for name, args in (("crash_over", [one.number]), ("crash_sister", [one.number, one.number])):
        assert helper_client.post(reverse(f"orders:{name}", args=args)).status_code == 403


def test_a_tub_of_a_line_sold_by_the_cup_crashes_like_any_other(keeper_client: Client) -> None:
    white = line("White", sold_by="cup")
    one, other = tub(white), tub(white)
    cup = offer(white, kind="cup", stage="cups", number=1, overcount=0)
    agree((cup, 2))
    cultures.freeze_line(white.pk, "the last two tubs", by=None)
    crash(one)
    assert stock_of(white.pk).stages["cups"].short == 1
    for page in (
        reverse("orders:crash", args=[one.number]),
        reverse("orders:line_promises", args=[white.pk]),
        reverse("cultures:line", args=[white.pk]),
    ):
        assert keeper_client.get(page).status_code == 200
    with pytest.raises(ValidationError, match="is frozen"):
        cultures.close_tub(other.pk, reason="dried out", by=None)
