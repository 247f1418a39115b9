"""Heat injury on the pages: the keeper's own figures, labelled so, kept nowhere."""

import pytest
from django.test import Client
from django.urls import reverse

from breeder.core.thermal.injury import line_from
from breeder.shipments.heat_injury import InjuryForm, injury_said, summed_percent
from tests.shipments import boxes

pytestmark = pytest.mark.django_db
FIGURES = {"half_at": "40", "tenfold": "2.5", "counts_from": "32"}


def test_an_hour_at_the_hour_s_temperature_is_the_whole_of_it() -> None:
    line = line_from(40.0, 2.5, 32.0)
    assert summed_percent(line, [40.0, 40.0]) == pytest.approx(100)
    assert summed_percent(line, [37.5] * 11) == pytest.approx(100)  # ten hours at a tenth of the rate
    assert summed_percent(line, [31.9] * 50) == 0.0
    assert summed_percent(line, [40.0] * 5, per_hour=4) == pytest.approx(100)
    assert summed_percent(line, [40.0, None]) is None


def test_celsius_and_fahrenheit_give_the_same_line() -> None:
    celsius = InjuryForm.asked(FIGURES, fahrenheit=False).line
    fahrenheit = InjuryForm.asked({"half_at": "104", "tenfold": "4.5", "counts_from": "89.6"}, fahrenheit=True).line
    assert celsius == fahrenheit


@pytest.mark.parametrize(
    ("percent", "said"),
    [
        (0.0, "nothing, it never becomes so warm"),
        (0.4, "under 1 % of what"),
        (12.3, "12 % of what half would not survive"),
        (250.0, "2.5 times what half would not survive"),
        (3e7, "over 100 times what half would not survive"),
        (None, "hours are missing"),
    ],
)
def test_the_sum_is_said_in_words(percent: float | None, said: str) -> None:
    assert said in injury_said(percent, "Hot steps of one day")


def test_the_stress_page_adds_up_what_is_asked_and_says_whose_figures_they_are(keeper_client: Client) -> None:
    boxes.household()
    page = reverse("shipments:stress", args=[boxes.bare().pk])
    bare = keeper_client.get(page).content.decode()
    assert "No such curve is published for isopods" in bare
    assert "would not survive" not in bare
    asked = keeper_client.get(page, FIGURES).content.decode()
    assert "Steady 43 °C: " in asked
    assert "over 100 times what half would not survive" in asked
    assert "Two days of a real February: nothing, it never becomes so warm." in asked


@pytest.mark.parametrize(("name", "typed"), [("half_at", "104"), ("tenfold", "0"), ("counts_from", "x")])
def test_figures_that_cannot_be_are_refused_in_a_sentence_and_stay(
    keeper_client: Client, name: str, typed: str
) -> None:
    boxes.household()
    page = reverse("shipments:stress", args=[boxes.bare().pk])
    said = keeper_client.get(page, FIGURES | {name: typed}).content.decode()
    assert f'value="{typed}"' in said
    assert 'class="wrong"' in said
    assert "would not survive" not in said
