"""Read each PDF back: columns, names, numbers; forty lines; unusual values."""

from collections.abc import Callable

import pytest

from breeder.documents.address_label import LINES_TO_WRITE, AddressLabel, address_label
from breeder.documents.cup_labels import Cup, cup_labels
from breeder.documents.packing_slip import Slip, SlipContent, packing_slip
from breeder.documents.price_list import PricedPack, price_list
from breeder.documents.printed_names import Name
from breeder.documents.pulling_list import PullRow, pulling_list
from breeder.documents.round_sheet import RoundRow, round_sheet
from breeder.documents.tub_labels import TubCard, tub_labels
from tests.documents.boxes import LONG_NAME, ODD_NAME, drawn, pages, ruled, sheet, words

PLAIN = Name("Porcellio scaber", "", "Lava", "")
ODD = Name("Armadillidium vulgare", "cf.", ODD_NAME, "Île-de-Bréhat")
LONG = Name("Porcellionides pruinosus", "", LONG_NAME, "x" * 80)
FORTY = range(40)


def pull(tub: int | None, **values: object) -> PullRow:
    facts = {"shelf": "A", "place": 1, "name": PLAIN, "stage": "young", "number": 12, "males": 0, "females": 0}
    return PullRow(tub=tub, **(facts | {"cups": 1, "box": 7} | values))


def slip(*contents: SlipContent, **values: object) -> bytes:
    facts = {"box": 7, "order": 3, "shipper": "Fern\n1 Moss Lane", "consignee": "Ádám Kővágó\nFő utca 7"}
    return packing_slip(Slip(contents=contents, **(facts | values)), sheet())


def label(**values: object) -> bytes:
    facts = {
        "box": 7,
        "sender": "Fern\n1 Moss Lane",
        "consignee": "Ádám Kővágó\nFő utca 7",
        "has_address": True,
        "has_return": True,
        "contents": "Live harmless isopods",
        "deliver_by": "Fri 6 Mar 2026",
        "service": "Post Quick",
        "hold_for_pickup": False,
        "marking": "Live animals, this side up",
    }
    return address_label(AddressLabel(**(facts | values)), sheet())


def test_the_pulling_list_walks_the_shelves_and_ends_with_what_has_no_tub() -> None:
    pulls = [pull(None), pull(5, shelf="B"), pull(9, place=2), pull(1042, place=1), pull(3, shelf="C", box=8)]
    text = words(pulling_list(pulls, sheet()))
    places = [text.index(mark) for mark in ("1042 A", "9 A place 2", "5 B", "3 C", "____")]
    assert places == sorted(places)
    assert "Tub Shelf Line Take Cups Box" in text
    assert "1 row names no tub yet." in text
    assert "Together: 4 tubs to open, 60 animals, 5 cups." in text


def test_the_pulling_list_says_how_many_of_which_sex() -> None:
    content = pulling_list([pull(4, stage="adults", number=17, males=3, females=4)], sheet())
    assert "17 adults" in words(content)
    assert "10 unsexed" in words(content)
    assert (drawn(content, "sign-male"), drawn(content, "sign-female")) == (1, 1)


def test_animals_that_join_a_cup_from_another_tub_are_said_to_share_it() -> None:
    text = words(pulling_list([pull(4, cups=1), pull(5, place=2, cups=0, number=2)], sheet()))
    assert "2 young shared 7" in text
    assert "14 animals, 1 cup." in text


def test_the_slip_lists_each_species_with_number_and_venomous_yes_or_no() -> None:
    centipede = SlipContent(Name("Scolopendra morsitans"), "adults", 1, venomous=True)
    text = words(
        slip(
            SlipContent(PLAIN, "young", 12), SlipContent(Name("Porcellio scaber", "", "Orange"), "young", 10), centipede
        )
    )
    assert "Scientific name Stage Sexes Cups Number Venomous" in text
    assert "Porcellio scaber in all 22 no ‘Lava’ young 1 12 ‘Orange’ young 1 10" in text
    assert "Scolopendra morsitans adults 1 1 YES" in text
    assert "Scolopendra morsitans is venomous." in text
    assert "Together: 23 animals of 2 species." in text


def test_the_slip_names_shipper_and_consignee_and_how_to_receive_them() -> None:
    text = words(slip(SlipContent(PLAIN, "young", 12)))
    assert "Fern 1 Moss Lane Ádám Kővágó Fő utca 7" in text
    assert "packed without food or water" in text
    assert "Open the box at once" in text
    assert "24 hours and again after 48 to 72 hours" in text


def test_cups_of_culture_are_numbered_as_cups_and_never_as_animals() -> None:
    text = words(slip(SlipContent(Name("Folsomia candida"), "cups", 2, cups=2), SlipContent(PLAIN, "young", 12)))
    assert "Folsomia candida cup of culture, not counted 2 2 cups no" in text
    assert "Together: 12 animals and 2 cups of culture of 2 species." in text


def test_the_slip_warns_of_a_secretion_and_a_pack() -> None:
    millipede = SlipContent(Name("Archispirostreptus gigas"), "adults", 3, secretes="benzoquinones")
    text = words(slip(millipede, has_pack=True))
    assert "Archispirostreptus gigas gives off benzoquinones when disturbed." in text
    assert "The box holds a heat or cold pack." in text
    assert "heat or cold pack" not in words(slip(SlipContent(PLAIN, "young", 1)))


def test_the_permits_that_they_move_under_are_named_on_the_slip() -> None:
    text = words(slip(SlipContent(PLAIN, "young", 1), permits=("PPQ 526 P-1 of USDA APHIS",)))
    assert "Sent under PPQ 526 P-1 of USDA APHIS." in text
    assert "Sent under" not in words(slip(SlipContent(PLAIN, "young", 1)))


def test_terms_are_printed_when_there_are_any_and_not_even_a_heading_otherwise() -> None:
    assert "Terms Live arrival is promised." in words(
        slip(SlipContent(PLAIN, "young", 1), terms="Live arrival is promised.")
    )
    assert "Terms" not in words(slip(SlipContent(PLAIN, "young", 1), terms=" \n"))


def test_the_address_side_says_live_animals_contents_and_deliver_by() -> None:
    text = words(label())
    for phrase in (
        "box 7",
        "1 Moss Lane",
        "Fő utca 7",
        "LIVE ANIMALS",
        "Live harmless isopods",
        "Live animals, this side up",
    ):
        assert phrase in text
    assert "Deliver or return by Fri 6 Mar 2026" in text
    assert "HOLD FOR PICKUP" not in text
    assert "HOLD FOR PICKUP" in words(label(hold_for_pickup=True))


def test_an_unknown_day_leaves_room_to_write_it() -> None:
    assert "Deliver or return by ________________" in words(label(deliver_by=""))


def test_an_empty_address_leaves_the_name_and_lines_to_write_on() -> None:
    without = label(consignee="Ada", has_address=False)
    assert "Ada" in words(without)
    assert ruled(without) - ruled(label()) == LINES_TO_WRITE
    assert ruled(label(sender="Fern", has_return=False)) > ruled(label(sender="Fern"))


def test_a_long_address_stays_on_the_one_label_with_all_its_words() -> None:
    long = "\n".join(f"{number} {'long street name ' * 3}" for number in range(9))
    content = label(consignee=long, sender=long, marking="m" * 160)
    assert len(pages(content)) == 1
    assert all(f"{number} long street" in words(content) for number in range(9))


def test_cup_labels_say_line_number_cup_day_and_box() -> None:
    cups = [Cup(PLAIN, "12 young", "1 ♂, 1 ♀, 10 unsexed", f"cup {nth} of 40", "2 Mar 2026", 7) for nth in FORTY]
    content = cup_labels(cups, sheet())
    assert [page.count("12 young") for page in pages(content)] == [24, 16]
    assert drawn(content, "sign-female") == 40
    text = words(content)
    assert "Porcellio scaber ‘Lava’ 12 young" in text
    assert "2 Mar 2026 · cup 39 of 40 box 7" in text


def test_tub_labels_show_number_and_line() -> None:
    cards = [TubCard(number, PLAIN, "since 1 Jan 2025", f"tub {number}") for number in (3, 14, 123456)]
    text = words(tub_labels(cards, sheet()))
    assert "14 Porcellio scaber ‘Lava’ since 1 Jan 2025" in text
    assert "123456 Porcellio" in text


def test_the_round_sheet_goes_shelf_by_shelf_with_boxes_to_tick() -> None:
    rows = [RoundRow(14, "A", PLAIN, "", "12 Feb 2026"), RoundRow(3, "B", PLAIN, "quarantine", "never", by_cup=True)]
    text = words(round_sheet(rows, sheet(sideways=True)))
    assert "Shelf A 14 Porcellio scaber ‘Lava’ 12 Feb 2026 ☐ well" in text
    assert "Shelf B 3 Porcellio scaber ‘Lava’ quarantine never cups, no count" in text


@pytest.mark.parametrize("tub", [99_999, 202_604, 20_260_401, 2_147_483_647])
def test_a_long_tub_number_stays_in_one_piece_on_sheet_and_list(tub: int) -> None:
    assert f"{tub} Porcellio" in words(round_sheet([RoundRow(tub, "A", PLAIN, "", "never")], sheet(sideways=True)))
    assert f"{tub} A place 1" in words(pulling_list([pull(tub)], sheet()))


def test_the_price_list_says_price_on_request_where_there_is_none() -> None:
    offers = [
        PricedPack("Isopods", PLAIN, "rough woodlouse", "starter of 10 young", "24.00 USD", "available"),
        PricedPack("Isopods", PLAIN, "rough woodlouse", "1.1 adults", "", "few"),
    ]
    text = words(price_list(offers, [Name("Folsomia candida")], sheet()))
    assert "Isopods Porcellio scaber ‘Lava’ rough woodlouse starter of 10 young 24.00 USD available" in text
    assert "1.1 adults price on request few" in text
    assert text.count("Porcellio scaber") == 1
    assert "Not available just now: Folsomia candida." in text


def many(name: Name, lines: range = FORTY) -> dict[str, Callable[[], bytes]]:
    """Return every paper with many lines of one name."""
    return {
        "pulling": lambda: pulling_list([pull(number, name=name) for number in lines], sheet()),
        "slip": lambda: slip(*[SlipContent(Name(f"{name.scientific} {n}", "", name.form), "young", n) for n in lines]),
        "rounds": lambda: round_sheet([RoundRow(n, "A", name, "", "never") for n in lines], sheet(sideways=True)),
        "prices": lambda: price_list(
            [PricedPack("Isopods", name, "", f"pack {n}", "", "few") for n in lines], [], sheet()
        ),
    }


FIRST_HEAD = {"pulling": "Tub Shelf", "slip": "Scientific name Stage", "rounds": "Tub Line", "prices": "Line Pack"}


@pytest.mark.parametrize("paper", FIRST_HEAD)
def test_forty_lines_run_over_pages_that_repeat_the_heads_and_count_themselves(paper: str) -> None:
    printed_pages = pages(many(PLAIN)[paper]())
    assert len(printed_pages) > 1
    for number, page in enumerate(printed_pages, 1):
        assert f"page {number} of {len(printed_pages)}" in page
    # The last page of the slip may hold only the words after the list.
    assert all(FIRST_HEAD[paper] in page for page in printed_pages[: 2 if paper == "slip" else None])


@pytest.mark.parametrize("name", [ODD, LONG], ids=["odd letters", "long"])
@pytest.mark.parametrize("paper", FIRST_HEAD)
def test_odd_and_long_names_print_on_every_list(paper: str, name: Name) -> None:
    text = words(many(name, range(3))[paper]()).replace(" ", "")
    assert name.form[:9].replace(" ", "") in text


@pytest.mark.parametrize("us_letter", [False, True])
@pytest.mark.parametrize("name", [ODD, LONG], ids=["odd letters", "long"])
def test_odd_and_long_names_print_on_labels(name: Name, us_letter: bool) -> None:
    cups = cup_labels([Cup(name, "12 young", "", "cup 1 of 2", "", 7)], sheet(us_letter=us_letter))
    tubs = tub_labels([TubCard(14, name, "since 1 Jan 2025", "tub 14")], sheet(us_letter=us_letter))
    for content in (cups, tubs):
        assert len(pages(content)) == 1
        assert name.form[:6] in words(content)


@pytest.mark.parametrize("paper", FIRST_HEAD)
def test_the_same_facts_give_the_same_bytes(paper: str) -> None:
    assert many(ODD, range(9))[paper]() == many(ODD, range(9))[paper]()
    assert label() == label()
