"""What must stay of a line: lowered only with a reason; the genetic number advises, and binds where one wants."""

from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.models import LogRow
from breeder.cultures import actions
from breeder.cultures.actions.counts import Sexed
from breeder.cultures.queries import stock_of
from breeder.cultures.rules import Want, shortages
from breeder.species.models import Line
from tests.build import line, species, tub

pytestmark = pytest.mark.django_db

KEPT = {"adults_kept": 20, "young_kept": 20, "each_sex_kept": 3}


def vulgare(**values: object) -> Line:
    return line("Ash", of=species(generation_days=245), **values)


def kept(of: Line) -> int:
    return stock_of(of.pk).stages["adults"].kept_back


def test_the_genetic_number_binds_once_the_keeper_says_so_and_letting_go_of_it_needs_a_reason(keeper: User) -> None:
    ash = vulgare()
    assert kept(ash) == 20
    actions.set_minimum(ash.pk, **KEPT, genetics={"genetics_bind": True}, by=keeper)
    assert kept(ash) == 123
    with pytest.raises(ValidationError, match="from 123 to 20"):
        actions.set_minimum(ash.pk, **KEPT, genetics={"genetics_bind": False}, by=keeper)
    with pytest.raises(ValidationError, match="from 123 to 61"):
        actions.set_minimum(ash.pk, **KEPT, genetics={"inbreeding_limit": Decimal("0.20")}, by=keeper)
    assert kept(ash) == 123
    actions.set_minimum(ash.pk, **KEPT, genetics={"genetics_bind": False}, reason="it was advice only", by=keeper)
    assert kept(ash) == 20
    said = LogRow.objects.order_by("pk").values_list("sentence", "reason")
    assert said[0][0].endswith("the genetic number binding: yes (was no).")
    assert said[1][1] == "it was advice only"


@pytest.mark.parametrize(
    "genetics", [{"inbreeding_limit": Decimal("0.9")}, {"horizon_years": 0}, {"effective_share": Decimal("0")}]
)
def test_numbers_that_mean_nothing_are_refused(genetics: dict[str, object], keeper: User) -> None:
    with pytest.raises(ValidationError):
        actions.set_minimum(vulgare().pk, **KEPT, genetics=genetics, by=keeper)


def test_the_page_sets_it_and_the_line_says_what_genetics_advises(keeper_client: Client) -> None:
    ash = vulgare(irreplaceable=True)
    sexed = Sexed(14, 14, 0)
    actions.record_count(tub(ash).pk, "adults", "hand", {"counted": 28}, sexed=sexed, by=None)
    page = keeper_client.get(reverse("cultures:line", args=[ash.pk])).content.decode()
    for said in (
        "What genetics advises: 123 adults",
        "To keep inbreeding under 10% for 5 years takes an effective size of 35.6",
        "14 males and 14 females are known to be there: an effective size of 28.0 if all breed, 8.4 if 30%",
        "28 adults are sure, 95 fewer than that.",
        "No more than 30 % of the young go between two counts.",
    ):
        assert said in page
    sent = KEPT | {"genetics_bind": "on", "inbreeding_limit": "0.25", "horizon_years": "5", "effective_share": "1"}
    answer = keeper_client.post(
        reverse("cultures:line_minimum", args=[ash.pk]), sent | {"token": form_tokens.new_token()}
    )
    assert answer.status_code == 302
    ash.refresh_from_db()
    assert (ash.genetics_bind, ash.inbreeding_limit, ash.effective_share) == (True, Decimal("0.25"), Decimal("1"))


@pytest.mark.parametrize("sold_by", ["head", "cup"])
def test_one_tub_of_what_cannot_be_bought_again_is_warned_of_on_the_line_itself(
    keeper_client: Client, sold_by: str
) -> None:
    ash = vulgare(irreplaceable=True, sold_by=sold_by)
    tub(ash)
    page = keeper_client.get(reverse("cultures:line", args=[ash.pk])).content.decode()
    head, *folded = page.split("<details")
    assert "all of it breeds in one tub. Split it: one crash would end it." in head
    assert not any("breeds in one tub" in part for part in folded)
    tub(ash)
    assert "in one tub" not in keeper_client.get(reverse("cultures:line", args=[ash.pk])).content.decode()


def test_a_second_tub_in_quarantine_or_isolation_is_no_second_breeding_tub(keeper_client: Client) -> None:
    ash = vulgare(irreplaceable=True)
    tub(ash)
    tub(ash, purpose="isolation")
    assert "breeds in one tub" in keeper_client.get(reverse("cultures:line", args=[ash.pk])).content.decode()


def test_a_sexed_sale_leaves_the_effective_size_of_the_adults_that_stay() -> None:
    """15.31 known, 20 stay: without 9 males 6.31 is an effective size of 20.1, without 10 it is 17.2 (Wright 1931)."""
    ash = vulgare()
    actions.record_count(tub(ash).pk, "adults", "hand", {"counted": 46}, sexed=Sexed(15, 31, 0), by=None)
    stock = {ash.pk: stock_of(ash.pk)}
    assert shortages([Want(ash.pk, "adults", 9, males=9)], stock) == []
    (said,) = shortages([Want(ash.pk, "adults", 10, males=10)], stock)
    assert "5 males and 31 females would be left, an effective size of 17.2; 20.0 must stay" in said


def test_adults_of_unknown_sex_count_for_the_size_by_their_share_and_never_for_a_sex() -> None:
    ash = vulgare()
    one = tub(ash)
    actions.record_count(one.pk, "adults", "hand", {"counted": 46}, sexed=Sexed(15, 31, 0), by=None)
    actions.record_change(one.pk, "adults", 20, "received", by=None)
    stock = {ash.pk: stock_of(ash.pk)}
    assert shortages([Want(ash.pk, "adults", 12, males=12)], stock) == []
    (said,) = shortages([Want(ash.pk, "adults", 13, males=13)], stock)
    assert "Only 12 males can be spared" in said


def test_the_line_says_whose_males_each_breeding_tub_gets(keeper_client: Client) -> None:
    ash = vulgare()
    for number, (males, females) in ((4, (10, 20)), (9, (12, 18))):
        one, sexed = tub(ash, number=number), Sexed(males, females, 0)
        actions.record_count(one.pk, "adults", "hand", {"counted": males + females}, sexed=sexed, by=None)
    unsexed = tub(ash, number=7)
    actions.record_count(unsexed.pk, "adults", "hand", {"counted": 40}, by=None)
    actions.record_count(tub(ash, number=11, purpose="growing").pk, "adults", "hand", {"counted": 40}, by=None)
    page = keeper_client.get(reverse("cultures:line", args=[ash.pk])).content.decode()
    assert "always the same way: 4 → 7 → 9 → 4." in page
    assert "After 5 years (7 generations) inbreeding is then about" in page


def test_a_line_out_of_its_share_of_females_says_so_until_the_book_knows_better(keeper_client: Client) -> None:
    """48 of 60: Wilson's 95 % interval is .68 to .88 (computed)."""
    ash = vulgare()
    first, second = tub(ash), tub(ash)
    wrong = actions.record_count(first.pk, "adults", "hand", {"counted": 60}, sexed=Sexed(60, 0, 0), by=None)
    actions.correct_entry(wrong.entry.pk, by=None)
    actions.record_count(first.pk, "adults", "hand", {"counted": 20}, sexed=Sexed(10, 10, 0), by=None)
    for males, females in ((4, 16), (8, 32)):
        culture = first if males == 4 else second
        sexed = Sexed(males, females, 5)
        actions.record_count(culture.pk, "adults", "hand", {"counted": sexed.counted}, sexed=sexed, by=None)
    address = reverse("cultures:line", args=[ash.pk])
    said = "Too many females: 48 of 60 adults sexed (80%; 68% to 88% of all, 95% sure), and 50% is usual."
    page = keeper_client.get(address).content.decode()
    assert said in page
    assert "bacteria that turn sons into daughters" in page
    ash.species.share_female = Decimal("0.80")
    ash.species.save()
    assert "Too many females" not in keeper_client.get(address).content.decode()


def test_a_sexed_sale_before_the_count_is_named_as_the_reason(keeper_client: Client) -> None:
    ash = vulgare()
    culture = tub(ash)
    address = reverse("cultures:line", args=[ash.pk])
    actions.record_count(culture.pk, "adults", "hand", {"counted": 80}, sexed=Sexed(40, 40, 0), by=None)
    actions.record_change(culture.pk, "adults", 30, "culled", males=30, by=None)
    assert "Too many" not in keeper_client.get(address).content.decode()
    actions.record_count(culture.pk, "adults", "hand", {"counted": 50}, sexed=Sexed(10, 40, 0), by=None)
    assert "Animals were taken out by sex before" in keeper_client.get(address).content.decode()
