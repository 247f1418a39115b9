"""When so many will be there: from a line's own counts and what left its tubs, else from what the species does."""

import math
from collections.abc import Iterator
from datetime import timedelta

import numpy as np
import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from breeder.core.stock.growth.stage_matrix import VitalRates, stage_matrix
from breeder.core.stock.growth.surplus_date import surplus_forecast
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.tubs import Place, split_tub
from breeder.cultures.growth_forecast import growth_of_species, needed, seen_in, spare_of_species, when_ready
from breeder.cultures.models import Culture
from breeder.cultures.queries.stock import stock_of
from breeder.cultures.queries.tubs import book_of
from breeder.species.models import Line
from tests.build import NOW, line, species, tub
from tests.cultures.book import promise
from tests.cultures.test_stock import queries_for

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def clock() -> Iterator[None]:
    with time_machine.travel(NOW):
        yield


def grown(keeper: User, of: Line, monthly: float = 1.2, taken: int = 10, **values: object) -> Culture:
    """A tub that grows by a factor each month, from which some are taken just after each count."""
    culture, held = tub(of, **values), 60.0
    for months in (6, 4, 2, 0):
        at = NOW - timedelta(days=round(30.4375 * months), hours=1)
        record_count(culture.pk, "young", "hand", {"counted": round(held)}, happened_at=at, by=keeper)
        if months:
            after = at + timedelta(minutes=5)
            record_change(culture.pk, "young", taken, "culled", happened_at=after, by=keeper)
            held = (held - taken) * monthly**2
    return culture


def asked(of: Line, wanted: int, stage: str = "young"):  # type: ignore[no-untyped-def]
    return when_ready(Line.objects.get(pk=of.pk), stock_of(of.pk).stages[stage], wanted, TODAY)


def test_growth_is_fitted_to_the_tubs_own_counts_with_what_was_taken_added_back(keeper: User) -> None:
    of = line(harvest_share=None, young_kept=20)
    culture = grown(keeper, of)
    seen = seen_in(book_of(culture).entries_of(culture.pk, "young"), TODAY - timedelta(days=365))
    assert [one.taken_since for one in seen] == [0, 10, 10, 10]
    ready = asked(of, 150)
    assert "fitted to 4 counts of 1 tub" in ready.forecast.notes[0]
    assert ready.forecast.median_on > TODAY
    plenty = asked(of, 30)
    assert plenty.now
    assert ready.forecast.median_on <= (ready.forecast.sure_on or ready.forecast.median_on)


def test_without_own_counts_the_species_default_stands_in_with_its_marks(keeper: User) -> None:
    values = {"brood": 25, "broods_a_year": 4, "mature_days": 122, "young_survival": "0.5"}
    kind = species("Porcellio scaber", sources={"brood": ["measured", "a paper"]}, **values)
    of = line(of=kind, harvest_share=None)
    culture = tub(of, litres=10)
    record_count(culture.pk, "young", "hand", {"counted": 60}, by=keeper)
    kind.refresh_from_db()
    default = growth_of_species(kind)
    assert default is not None
    ready = asked(of, 60)
    expected = surplus_forecast(TODAY, 60, 0.0, default, 60, 20, 200)
    assert (ready.forecast.median_on, ready.forecast.sure_on) == (expected.median_on, expected.sure_on)
    assert "common practice, measured" in ready.forecast.notes[0]


def test_a_species_of_which_nothing_is_known_gives_no_day_but_says_what_to_do(keeper: User) -> None:
    of = line(harvest_share=None)
    record_count(tub(of).pk, "young", "hand", {"counted": 60}, by=keeper)
    assert "not filled in" in asked(of, 60).why
    assert "Count them first" in asked(line("Empty"), 60).why


def test_promises_minimum_handling_and_harvest_share_all_have_to_be_there_first(keeper: User) -> None:
    of = line(harvest_share="0.30", young_kept=20, handling_loss="0.10")
    record_count(tub(of).pk, "young", "hand", {"counted": 100}, by=keeper)
    promise(of.pk, 5)
    of.refresh_from_db()
    stock = stock_of(of.pk).stages["young"]
    assert needed(of, stock, 18) == math.ceil((18 + 5) / 0.3)  # the harvest share asks for most
    of.harvest_share = None
    assert needed(of, stock, 18) == 20 + math.ceil((18 + 5) / 0.9)  # the loss comes off what was promised too


def test_a_tub_tipped_over_begins_its_series_anew(keeper: User) -> None:
    of = line()
    culture = grown(keeper, of)
    at = NOW - timedelta(days=30)
    split_tub(culture.pk, Place("B"), share=0.5, happened_at=at, by=keeper)
    seen = seen_in(book_of(culture).entries_of(culture.pk, "young"), TODAY - timedelta(days=365))
    assert len(seen) == 1
    assert seen[0].taken_since == 0


def test_more_than_the_tubs_have_room_for_never_fits(keeper: User) -> None:
    of = line(harvest_share=None)
    grown(keeper, of)
    forecast = asked(of, 5000).forecast
    assert forecast.median_on is None
    assert "There is room for about" in forecast.notes[0]


def test_what_is_likely_there_already_waits_for_a_count(keeper: User) -> None:
    of = line(harvest_share=None)
    record_count(tub(of).pk, "young", "eye", {"from": 100, "to": 250}, by=keeper)
    grown(keeper, of)
    stock = stock_of(of.pk).stages["young"]
    ready = asked(of, stock.free + 1)
    assert (ready.now, ready.likely_now) == (False, True)


def test_nothing_forecast_is_ever_free(keeper: User) -> None:
    of = line(harvest_share=None, young_kept=0)
    grown(keeper, of)
    later = TODAY + timedelta(days=120)
    held = stock_of(of.pk).stages["young"]
    assert stock_of(of.pk, on=later).stages["young"].free <= held.free
    assert math.isfinite(held.free)


def test_the_line_page_answers_and_the_question_costs_no_more_for_more_tubs(keeper: User, client: Client) -> None:
    client.force_login(keeper)
    of = line(harvest_share=None)
    grown(keeper, of)
    page = reverse("cultures:line", args=[of.pk])
    assert "When will there be enough" in client.get(page).content.decode()
    said = client.get(page, {"wanted": "150", "stage": "young"}).content.decode()
    assert "150 young to sell: as likely as not by" in said
    assert "Young are sold when they are counted, not before." in said
    assert "can be sold today" in client.get(page, {"wanted": "1", "stage": "young"}).content.decode()
    assert 'class="fault"' in client.get(page, {"wanted": "0", "stage": "young"}).content.decode()
    few = queries_for(lambda: asked(of, 500))
    for _ in range(3):
        grown(keeper, of)
    assert queries_for(lambda: asked(of, 500)) == few


def test_a_tub_has_room_for_half_as_many_again_as_were_ever_counted_or_twenty_a_litre(keeper: User) -> None:
    # Keeper defaults, common practice, no source.
    of = line(harvest_share=None)
    grown(keeper, of, monthly=1.0, taken=4)  # counts 60, 56, 52, 48
    assert "There is room for about 90," in asked(of, 5000).forecast.notes[0]
    large = line("Large", harvest_share=None)
    grown(keeper, large, monthly=1.0, taken=4, litres=5)
    assert "There is room for about 100," in asked(large, 5000).forecast.notes[0]


def test_growth_is_fitted_to_the_counts_of_the_last_year(keeper: User) -> None:
    of = line(harvest_share=None)
    culture = tub(of, started_on=TODAY - timedelta(days=500))
    for days in (370, 364, 200, 100, 0):
        at = NOW - timedelta(days=days, hours=1)
        record_count(culture.pk, "young", "hand", {"counted": 500 - days}, happened_at=at, by=keeper)
    assert "fitted to 4 counts of 1 tub" in asked(of, 600).forecast.notes[0]


def test_the_line_says_what_the_species_can_spare_for_good(keeper_client: Client) -> None:
    """Of 1000 and 1000 the shares named, taken after every month, leave a stock that neither grows nor falls."""
    kind = species("Porcellio laevis", brood=35, broods_a_year=4, mature_days=110, young_survival="0.5")
    said = spare_of_species(kind)
    young, adults, both = (float(word.rstrip("%,")) / 100 for word in said[0].split() if word.endswith("%"))
    monthly = stage_matrix(VitalRates(35, 4, 110 / 30.4375, 0.5, 0.5, 24))
    for shares in ((young, 0.0), (0.0, adults), (both, both)):
        held = np.array([1000.0, 1000.0])
        settled = [held := (1 - np.array(shares)) * (monthly @ held) for _ in range(40)]
        assert settled[-1].sum() / settled[-2].sum() == pytest.approx(1, abs=0.03)  # told in whole percent
    assert "keeper default" in said[-1] or "common practice" in said[-1]
    page = keeper_client.get(reverse("cultures:line", args=[line(of=kind).pk])).content.decode()
    assert "What the species can spare for good" in page
    assert said[0] in page


def test_a_species_that_does_not_grow_can_spare_nothing() -> None:
    kind = species("Oniscus asellus", brood=1, broods_a_year=1, mature_days=240, young_survival="0.1")
    assert "does not grow" in spare_of_species(kind)[0]
    assert spare_of_species(species("Cubaris murina")) == ()
