"""Rules for the PDFs: shares, dates, contents, addresses, and the tub numbers asked for."""

import pytest

from breeder.base.addresses import phone_address
from breeder.documents import rules
from breeder.documents.rules import NothingToPrint


def sexes(*numbers: int) -> str:
    return rules.sexes(*numbers).replace(rules.NO_BREAK, "~")


def sexes_in_cup(*numbers: int) -> str:
    return rules.sexes_in_cup(*numbers).replace(rules.NO_BREAK, "~")


def test_cups_share_whole_animals_evenly() -> None:
    assert rules.shares(25, 2) == [13, 12]
    assert rules.shares(2, 5) == [1, 1, 0, 0, 0]
    assert rules.shares(7, 0) == [7]


def test_sexes_are_said_only_where_they_were_asked_for() -> None:
    assert sexes(2, 1, 1) == "1~♂, 1~♀"
    assert sexes(17, 3, 4) == "3~♂, 4~♀, 10~unsexed"
    assert sexes(10, 0, 10) == "10~♀"
    assert sexes(10, 0, 0) == ""


def test_a_box_packed_with_fewer_than_the_sexes_planned_claims_none() -> None:
    assert sexes(1, 1, 1) == ""


def test_pairs_in_several_cups_are_said_for_each_cup_or_for_all() -> None:
    assert sexes_in_cup(2, 3, 3, 3) == "1~♂, 1~♀"
    assert sexes_in_cup(4, 2, 5, 2) == "2~♂, 5~♀ in all 2 cups"


def test_contents_are_called_harmless_only_when_nothing_defends_itself() -> None:
    both = {"springtail", "isopod"}
    assert rules.contents_text(both, venomous=False, harmful=False) == "Live harmless isopods and springtails"
    assert rules.contents_text({"millipede"}, venomous=False, harmful=True) == "Live millipedes"
    assert rules.contents_text({"other"}, venomous=True, harmful=True) == "Live invertebrates, some of them VENOMOUS"
    assert rules.contents_text(set(), venomous=False, harmful=False) == "Live invertebrates"


def test_an_address_gets_its_name_once_and_no_empty_lines() -> None:
    assert rules.address_text("Ada Marsh", "ADA MARSH\n\n 1 Fern Lane \nTrenton") == "ADA MARSH\n1 Fern Lane\nTrenton"
    assert rules.address_text("Ada Marsh", "1 Fern Lane") == "Ada Marsh\n1 Fern Lane"
    assert rules.address_text("", "") == ""


def test_an_address_of_many_lines_keeps_all_its_words_on_few_lines() -> None:
    block = rules.address_text("", "\n".join(f"line {number}" for number in range(200)))
    assert block.count("\n") < rules.BLOCK_LINES
    assert block.replace("\n", ", ").split(", ") == [f"line {number}" for number in range(200)]


def test_tub_numbers_are_read_singly_and_in_runs_each_once() -> None:
    assert rules.numbers_in(" 3, 14,20-22,3 ,") == [3, 14, 20, 21, 22]
    assert rules.numbers_in("") == []


@pytest.mark.parametrize("typed", ["x", "1.5", "-3", "5-2", "1-2-3", "1-99999", "9" * 30, "²", "1;2"])
def test_what_is_no_tub_number_is_answered_with_a_sentence(typed: str) -> None:
    with pytest.raises(NothingToPrint, match=r"Write .*\."):
        rules.numbers_in(typed)


@pytest.mark.parametrize(
    ("asked", "allowed", "base"),
    [
        ("shelf.example:8000", [], "http://shelf.example:8000"),
        ("localhost:8000", ["localhost", "shelf.example"], "http://shelf.example:8000"),
        ("127.0.0.1", ["*", ".example.org", "shelf.example"], "http://shelf.example"),
        ("[::1]:8000", ["[::1]", "localhost"], ""),
        ("localhost:8000", ["*"], ""),
    ],
)
def test_a_square_code_opens_the_book_only_where_a_phone_can_reach_it(
    asked: str, allowed: list[str], base: str
) -> None:
    assert phone_address("http", asked, allowed) == base
