"""What an allowance comes to is shown wherever it is set or used, and says that it was computed."""

import pytest
from django.test import Client
from django.urls import reverse

from breeder.base import tolerance_table
from breeder.core.thermal import allowed
from breeder.shipments import check_text


@pytest.mark.parametrize("band", [allowed.TEMPERATE, allowed.TROPICAL], ids=["temperate", "tropical"])
def test_allowing_more_gives_more_days_and_breaks_more_boxes_but_far_fewer_than_allowed(
    band: tuple[allowed.Measured, ...],
) -> None:
    assert [one.tolerance for one in band] == [0.01, 0.05, 0.10, 0.20]
    assert [one.go for one in band] == sorted(one.go for one in band)
    assert [one.broke for one in band] == sorted(one.broke for one in band)
    assert all(one.broke < one.tolerance / 2 for one in band)


def test_the_row_of_one_in_twenty_says_its_numbers() -> None:
    row = tolerance_table.rows()[1]
    assert (row.allowed, row.temperate.go, row.temperate.broke) == ("5 in 100", "89 in 100", "8 in 1000")


def test_a_box_says_what_both_its_allowances_came_to() -> None:
    said = check_text.average_said(0.20, 0.05)
    assert "32 in 1000 boxes broke where 20 in 100 may and 8 in 1000 boxes broke where 5 in 100 may" in said
    assert check_text.average_said(0.05, 0.06).count("in 1000") == 1
    assert "(computed)" in said


@pytest.mark.django_db
def test_the_settings_page_shows_what_an_allowance_comes_to(keeper_client: Client) -> None:
    page = keeper_client.get(reverse("base:settings")).content.decode()
    assert "What an allowance comes to" in page
    assert "89 in 100" in page
    assert "Computed for this book" in page
