"""What can be sold, for the keeper and for the public."""

import csv
import io
import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from breeder.base.models import Setting
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.tubs import merge_tubs
from breeder.cultures.models import Belief, Culture
from breeder.orders.models import Offer
from breeder.species.models import Line
from tests.build import TODAY, line, species, tub
from tests.orders.stand import agree, counted_line, pack

pytestmark = pytest.mark.django_db


def query_count(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def add_lines(numbers: range, like: Belief) -> None:
    """Add lines with a counted tub and a pack each, all believed to hold what `like` holds."""
    of = species()
    lines = Line.objects.bulk_create([Line(species=of, form_name=f"Form {number}") for number in numbers])
    tubs = Culture.objects.bulk_create(
        Culture(number=5000 + number, line=line, shelf="Z", started_on=TODAY)
        for number, line in zip(numbers, lines, strict=True)
    )
    belief = {name: getattr(like, name) for name in ("stage", "middle", "log_sd", "cap", "moved", "counted_at", "used")}
    Belief.objects.bulk_create(Belief(culture=tub, **belief) for tub in tubs)
    Offer.objects.bulk_create(Offer(line=line, kind="starter", stage="young", number=10, price=9) for line in lines)


def test_the_lists_take_the_same_queries_for_10_and_500_lines(keeper_client: Client) -> None:
    like = counted_line("Harbour", 90).cultures.get().beliefs.get()
    lists = [reverse(f"storefront:{name}") for name in ("page", "csv", "text", "public")]
    keeper_client.get(lists[0])
    add_lines(range(10), like)
    few = [query_count(keeper_client, address) for address in lists]
    add_lines(range(10, 500), like)
    assert [query_count(keeper_client, address) for address in lists] == few
    assert "‘Form 333’" in keeper_client.get(lists[-1]).content.decode()


def test_the_bar_and_the_number_say_what_is_free(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60, kept=20)
    agree((pack(harbour), 1))
    page = keeper_client.get(reverse("storefront:page")).content.decode()
    assert "20 young stay, 12 promised, 28 free" in page
    assert re.search(r'<span class="strong">28 young</span>', page)


def test_lists_are_narrowed_by_name_group_and_what_is_free(keeper_client: Client) -> None:
    counted_line("Harbour", 60), counted_line("Rook", 10, kept=20)
    page = reverse("storefront:page")
    assert "Rook" in keeper_client.get(page).content.decode()
    assert "Rook" not in keeper_client.get(page, {"only_free": "1"}).content.decode()
    assert "Harbour" not in keeper_client.get(page, {"find": "rook"}).content.decode()
    assert "Harbour" not in keeper_client.get(page, {"group": "roach"}).content.decode()
    assert keeper_client.get(page, {"group": "dragon", "find": "\x00", "sort": "nonsense"}).status_code == 200


def test_the_public_list_says_words_and_never_numbers(client: Client) -> None:
    plenty, few = counted_line("Plenty", 371), counted_line("Fewer", 25)
    none = counted_line("Nothing", 3)
    for of in (plenty, few, none):
        pack(of)
    page = client.get(reverse("storefront:public")).content.decode()
    words = dict(re.findall(r"‘(\w+)’.*?<span class=\"tag[^>]*>(\w+)</span>", page, re.DOTALL))
    assert words == {"Plenty": "available", "Fewer": "few", "Nothing": "none"}
    for leak in ("371", "tub", "shelf", "promised"):
        assert leak not in page.lower()


def test_the_public_list_leaks_no_tub_shelf_count_or_person(client: Client) -> None:
    harbour = line("Harbour", provenance="Bo Reed, 2024", young_kept=61)
    kept_in = tub(harbour, number=87_654, shelf="Cellar-B", note="by the boiler")
    record_count(kept_in.pk, "young", "hand", {"counted": 543}, by=None)
    agree((pack(harbour, number=10), 7), name="Ada Marsh")
    page = client.get(reverse("storefront:public")).content.decode()
    assert "‘Harbour’" in page
    for leak in ("87654", "87,654", "Cellar", "boiler", "543", "61", "84", "Ada", "Marsh", "Bo Reed"):
        assert leak not in page, leak


def test_what_is_not_for_sale_is_not_on_the_public_list_and_its_reason_is_the_keepers(
    client: Client, keeper_client: Client
) -> None:
    pack(counted_line("Harbour", 60, not_for_sale="blue animals seen"))
    assert "Harbour" not in client.get(reverse("storefront:public")).content.decode()
    page = keeper_client.get(reverse("storefront:page")).content.decode()
    assert "not for sale: blue animals seen" in page
    assert "no young" in page


def test_a_pack_off_the_public_list_is_not_on_it(client: Client) -> None:
    pack(counted_line("Harbour", 60), public=False)
    pack(counted_line("Rook", 60), active=False)
    page = client.get(reverse("storefront:public")).content.decode()
    assert "Harbour" not in page
    assert "Rook" not in page


def test_the_public_list_can_be_closed(client: Client) -> None:
    Setting.objects.create(public_list=False)
    assert client.get(reverse("storefront:public")).status_code == 404


def test_everything_else_asks_for_a_login(client: Client) -> None:
    for name in ("page", "csv", "text"):
        assert client.get(reverse(f"storefront:{name}")).status_code == 302, name


def test_a_helper_sees_what_is_free_but_no_prices(helper_client: Client) -> None:
    pack(counted_line("Harbour", 60), price="123.45")
    assert "123.45" not in helper_client.get(reverse("storefront:page")).content.decode()
    assert "123.45" not in helper_client.get(reverse("storefront:csv")).content.decode()
    page = helper_client.get(reverse("storefront:text")).content.decode()
    assert "Harbour" in page
    assert "123.45" not in page


def test_the_list_to_paste_holds_what_can_be_had(keeper_client: Client) -> None:
    pack(counted_line("Harbour", 160)), pack(counted_line("Nothing", 3))
    page = keeper_client.get(reverse("storefront:text")).content.decode()
    assert "Armadillidium vulgare ‘Harbour’: starter of 10 young, 24.00 USD" in page
    assert "Nothing’" not in page


def test_the_spreadsheet_has_every_stage_and_guards_formulas(keeper_client: Client) -> None:
    harbour = counted_line("=HYPERLINK()", 60, kept=20)
    pack(harbour)
    answer = keeper_client.get(reverse("storefront:csv"))
    assert answer.content.startswith(b"\xef\xbb\xbf")
    header, *rows = csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))
    young = dict(zip(header, next(row for row in rows if "young" in row), strict=True))
    assert young["form"] == "'=HYPERLINK()"
    assert [young[name] for name in ("at least", "stays", "promised", "free", "packs", "price")] == [
        "60", "20", "0", "40", "3", "24.00",
    ]  # fmt: skip


def test_the_bar_shows_all_that_is_safely_there(keeper_client: Client) -> None:
    """30 % of 100 may go and 20 are kept back, so 50 more are there that wait for the next count."""
    harbour = counted_line("Harbour", 100, kept=20, harvest_share="0.30")
    agree((pack(harbour), 1))
    assert (
        "20 young stay, 12 promised, 18 free, 50 later, after a count"
        in keeper_client.get(reverse("storefront:page")).content.decode()
    )


def test_an_old_count_is_called_old(keeper_client: Client) -> None:
    for form, days in (("Recent", 9), ("Older", 81), ("Oldest", 400)):
        of = line(form)
        when = timezone.now() - timedelta(days=days)
        kept_in = tub(of, started_on=date(2020, 1, 1))
        record_count(kept_in.pk, "young", "eye", {"from": 50, "to": 100}, happened_at=when, by=None)
    page = keeper_client.get(reverse("storefront:page")).content.decode()
    assert "9 days ago, by eye<" in page
    assert "81 days ago, by eye: an old count sells less" in page
    assert "400 days ago, by eye: too old to sell from" in page


def test_a_tub_that_was_only_filled_is_sold_from_and_says_so(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    record_change(tub(harbour, number=9001).pk, "young", 30, "received", by=None)
    pack(harbour)
    page = keeper_client.get(reverse("storefront:page")).content.decode()
    assert "90 young" in page
    assert "tub 9001 never counted: only what was put in is known" in page
    assert "so nothing is sold" not in page


def test_a_tub_that_was_tipped_full_says_when_its_animals_were_counted(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    counted = harbour.cultures.get()
    merge_tubs(counted.pk, tub(harbour).pk, by=None)
    pack(harbour)
    page = keeper_client.get(reverse("storefront:page")).content.decode()
    assert "today<" in page
    assert "today, <" not in page


def test_a_line_sold_by_the_cup_says_its_cups(keeper_client: Client) -> None:
    of = line("Dwarf", sold_by="cup", cups_per_tub=2)
    tub(of)
    cup = pack(of, kind="cup", stage="cups", number=1, overcount=0)
    agree((cup, 1))
    page = keeper_client.get(reverse("storefront:page")).content.decode()
    assert "2 cups rested, 1 promised" in page
    assert "1 cup</span>" in page


@pytest.mark.parametrize("column", ["line", "free", "packs", "price", "counted_on"])
def test_the_table_sorts_by_every_column(keeper_client: Client, column: str) -> None:
    pack(counted_line("Harbour", 60)), pack(counted_line("Rook", 30), price=None)
    line("Never counted")
    assert keeper_client.get(reverse("storefront:page"), {"sort": f"-{column}"}).status_code == 200
