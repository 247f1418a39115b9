"""What may be promised, to the animal: the formulas of line and tub, shortness, harvest, and purposes."""

import pytest

from breeder.core.reserve.defaults import ADULTS_KEPT, ADULTS_KEPT_IRREPLACEABLE, EACH_SEX_KEPT, HARVEST_SHARE
from breeder.core.reserve.surplus import (
    Free,
    StageHoldings,
    TubStage,
    harvest_left,
    line_free,
    most_promised,
    share_kept,
    spare_above,
    stage_free,
    tub_free,
)


def tub(number: int, lower: int, purpose: str = "breeding", **values: int | bool) -> TubStage:
    return TubStage(number, purpose, lower, **values)  # type: ignore[arg-type]


def test_the_keepers_defaults() -> None:
    # Common practice, no source.
    assert (ADULTS_KEPT, ADULTS_KEPT_IRREPLACEABLE, EACH_SEX_KEPT, HARVEST_SHARE) == (20, 30, 3, 0.30)


@pytest.mark.parametrize(
    ("lower", "kept", "promised", "loss", "free", "short"),
    [
        (46, 30, 4, 0.0, 12, 0),
        (46, 30, 16, 0.0, 0, 0),
        (46, 30, 17, 0.0, 0, 1),
        (25, 30, 4, 0.0, 0, 4),
        (25, 30, 0, 0.0, 0, 0),
        (130, 30, 0, 0.1, 90, 0),
        (200, 50, 0, 0.1, 135, 0),
        (200, 50, 40, 0.1, 95, 0),  # the loss comes off what goes, promised or not: 135 − 40
        (129, 30, 0, 0.1, 89, 0),  # 89.1 whole animals
        (100, 30, 0, 0.3, 49, 0),  # 48.99999999999999 in binary fractions
        (0, 0, 0, 0.0, 0, 0),
    ],
)
def test_line_free(lower: int, kept: int, promised: int, loss: float, free: int, short: int) -> None:
    surplus = line_free(lower, kept, promised, loss)
    assert (surplus.number, surplus.short) == (free, short)
    assert (surplus.lower, surplus.kept_back, surplus.promised) == (lower, kept, promised)


def test_the_reasons_carry_the_numbers() -> None:
    why = line_free(46, 30, 20, 0.1, may_go=3).why
    assert why[0] == "46 at least, 30 kept back, 20 promised: 0 to spare."
    assert "Short by 4" in why[-1]
    assert "10%" in line_free(130, 30, 0, 0.1).why[1]
    assert line_free(130, 30, 2, may_go=12).why[1].startswith("Until the next count 12 may be taken")
    assert line_free(130, 30, 2, may_go=-3).why[1].startswith("Until the next count 0 may be taken")


def test_a_tub_keeps_its_share_of_what_the_line_keeps() -> None:
    assert share_kept(50, 3, True) == 17
    assert share_kept(51, 3, True) == 17
    assert share_kept(50, 3, False) == 0
    assert share_kept(50, 0, True) == 0
    assert tub_free(46, 50, 3, 4).number == 46 - 17 - 4
    assert tub_free(46, 50, 3, 4, is_breeding=False).number == 42
    assert tub_free(46, 50, 3, 4, 0.2).number == 23 - 4


def test_a_promise_takes_the_smaller_of_line_and_tub() -> None:
    line, named = Free(12, 0, 46, 30, 4), Free(9, 0, 20, 10, 1)
    assert (most_promised(line), most_promised(line, named)) == (12, 9)
    assert most_promised(Free(5, 0, 46, 30, 4), named) == 5


def test_only_breeding_and_growing_tubs_give_surplus() -> None:
    purposes = ("breeding", "growing", "quarantine", "isolation", "mixed", "show")
    tubs = tuple(tub(n, 100, purpose) for n, purpose in enumerate(purposes))
    line, by_tub = stage_free(StageHoldings("adults", tubs, 50, 0))
    assert (line.lower, line.number) == (200, 150)
    assert [by_tub[n].number for n in range(6)] == [50, 100, 0, 0, 0, 0]
    assert (by_tub[2].lower, by_tub[2].kept_back, by_tub[2].short) == (0, 0, 0)
    assert "Tub 2 is a quarantine tub" in by_tub[2].why[0]
    assert "Tub 3 is an isolation tub" in by_tub[3].why[0]


def test_a_stale_tub_gives_nothing_and_says_so() -> None:
    line, by_tub = stage_free(StageHoldings("adults", (tub(1, 80), tub(2, 90, stale=True)), 20, 0))
    assert (line.lower, line.number, by_tub[2].number) == (80, 60, 0)
    assert any("too old" in reason for reason in line.why)


def test_only_breeding_tubs_count_as_breeders() -> None:
    stock = StageHoldings("adults", (tub(1, 15), tub(2, 90, "growing")), 20, 0)
    line, _ = stage_free(stock)
    assert (stock.breeders, stock.breeding_tubs, line.number) == (15, 1, 85)
    assert any("15 breeders at least" in reason for reason in line.why)
    assert not any("breeders" in reason for reason in stage_free(StageHoldings("young", stock.tubs, 20, 0))[0].why)


def test_promises_that_name_a_tub_bind_it_and_the_line() -> None:
    stock = StageHoldings("adults", (tub(1, 60, promised=10), tub(2, 60)), 40, 25)
    line, by_tub = stage_free(stock)
    assert (line.number, by_tub[1].number, by_tub[2].number) == (55, 30, 40)


def test_lower_200_with_50_kept_and_a_tenth_lost_sells_135_and_stops_however_often_it_is_asked_and_packed() -> None:
    """Before, the loss came off what was left after packing, so that asking again and again sold 149."""
    for step in (1, 7, 50, 135):
        gone = 0
        while number := min(step, line_free(200 - gone, 50, 0, 0.1, taken=gone).number):
            gone += number
        assert gone == 135


@pytest.mark.parametrize("taken", [0, 1, 13, 40])
@pytest.mark.parametrize("loss", [0.05, 0.1, 1 / 3])
def test_what_returns_or_was_taken_by_share_spares_no_more_than_is_there(taken: int, loss: float) -> None:
    assert spare_above(100, 30, taken, loss) <= 70
    assert spare_above(100, 30, -taken, loss) <= 70
    # A returned animal has been handled already: it may go again whole.
    assert spare_above(100 + taken, 30, -taken, loss) == spare_above(100, 30, 0, loss) + taken
    assert spare_above(10, 50, -45, loss) <= -40


def test_a_tub_without_a_count_may_give_its_share_of_what_was_put_in() -> None:
    assert harvest_left([tub(1, 50)], 1.0) == 0
    assert harvest_left([tub(1, 14, added=14)], 0.30) == 4
    assert harvest_left([tub(1, 14, added=14)], None) is None


def test_young_go_by_share_between_counts() -> None:
    stock = StageHoldings("young", (tub(1, 88, at_count=100, taken=12),), 20, 5, harvest_share=0.30)
    line, by_tub = stage_free(stock)
    assert (line.may_go, line.spare) == (30 - 12, 68)
    assert line.number == 18 - 5
    assert by_tub[1].number == 18
    assert line.short == 0


def test_the_share_is_one_of_the_animals_likely_there_not_of_the_bound() -> None:
    """On the bound, 30 % of 158 likely young was 22 of them, 14 % (design; own arithmetic)."""
    stock = StageHoldings("young", (tub(1, 75, at_count=158.1),), 0, 0, harvest_share=0.30)
    assert stage_free(stock)[0].number == 47


def test_additions_raise_and_deaths_lower_the_base_of_the_harvest_share() -> None:
    assert harvest_left([tub(1, 0, at_count=100, added=20)], 0.30) == 36
    assert harvest_left([tub(1, 0, at_count=100, added=-40)], 0.30) == 18
    assert harvest_left([tub(1, 0, at_count=10, added=-40)], 1.0) == 0
    assert harvest_left([tub(1, 0, "mixed", at_count=100)], 0.30) == 0


def test_a_tub_harvested_beyond_its_share_counts_against_the_others() -> None:
    tubs = (tub(1, 70, at_count=100, taken=30), tub(2, 60, at_count=100, taken=40))
    line, _ = stage_free(StageHoldings("young", tubs, 0, 0, harvest_share=0.30))
    assert line.number == 0
