"""Counts by every method: what is stored agrees with the method's own bound; impossible ones are told in sentences."""

from datetime import timedelta
from math import exp, log, sqrt
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from breeder.core.counting.methods.count import working_text
from breeder.cultures import entry_text
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.counts import Sexed, record_count, record_looked
from breeder.cultures.count_entry import NAMES, BadFact
from breeder.cultures.models import Belief, Entry
from breeder.cultures.queries.stock import stock_of
from breeder.species.models import Line
from tests.build import line, tub
from tests.cultures.book import lower, tub_stock

pytestmark = pytest.mark.django_db

BY_METHOD = {
    "eye": {"from": 50, "to": 100},
    "hand": {"counted": 45},
    "full_sort": {"counted": 45},
    "portions": {"counts": [9, 14, 6, 11, 3, 17, 8, 12], "sizes": [50] * 8, "whole": 4000},
    "piece": {"seen": 20, "factor": 4},
    "weight": {"sample_count": 50, "sample_g": 4.1, "whole_g": 12.3},
    "removal": {"catches": [38, 26, 12]},
    "marked": {"marked": 40, "caught": 30, "marked_caught": 8},
    "index": {"seen": 27, "trial_seen": 18, "trial_known": 60},
    "after_sale": {"index_before": 60, "index_after": 30, "removed": 40},
    "by_sexes": {
        "before": {"males": 40, "females": 40},
        "after": {"males": 60, "females": 20},
        "taken": {"males": 0, "females": 40},
    },
}


@pytest.mark.parametrize("method", BY_METHOD)
def test_the_tub_relies_on_the_counts_own_bound(keeper: User, method: str) -> None:
    culture = tub(line(harvest_share=None))
    stage = "adults" if method == "by_sexes" else "young"
    recorded = record_count(culture.pk, stage, method, BY_METHOD[method], by=keeper)
    entry = recorded.entry
    assert entry.given == BY_METHOD[method]
    assert entry.lower is not None
    assert entry.estimate is not None
    assert 0 < entry.lower <= entry.estimate
    assert lower(culture, stage) == int(entry.lower + 1e-9)
    assert method in NAMES


def test_an_eye_count_is_stored_by_its_95_per_cent_bound(keeper: User) -> None:
    # Worked by hand: own spread ln 2 / 3.29, shared 0.35, in quadrature; 1.644854 is the normal 95 % quantile.
    entry = record_count(tub().pk, "young", "eye", {"from": 50, "to": 100}, by=keeper).entry
    spread = sqrt((1.6448536 * log(2) / 3.29) ** 2 + (1.6448536 * 0.35) ** 2)
    assert entry.estimate == pytest.approx(sqrt(5000))
    assert entry.lower == pytest.approx(sqrt(5000) * exp(-spread), rel=1e-6)
    assert entry.log_sd == pytest.approx(spread / 1.6448536, rel=1e-6)


def test_a_sexed_hand_count_makes_the_sexes_known_and_changes_move_them(keeper: User) -> None:
    culture = tub()
    record_count(culture.pk, "adults", "hand", {}, sexed=Sexed(5, 9, 20), by=keeper)
    assert (tub_stock(culture, "adults").males, tub_stock(culture, "adults").females) == (5, 9)
    record_change(culture.pk, "adults", 3, "died", males=1, females=2, by=keeper)
    assert (tub_stock(culture, "adults").males, tub_stock(culture, "adults").females) == (4, 7)
    record_change(culture.pk, "adults", 2, "died", by=keeper)  # of either sex, so both may be fewer
    assert (tub_stock(culture, "adults").males, tub_stock(culture, "adults").females) == (2, 5)
    record_count(culture.pk, "adults", "eye", {"from": 25, "to": 50}, by=keeper)
    assert tub_stock(culture, "adults").males == 2
    assert tub_stock(culture, "adults").lower <= 31


@pytest.mark.parametrize(
    ("stage", "method", "given", "says"),
    [
        ("young", "eye", {"from": 0, "to": 10}, "hand count of 0"),
        ("young", "portions", {"counts": [9], "sizes": [50], "whole": 4000}, "portion"),
        ("young", "portions", {"counts": [9, 8], "sizes": [50, 50], "whole": 60}, "whole"),
        ("young", "hand", {"counted": -3}, "-3"),
        ("young", "hand", {}, "needs this value"),
        ("young", "guess", {}, "not a way to count"),
        ("young", "marked", {"marked": 5, "caught": 3, "marked_caught": 4}, "4"),
        ("cups", "hand", {"counted": 3}, "not kept in this line"),
    ],
)
def test_an_impossible_count_is_refused_in_a_sentence(
    keeper: User, stage: str, method: str, given: dict[str, Any], says: str
) -> None:
    culture = tub()
    with pytest.raises(BadFact) as refused:
        record_count(culture.pk, stage, method, given, by=keeper)
    assert says in " ".join(refused.value.messages)
    assert not Entry.objects.exists()


def test_sexes_go_with_adults_counted_by_hand_only(keeper: User) -> None:
    with pytest.raises(BadFact, match="go with adults"):
        record_count(tub().pk, "young", "hand", {}, sexed=Sexed(1, 1, 1), by=keeper)


@pytest.mark.parametrize(
    ("days", "says"), [(2, "has not come yet"), (-3_000, "was started on")], ids=["the future", "before the tub"]
)
def test_a_time_that_cannot_be_is_refused(keeper: User, days: int, says: str) -> None:
    when = timezone.now() + timedelta(days=days)
    with pytest.raises(BadFact, match=says):
        record_looked(tub().pk, happened_at=when, by=keeper)


def test_a_look_says_what_was_seen_and_nothing_else(keeper: User) -> None:
    entry = record_looked(tub().pk, ["mites", "dry", "dry"], by=keeper).entry
    assert entry.given == {"seen": ["mites", "dry"]}
    assert not Belief.objects.exists()
    with pytest.raises(BadFact, match="dragons"):
        record_looked(tub().pk, ["dragons"], by=keeper)
    with pytest.raises(BadFact, match="Nothing was chosen"):
        record_looked(tub().pk, [], by=keeper)


def test_a_line_kept_by_the_cup_remembers_looks_and_cups_taken(keeper: User) -> None:
    of = line(sold_by=Line.SoldBy.CUP, cups_per_tub=2, cup_rest_days=28)
    culture = tub(of)
    assert tub_stock_free(of.pk) == 2
    record_looked(culture.pk, by=keeper)
    record_change(culture.pk, "cups", 1, "culled", happened_at=timezone.now() - timedelta(days=3), by=keeper)
    assert tub_stock_free(of.pk) == 1
    stage = stock(of.pk)
    assert stage.counted_on == timezone.localdate()
    assert stage.next_cup_on == timezone.now().date() + timedelta(days=25)


def stock(line_id: int) -> Any:
    return stock_of(line_id).stages["cups"]


def tub_stock_free(line_id: int) -> int:
    return int(stock(line_id).free)


def test_a_look_before_and_after_a_sale_counts_what_is_left(keeper: User) -> None:
    culture = tub(line(harvest_share=None, young_kept=0))
    entry = record_count(
        culture.pk, "young", "after_sale", {"index_before": 60, "index_after": 30, "removed": 40}, by=keeper
    ).entry
    assert entry.estimate == pytest.approx(40)
    assert entry_text.count_of(entry).estimate == pytest.approx(40)
    assert lower(culture) <= 40
    with pytest.raises(BadFact, match="did not fall"):
        record_count(culture.pk, "young", "after_sale", {"index_before": 9, "index_after": 9, "removed": 4}, by=keeper)


def test_animals_at_a_shelter_count_by_the_share_of_the_trial(keeper: User) -> None:
    given = {"seen": 27, "trial_seen": 18, "trial_known": 60}
    entry = record_count(tub().pk, "young", "index", given, by=keeper).entry
    assert (entry.estimate, entry.shared_sd) == (pytest.approx(90), 0.25)
    assert entry.lower < 59.3
    full = record_count(tub().pk, "young", "index", given | {"seen": 75}, by=keeper).entry
    assert any("about 70 at most" in step for step in working_text(entry_text.count_of(full)))
