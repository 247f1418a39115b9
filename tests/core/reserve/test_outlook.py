"""Advice on a line: sentences that give their numbers."""

from typing import Any

import pytest

from breeder.core.reserve.advice import KnownBreeders, outlook_text, size_sure_unsexed, too_few_tubs_text
from breeder.core.reserve.breeding_minimum import (
    Advice,
    KnownSexes,
    Minimum,
    binding_minimum,
    sexed_sale,
    size_of_minimum,
)
from breeder.core.reserve.effective_size import chance_of_size

DAYS = 245  # a generation of A. vulgare: its life table, University of Houston thesis


def minimum(share: float = 0.3, binds: bool = False, **values: Any) -> Minimum:
    return binding_minimum(20, advice=Advice(DAYS, effective_share=share, binds=binds), **values)


def kept(adults: int = 60, males: int | None = 20, females: int | None = 30, **values: Any) -> KnownBreeders:
    return KnownBreeders(adults, males, females, generation_days=DAYS, **values)


def test_the_sexes_known_are_an_effective_size_and_a_rise_of_inbreeding() -> None:
    """4·20·30/50 = 48 (Wright 1931), 14.4 at 30 %; 1/(2·14.4) = 3.5 % a generation, · 365.25/245 = 5.2 % a year."""
    sentences = outlook_text(kept(), minimum())
    assert sentences == (
        "60 adults are sure, 63 fewer than that.",
        "20 males and 30 females are known to be there: an effective size of 48.0 if all breed, 14.4 if 30% of them "
        "count. Inbreeding then rises by 3.5% a generation, 5.2% a year.",
        "With 20 males no number of females reaches the size advised: that takes 30 males or more.",
    )


def test_the_rarer_sex_is_named_and_how_many_of_the_other_it_takes() -> None:
    """Ne 35.62 with 10 males takes 35.62·10/(40 − 35.62) = 81.4 females; with 8 of them none do."""
    size = minimum(1.0)
    (advised,) = [
        text for text in outlook_text(kept(males=10, females=30, effective_share=1.0), size) if "takes" in text
    ]
    assert advised == "With 10 males it takes 82 females to reach the size advised; 30 are known."
    (advised,) = [
        text for text in outlook_text(kept(males=30, females=8, effective_share=1.0), size) if "takes" in text
    ]
    assert advised == "With 8 females no number of males reaches the size advised: that takes 9 females or more."
    assert not [text for text in outlook_text(kept(males=18, females=18, effective_share=1.0), size) if "takes" in text]


def test_a_sex_that_is_not_known_to_be_there_leaves_no_size() -> None:
    assert "so no effective size is sure. Look for males" in " ".join(outlook_text(kept(males=0), minimum()))
    assert "Look for females" in " ".join(outlook_text(kept(females=0), minimum()))


@pytest.mark.parametrize(("animals", "size"), [(15, 10), (25, 20), (54, 50), (104, 100)])
def test_unsexed_adults_are_as_sure_of_a_size_as_the_number_that_it_takes(animals: int, size: int) -> None:
    """The inverse of the binomial draw: 54 unsexed adults give an effective size of 50 (computed)."""
    sure = size_sure_unsexed(animals, 0.5)
    assert size <= sure < size + 2
    assert chance_of_size(animals, sure, 0.5) >= 0.95 > chance_of_size(animals, sure + 1e-6, 0.5)


def test_sexes_that_were_never_counted_are_named_as_such() -> None:
    sentences = outlook_text(kept(adults=54, males=None, females=None, effective_share=1.0), minimum(1.0))
    assert any(
        sentence.startswith("The sexes were never counted. Of 54 adults an effective size of 50.")
        for sentence in sentences
    )
    assert size_sure_unsexed(1, 0.5) == 0.0


def test_a_form_that_only_females_show_keeps_its_plain_males_by_origin() -> None:
    """20 adults that stay have an effective size of 20; with 14 females that takes 20·14/(56 − 20) = 7.8 males."""
    sentences = outlook_text(kept(males=6, females=14, shown_by="females"), minimum())
    assert (
        "Only females show the form. Its males look plain and carry it: they stay by the tub they come from. "
        "8 males of its own go with 14 females for an effective size of 20." in sentences
    )
    assert "A share that shows the form is a share of the grown females, never of all." in sentences
    assert not [sentence for sentence in outlook_text(kept(), minimum()) if "form" in sentence]


def test_clonal_lines_and_hermaphrodites_get_no_advice_on_sexes() -> None:
    for way in ("clonal", "hermaphrodite"):
        sentences = outlook_text(kept(reproduction=way, shown_by="females"), minimum(reproduction=way))
        assert not [sentence for sentence in sentences if "males" in sentence or "inbreeding" in sentence.lower()]
    assert "A clonal line has no inbreeding" in minimum(reproduction="clonal").advice[0]


@pytest.mark.parametrize(
    ("tubs", "irreplaceable", "ending"),
    [(1, True, "Split it: one crash would end it."), (0, True, "Start one."), (2, True, ""), (1, False, "")],
)
def test_a_line_that_cannot_be_bought_again_needs_more_than_one_tub(
    tubs: int, irreplaceable: bool, ending: str
) -> None:
    warning = too_few_tubs_text(tubs, irreplaceable=irreplaceable)
    assert bool(warning) == bool(ending)
    assert warning.endswith(ending)


def test_without_a_generation_time_there_is_no_genetic_number_and_it_cannot_bind() -> None:
    undated = binding_minimum(20, advice=Advice(None, binds=True))
    assert (undated.number, undated.advised, undated.size_needed) == (20, None, None)
    assert "The generation time is not in the book" in undated.advice[0]
    assert not [sentence for sentence in outlook_text(kept(), undated) if "fewer" in sentence]


def test_the_genetic_number_binds_where_the_keeper_says_so() -> None:
    """Ne 35.62/0.3 = 118.7, 95 % sure without looking at the sexes: 123 adults (computed)."""
    assert minimum().advised == minimum(binds=True).number == 123
    assert minimum(binds=True).rule == "genetic"


@pytest.mark.parametrize(
    ("number", "share", "size"), [(20, 0.5, 20), (20, 0.75, 15), (30, 0.5, 30), (20, 1.0, 0), (0, 0.5, 0)]
)
def test_the_adults_that_stay_are_an_effective_size_at_their_usual_sexes(
    number: int, share: float, size: float
) -> None:
    """4·s·(1 − s)·N (Wright 1931)."""
    assert size_of_minimum(number, share) == pytest.approx(size)
    assert size_of_minimum(number, share, "clonal") == 0


def test_a_sexed_sale_leaves_the_size_of_what_stays_and_unsexed_adults_count_by_their_share() -> None:
    """10.30 is 30; without 5 males 5.30 is 17.1, under 20; 20 more of unknown sex make it 15.40, so 43.6."""
    known, sold = KnownSexes(10, 30), KnownSexes(5, 0)
    refused = sexed_sale(known, sold, size_kept=20)
    assert not refused.allowed
    assert refused.size_left == pytest.approx(17.142857)
    assert "5 males and 30 females would be left, an effective size of 17.1; 20.0 must stay" in refused.why[0]
    allowed = sexed_sale(known, sold, size_kept=20, unsexed=20)
    assert allowed.allowed
    assert allowed.size_left == pytest.approx(43.636364)
    still = sexed_sale(KnownSexes(4, 4), KnownSexes(2, 0), size_kept=20, unsexed=40)
    assert "Only 1 male can be spared" in still.why[0]  # animals of unknown sex never count as males
