"""What follows from packs, prices and payments, without a database."""

from decimal import Decimal

import pytest

from breeder.orders.models import Offer, OrderLine
from breeder.orders.rules.money import Bill, bill_of, in_words, looks_like_card
from breeder.orders.rules.packs import (
    OfferFree,
    availability,
    both_sexes_said,
    faults_of_pack,
    filled_pack,
    leading,
    told,
    usual_overcount,
)
from breeder.species.models import Line, Species


@pytest.mark.parametrize(
    ("kind", "number", "on_top"),
    [("starter", 10, 2), ("starter", 5, 1), ("starter", 3, 1), ("starter", 20, 3), ("showing", 7, 2)]
    + [("cup", 1, 0), ("sexed", 2, 0)],
)
def test_15_percent_are_put_on_top_rounded_up_and_at_least_1(kind: str, number: int, on_top: int) -> None:
    """Common practice, no source: 10 to 20 % of a starter."""
    assert usual_overcount(kind, number) == on_top


def bill(**amounts: str) -> Bill:
    values = {"goods": "48.00", "postage": "9.50", "paid": "0"} | amounts
    return Bill(**{name: Decimal(amount) for name, amount in values.items()}, unpriced=0)


def test_a_bill_adds_up_to_the_cent_and_leaves_out_what_has_no_price() -> None:
    lines = [OrderLine(packs=3, price=Decimal("0.10")), OrderLine(packs=2, price=None), OrderLine(packs=0, price=None)]
    found = bill_of(lines, Decimal("0.20"), [Decimal("0.30"), Decimal("-0.10")])
    assert (found.total, found.due, found.unpriced) == (Decimal("0.50"), Decimal("0.30"), 1)
    assert not found.is_settled
    assert "one line that has no price yet" in in_words(found, "USD")


@pytest.mark.parametrize(
    ("paid", "said"),
    [
        ("0", "Nothing is paid yet"),
        ("57.50", "and that is paid"),
        ("7.50", "50.00 is open"),
        ("60", "2.50 more than that"),
    ],
)
def test_a_bill_says_what_is_open(paid: str, said: str) -> None:
    assert said in in_words(bill(paid=paid), "USD")


def test_the_word_for_availability_never_holds_a_number_and_a_frozen_line_offers_none() -> None:
    def word(packs: int, frozen: str = "") -> str:
        line = Line(form_name="Harbour", frozen_because=frozen)
        return availability(OfferFree(Offer(line=line), packs), 3).value

    words = ["none", "none", "few", "few", "available", "available"]
    assert [word(packs) for packs in (-1, 0, 1, 2, 3, 400)] == words
    assert word(400, "down to 31 adults") == "none"


def test_the_pack_with_most_to_give_leads_then_the_cheaper() -> None:
    dear, cheap, gone = (Offer(number=10, price=Decimal(price)) for price in ("30", "20", "5"))
    asked = [OfferFree(dear, 3), OfferFree(cheap, 3), OfferFree(gone, 0)]
    found = leading(asked)
    assert found is not None
    assert found.offer is cheap
    assert leading([]) is None


@pytest.mark.parametrize(
    ("numbers", "said"),
    [({}, "nothing is"), ({"young": 1}, "1 young is"), ({"young": 12, "cups": 1}, "12 young and 1 cup are")],
)
def test_numbers_by_stage_begin_a_sentence(numbers: dict[str, int], said: str) -> None:
    assert told(numbers) == said


def test_a_card_number_is_known_by_its_check_digit() -> None:
    """4111 1111 1111 1111 is the cards' own published test number; one digit off it is no card (from memory)."""
    assert looks_like_card("card 4111 1111 1111 1111")
    assert not looks_like_card("4111 1111 1111 1112")
    assert not looks_like_card("T9-2026-0034")


@pytest.mark.parametrize(
    ("values", "field", "said"),
    [
        ({"kind": "cup"}, "kind", "sold by the animal"),
        ({"kind": "showing"}, "kind", "shown by both sexes"),
        ({"number": None}, "number", "is empty"),
        ({"kind": "sexed", "males": 1, "females": 1, "number": 3}, "number", "1.1 is not 3 in all"),
        ({"overcount": 11}, "overcount", "more than the pack itself"),
    ],
)
def test_a_pack_that_cannot_be_is_explained(values: dict[str, object], field: str, said: str) -> None:
    from breeder.species.models import Line, Species

    line = Line(species=Species(scientific_name="Porcellio scaber"), form_name="Rook")
    given = {"line": line, "kind": "starter", "number": 10, "overcount": 2} | values
    faults = dict(faults_of_pack(given | filled_pack(given)))
    assert said in faults[field]


def test_a_pair_needs_no_number_of_its_own() -> None:
    assert filled_pack({"kind": "cup"})["number"] == 1
    filled = filled_pack({"kind": "sexed", "males": 1, "females": 1})
    assert (filled["number"], filled["stage"], filled["overcount"]) == (2, "adults", 0)


@pytest.mark.parametrize(
    ("number", "share", "said"),
    [
        (10, "0.5", "both sexes in 99.8% of them"),
        (5, "0.5", "both sexes in 93.8% of them; 6 animals would make it 95%"),
        (10, "0.8", "both sexes in 89.3% of them; 14 animals would make it 95%"),
        (12, "0.5", "both sexes in over 99.9% of them"),
        (10, "1", ""),
    ],
)
def test_a_starter_says_how_surely_it_holds_both_sexes(number: int, share: str, said: str) -> None:
    """1 − sᵏ − (1 − s)ᵏ (computed)."""
    of = Line(species=Species(share_female=Decimal(share)))
    assert both_sexes_said(Offer(line=of, kind=Offer.Kind.STARTER, number=number)) == said
    assert both_sexes_said(Offer(line=of, kind=Offer.Kind.SEXED, number=2, males=1, females=1)) == ""
    clonal = Line(species=Species(reproduction=Species.Reproduction.CLONAL))
    assert both_sexes_said(Offer(line=clonal, kind=Offer.Kind.STARTER, number=number)) == ""
