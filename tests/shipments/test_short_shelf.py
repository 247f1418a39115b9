"""A board with a short shelf: the remaining boxes try dearer kits, and the page names kits that lack supplies."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from breeder.core.transit.schedule import Aim
from breeder.shipments import board as boards
from breeder.shipments.models import Kit, Parcel, Supply
from tests.shipments import boxes

pytestmark = pytest.mark.django_db

MONDAY = date(2013, 10, 7)
MORNING = boxes.morning_of(MONDAY)


@pytest.fixture
def two() -> list[Parcel]:
    """Two boxes, one card for the cheap kits, and a dearer kit that needs none."""
    boxes.household()
    boxes.part(boxes.bare(), "Card box", 1)
    layers = [{"material": "corrugated", "mm": 5}]
    boxes.part(boxes.kit("Thick card", layers=layers, cost=Decimal("1.50")), "Card box", 1)
    boxes.kit("Foam box", layers=[{"material": "eps", "mm": 19}], cost=Decimal("3.00"))
    parcels = [boxes.parcel(MONDAY) for _ in range(2)]
    boxes.real_hours(MONDAY, issued_at=MORNING - timedelta(hours=2), days=14)
    return parcels


def test_the_box_for_which_the_cheap_kits_run_out_goes_in_the_dearer_one(two: list[Parcel]) -> None:
    with time_machine.travel(MORNING, tick=False):
        board = boards.build_board(boxes.household(), MORNING)
        tried = {option.candidate.name for row in board.rows for option in row.cells[0].options}
        plan = boards.plan(board, Aim.EARLIEST, 12)
    assert plan is not None
    assert "Foam box" not in tried  # two cheaper ones go
    assert sorted(given.option.candidate.name for given in plan.given) == ["Bare card", "Foam box"]
    assert plan.without == ()
    assert f"Box {two[1].number} goes in Foam box on Monday 7 October." in plan.shortages[0]


def test_a_kit_that_the_shelf_cannot_make_up_is_not_tried_and_said_so(two: list[Parcel], keeper_client: Client) -> None:
    Supply.objects.update(on_shelf=0)
    with time_machine.travel(MORNING, tick=False):
        page = keeper_client.get(reverse("shipments:board"))
    text = page.content.decode()
    assert "were not tried: Bare card (Card box: 1 needed, 0 on the shelf); Thick card (Card box" in text
    assert {cell["kit"] for row in page.context["rows"] for cell in row["cells"]} == {"Foam box"}


def test_a_shelf_that_makes_up_nothing_is_a_sentence(two: list[Parcel], keeper_client: Client) -> None:
    Supply.objects.update(on_shelf=0)
    Kit.objects.filter(name="Foam box").update(active=False)
    with time_machine.travel(MORNING, tick=False):
        text = keeper_client.get(reverse("shipments:board")).content.decode()
    assert "no kit is written down that the shelf can make up" in text
    assert "No box finds a day." in text
