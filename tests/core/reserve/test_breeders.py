"""The breeding minimum, its advice, and what a sexed sale must leave."""

import pytest

from breeder.core.reserve.allele_retention import animals_needed_for_allele, chance_copy_kept, drift_apart
from breeder.core.reserve.breeding_minimum import (
    Advice,
    KnownSexes,
    binding_minimum,
    breeders_needed,
    plain_males_needed,
    sexed_sale,
    share_showing,
)
from breeder.core.reserve.effective_size import (
    animals_needed_unsexed,
    chance_of_size,
    effective_size,
    effective_size_of_families,
    effective_size_one_sex_haploid,
    effective_size_over_time,
    effective_size_selfing,
    inbreeding_per_generation,
    inbreeding_per_year,
    partners_needed,
)
from breeder.core.reserve.starters import (
    animals_needed_for_each,
    chance_enough_alive,
    chance_of_both_sexes,
    chance_of_each,
    starter_needed,
)

ADVICE = Advice(generation_days=245)


def test_a_missing_sex_leaves_no_effective_size() -> None:
    assert effective_size(0, 9) == effective_size(9, 0) == 0
    assert inbreeding_per_generation(0) is None
    assert inbreeding_per_year(0, 245) is None
    assert inbreeding_per_year(50, 245) == pytest.approx(0.01 * 365.25 / 245)


def test_one_empty_generation_ends_the_line() -> None:
    assert effective_size_over_time([100, 0, 100]) == 0
    assert effective_size_over_time([]) == 0


def test_selfing_lowers_the_effective_size() -> None:
    assert effective_size_selfing(30, 0) == 30
    assert effective_size_selfing(30, 1) == pytest.approx(15)


def test_too_few_of_one_sex_cannot_be_made_up_by_the_other() -> None:
    assert partners_needed(12, 50) is None
    assert partners_needed(13, 50) == 325
    assert effective_size(13, 325) == pytest.approx(50)


def test_unsexed_breeders_are_the_fewest_that_are_sure_enough() -> None:
    for size in range(2, 120, 7):
        for share in (0.5, 0.3, 0.1):
            needed = animals_needed_unsexed(size, share)
            assert chance_of_size(needed, size, share) >= 0.95
            assert all(chance_of_size(n, size, share) < 0.95 for n in range(max(2, size), needed))


def test_breeders_needed_by_way_of_reproduction() -> None:
    assert breeders_needed(36, sexed=True) == 36
    assert breeders_needed(36) == 40
    assert breeders_needed(36, 0.3, sexed=True) == 120
    assert breeders_needed(36, 1.0, 0.25) == 65
    assert breeders_needed(36, 0.3, reproduction="hermaphrodite") == 120
    assert breeders_needed(36, reproduction="clonal") is None
    for share in (0.0, 1.0):
        with pytest.raises(ValueError, match="one sex is missing"):
            breeders_needed(36, 1.0, share)


def test_the_keepers_number_binds_and_genetics_advises() -> None:
    minimum = binding_minimum(advice=ADVICE)
    assert (minimum.number, minimum.rule, minimum.each_sex) == (20, "keeper", 3)
    assert minimum.advised == breeders_needed(35.62475917, 0.3) == 123
    assert "35.6, so 123 adults" in minimum.advice[0]
    assert minimum.advice[1].startswith("30 breeders keep an allele")


def test_what_cannot_be_bought_again_keeps_thirty() -> None:
    assert binding_minimum(irreplaceable=True).number == 30
    assert binding_minimum(25, irreplaceable=True).number == 25


def test_genetics_binds_where_the_keeper_says_so() -> None:
    minimum = binding_minimum(advice=Advice(245, binds=True))
    assert (minimum.number, minimum.rule) == (123, "genetic")


def test_a_low_keepers_number_is_held_up_by_the_sexes_and_bad_luck() -> None:
    assert (binding_minimum(2).number, binding_minimum(2).rule) == (10, "demographic")
    assert binding_minimum(2, each_sex=5).rule == "sexes"
    assert binding_minimum(2, share_female=0.25).number == 21


def test_clonal_and_hermaphrodite_lines_skip_the_sexes() -> None:
    clonal = binding_minimum(2, reproduction="clonal", advice=ADVICE)
    assert (clonal.number, clonal.each_sex, clonal.advised) == (4, 0, None)
    assert "no inbreeding" in clonal.advice[0]
    snails = binding_minimum(2, reproduction="hermaphrodite", advice=ADVICE)
    assert (snails.each_sex, snails.advised) == (0, 119)


def test_an_all_female_line_of_two_sexes_has_no_genetic_number() -> None:
    minimum = binding_minimum(share_female=1.0, advice=ADVICE)
    assert minimum.advised is None
    assert "one sex is missing" in minimum.advice[0]


def test_a_sexed_sale_is_judged_on_what_is_left() -> None:
    assert sexed_sale(KnownSexes(5, 20), KnownSexes(2, 0)).allowed
    refused = sexed_sale(KnownSexes(5, 20), KnownSexes(3, 0))
    assert not refused.allowed
    assert refused.why == ("Only 2 males can be spared: 5 known to be there and not promised, 3 kept back.",)
    assert not sexed_sale(KnownSexes(5, 20), KnownSexes(1, 0), promised=KnownSexes(2, 0)).allowed


def test_where_a_sex_is_short_already_nothing_is_sold_by_sex() -> None:
    refused = sexed_sale(KnownSexes(2, 20), KnownSexes(0, 5))
    assert not refused.allowed
    assert "Sex more animals" in refused.why[0]


def test_a_sexed_sale_leaves_the_effective_size() -> None:
    left = sexed_sale(KnownSexes(10, 30), KnownSexes(4, 0), size_kept=20)
    assert left.size_left == pytest.approx(4 * 6 * 30 / 36)
    assert left.allowed
    refused = sexed_sale(KnownSexes(10, 30), KnownSexes(5, 0), size_kept=20)
    assert not refused.allowed
    assert "effective size of 17.1; 20.0 must stay" in refused.why[0]


def test_clonal_lines_are_sold_without_asking_for_males() -> None:
    assert sexed_sale(KnownSexes(0, 9), KnownSexes(0, 4), reproduction="clonal").allowed
    assert not sexed_sale(KnownSexes(0, 9), KnownSexes(0, 10), reproduction="clonal").allowed


def test_a_form_that_only_females_show_keeps_its_males_by_origin() -> None:
    refused = sexed_sale(KnownSexes(4, 30), KnownSexes(2, 0), shown_by="females")
    assert "by origin, never by looks" in refused.why[1]
    assert len(sexed_sale(KnownSexes(30, 4), KnownSexes(0, 2), shown_by="females").why) == 1
    assert plain_males_needed(30, 36) == 13
    assert effective_size(13, 30) >= 36 > effective_size(12, 30)
    assert plain_males_needed(9, 36) is None


def test_the_share_that_shows_a_form_is_over_scorable_animals_only() -> None:
    # 60 showing females, no plain female, 55 males that cannot show it: a pure line.
    assert share_showing(60, 60) == 1
    assert (share_showing(1, 1), share_showing(0, 0)) == (1, None)


def test_advice_looks_five_years_ahead_at_a_tenth_of_inbreeding() -> None:
    # Judgment, no source; the allele frequency after Marshall & Brown 1975.
    assert Advice(245) == Advice(245, 0.10, 5.0, 0.05, 0.3, 0.95)


def test_a_sale_of_more_than_is_there_leaves_nothing() -> None:
    refused = sexed_sale(KnownSexes(2, 9), KnownSexes(3, 0))
    assert (refused.allowed, refused.size_left) == (False, 0)
    assert sexed_sale(KnownSexes(9, 2), KnownSexes(0, 3)).size_left == 0
    assert "No males" in sexed_sale(KnownSexes(3, 20), KnownSexes(1, 0)).why[0]


def test_a_sale_may_leave_exactly_what_must_stay() -> None:
    assert sexed_sale(KnownSexes(26, 25), KnownSexes(1, 0), size_kept=50).allowed
    assert not sexed_sale(KnownSexes(26, 25), KnownSexes(1, 0), size_kept=50.001).allowed
    assert sexed_sale(KnownSexes(1, 1), KnownSexes(0, 1), each_sex=0).allowed
    assert sexed_sale(KnownSexes(0, 9), KnownSexes(0, 9), reproduction="clonal").allowed
    assert sexed_sale(KnownSexes(1, 9), KnownSexes(1, 9), reproduction="hermaphrodite").allowed
    assert not sexed_sale(KnownSexes(0, 9), KnownSexes(1, 0), reproduction="hermaphrodite").allowed


def test_a_line_may_keep_nothing_where_the_keeper_wants_it_so() -> None:
    assert binding_minimum(0, each_sex=0, share_female=0.0).number == 0
    assert binding_minimum(10, each_sex=5).rule == "keeper"


def test_effective_sizes_at_their_edges() -> None:
    assert effective_size_of_families(0.4, 2) == 0
    assert effective_size_one_sex_haploid(0, 9) == effective_size_one_sex_haploid(9, 0) == 0
    assert effective_size_over_time([1, 1]) == 1
    assert inbreeding_per_generation(0.5) == 1
    assert partners_needed(100, 2) == 1
    assert animals_needed_unsexed(1, 0.5, 0.5) == 2
    assert (chance_of_size(10, 50, 0.5), chance_of_size(50, 50.1, 0.5), chance_of_size(51, 50.99, 0.5)) == (0, 0, 0)
    assert chance_of_size(50, 50, 0.5) == pytest.approx(0.1122752)


def test_one_breeder_keeps_an_allele_that_everybody_has() -> None:
    assert animals_needed_for_allele(0.9, 0.5) == 1


def test_few_tubs_drift_apart_less() -> None:
    assert drift_apart(1, 3) == pytest.approx(1 / 9)


def test_starters_at_their_edges() -> None:
    assert chance_of_both_sexes(10, 0.5) == pytest.approx(1 - 2 * 0.5**10)
    assert (chance_of_both_sexes(0, 0.5), chance_of_both_sexes(1, 0.5)) == (0, 0)
    assert (starter_needed(0.75, 0.95), starter_needed(0.5, 0.5), animals_needed_for_each(0, 0, 0.5)) == (11, 2, 1)
    assert chance_of_each(5, 0, 1, 0.5) == pytest.approx(1 - 0.5**5)
    assert (chance_enough_alive(3, 0, 0.5), chance_enough_alive(3, 1, 0.5)) == (1, pytest.approx(1 - 0.5**3))


def test_chances_of_each_sex() -> None:
    assert chance_of_each(10, 1, 1, 0.5) == pytest.approx(1 - 2 * 0.5**10)
    assert chance_of_each(3, 2, 2, 0.5) == 0
    assert chance_copy_kept(5) == 1 - 1 / 32
    with pytest.raises(ValueError, match="one sex is missing"):
        starter_needed(1.0)
    with pytest.raises(ValueError, match="large enough"):
        animals_needed_for_each(1, 1, 1.0)
