"""The PDF addresses: who may print, the answer's headers, and the sentence when there is nothing to print."""

from io import BytesIO

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from breeder.base.models import Setting
from tests import build
from tests.documents.boxes import box, put, words

OF_A_BOX = ("pulling_list", "packing_slip", "address_label", "cup_labels")


def filled() -> int:
    parcel = box()
    put(parcel, build.tub(build.line("Harbour")), 12)
    return parcel.number


@pytest.mark.parametrize("paper", OF_A_BOX)
@pytest.mark.django_db
def test_each_paper_of_a_box_opens_in_the_browser(paper: str, helper_client: Client) -> None:
    number = filled()
    answer = helper_client.get(reverse(f"documents:{paper}", args=[number]))
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == f'inline; filename="{paper.replace("_", "-")}-box-{number}.pdf"'
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert "object-src 'self'" in answer.headers["Content-Security-Policy"]
    assert "Harbour" in words(answer.content) or paper == "address_label"


@pytest.mark.parametrize("paper", OF_A_BOX)
@pytest.mark.parametrize("number", [0, 7, 10**30])
def test_a_box_that_is_not_there_gets_a_page_with_a_sentence(paper: str, number: int, keeper_client: Client) -> None:
    answer = keeper_client.get(reverse(f"documents:{paper}", args=[number]))
    assert answer.status_code == 404
    assert f"There is no box {number}." in answer.content.decode()


@pytest.mark.parametrize("paper", ["tub_labels", "price_list", "round_sheet", "day_pulling_list"])
def test_papers_of_an_empty_book_say_what_to_do_first(paper: str, keeper_client: Client) -> None:
    answer = keeper_client.get(reverse(f"documents:{paper}"))
    assert answer.status_code == 404
    assert "Nothing to print" in answer.content.decode()


def test_a_shelf_that_no_database_can_be_asked_for_is_no_fault(keeper_client: Client) -> None:
    build.tub(build.line("Harbour"))
    assert keeper_client.get(reverse("documents:round_sheet"), {"shelf": "\x00"}).status_code == 200


def test_a_helper_sees_no_prices_on_paper_either(helper_client: Client) -> None:
    assert helper_client.get(reverse("documents:price_list")).status_code == 403
    for page in ("base:book", "storefront:page"):
        assert reverse("documents:price_list") not in helper_client.get(reverse(page)).content.decode()


@pytest.mark.django_db
def test_a_stranger_is_sent_to_the_log_in(client: Client) -> None:
    number = filled()
    for address in (reverse("documents:price_list"), reverse("documents:packing_slip", args=[number])):
        answer = client.get(address)
        assert answer.status_code == 302
        assert answer.headers["Location"].startswith(reverse("login"))


def test_tub_labels_hold_the_address_the_keeper_reads_at(keeper_client: Client) -> None:
    tub = build.tub(build.line("Harbour"))
    answer = keeper_client.get(reverse("documents:tub_labels"), {"numbers": str(tub.number)})
    assert answer.status_code == 200
    assert f"{tub.number} Armadillidium vulgare ‘Harbour’" in words(answer.content)


def test_what_is_no_tub_number_or_no_day_is_said_and_not_obeyed(keeper_client: Client) -> None:
    labels = keeper_client.get(reverse("documents:tub_labels"), {"numbers": "<b>1</b>"})
    assert labels.status_code == 404
    assert "is not a tub number" in labels.content.decode()
    assert "<b>1</b>" not in labels.content.decode()
    pulls = keeper_client.get(reverse("documents:day_pulling_list"), {"day": "2026-02-30"})
    assert pulls.status_code == 404
    assert "is not a day" in pulls.content.decode()


def test_the_boxes_of_a_day_are_pulled_in_one_walk(keeper_client: Client) -> None:
    first, second = filled(), filled_again()
    answer = keeper_client.get(reverse("documents:day_pulling_list"), {"day": "2026-03-02"})
    text = words(answer.content)
    assert f"Pulling list, Mon 2 Mar 2026 boxes {first} and {second}" in text
    assert "Together: 2 tubs to open, 24 animals, 2 cups." in text


def filled_again() -> int:
    parcel = box()
    put(parcel, build.tub(build.line("Orange")), 12)
    return parcel.number


def test_paper_is_us_letter_where_sizes_are_in_inches(keeper_client: Client) -> None:
    build.tub()
    address = reverse("documents:round_sheet")
    assert page_size(keeper_client.get(address).content) == (842, 595)
    Setting.objects.create(inches=True, trade_name="Fern")
    assert page_size(keeper_client.get(address).content) == (792, 612)


def page_size(content: bytes) -> tuple[int, int]:
    page = PdfReader(BytesIO(content)).pages[0]
    return round(page.mediabox.width), round(page.mediabox.height)
