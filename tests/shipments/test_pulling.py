"""Which tubs a promise is pulled from: a named tub, else the fewest tubs that safely hold it."""

from itertools import combinations
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breeder.cultures.line_stock import TubStock
from breeder.shipments.rules.box_rules import TubPull, pull_from_tubs


def tub(culture_id: int, free: int, lower: int, *, gives: bool = True) -> TubStock:
    return TubStock(
        culture_id, culture_id, "breeding", lower, lower, 0, free, None, False, None, None, gives, free_alone=free
    )


def promise(number: int, *, culture_id: int | None = None, males: int = 0, females: int = 0) -> Any:
    return SimpleNamespace(number=number, culture_id=culture_id, males=males, females=females)


def test_the_tub_with_the_most_to_spare_is_pulled_from_first() -> None:
    assert pull_from_tubs(promise(12), [tub(1, 5, 40), tub(2, 30, 50)]) == [TubPull(2, 12)]
    assert pull_from_tubs(promise(60), [tub(1, 5, 40), tub(2, 30, 50), tub(3, 10, 45)]) == [
        TubPull(2, 50),
        TubPull(3, 10),
    ]


def test_36_young_come_out_of_one_tub_that_safely_holds_them() -> None:
    """The tub's even share of what stays is no limit: the line keeps as many, wherever they sit."""
    assert pull_from_tubs(promise(36), [tub(1, 35, 70), tub(2, 34, 71)]) == [TubPull(1, 36)]
    assert pull_from_tubs(promise(36), [tub(1, 35, 35), tub(2, 5, 71), tub(3, 20, 60)]) == [TubPull(3, 36)]


def test_a_named_tub_is_respected() -> None:
    assert pull_from_tubs(promise(12, culture_id=1), [tub(1, 0, 40), tub(2, 30, 50)]) == [TubPull(1, 12)]


def test_tubs_that_give_nothing_are_left_alone() -> None:
    assert pull_from_tubs(promise(12), [tub(1, 0, 90, gives=False), tub(2, 0, 20)]) == [TubPull(2, 12)]


def test_what_no_tub_can_spare_is_still_planned_from_the_fullest() -> None:
    assert pull_from_tubs(promise(60), [tub(1, 0, 20), tub(2, 0, 30)]) == [TubPull(2, 40), TubPull(1, 20)]
    assert pull_from_tubs(promise(4), []) == [TubPull(None, 4)]


def test_the_sexes_go_with_the_first_animals() -> None:
    pulls = pull_from_tubs(promise(6, males=2, females=3), [tub(1, 4, 9), tub(2, 2, 9)])
    assert pulls == [TubPull(1, 6, 2, 3)]
    pulls = pull_from_tubs(promise(12, males=2, females=8), [tub(1, 4, 9), tub(2, 2, 9)])
    assert pulls == [TubPull(1, 9, 2, 7), TubPull(2, 3, 0, 1)]


@given(
    st.integers(1, 400),
    st.lists(st.tuples(st.integers(0, 90), st.integers(0, 200)), max_size=6),
    st.integers(0, 20),
)
def test_a_plan_always_holds_exactly_what_was_promised(number: int, sizes: list[tuple[int, int]], males: int) -> None:
    males = min(males, number)
    tubs = [tub(place + 1, min(free, lower), lower) for place, (free, lower) in enumerate(sizes)]
    pulls = pull_from_tubs(promise(number, males=males), tubs)
    assert sum(pull.number for pull in pulls) == number
    assert sum(pull.males for pull in pulls) == males
    assert all(pull.number > 0 for pull in pulls)
    assert len({pull.culture_id for pull in pulls}) == len(pulls)


@pytest.mark.parametrize("wanted", [1, 30])
def test_one_tub_is_enough_where_it_has_enough(wanted: int) -> None:
    assert len(pull_from_tubs(promise(wanted), [tub(1, 30, 60), tub(2, 29, 60)])) == 1


@given(st.integers(1, 250), st.lists(st.tuples(st.integers(0, 60), st.integers(0, 90)), min_size=1, max_size=6))
def test_no_fewer_tubs_could_safely_give_it(wanted: int, sizes: list[tuple[int, int]]) -> None:
    """Checked against every choice of fewer tubs, by brute force."""
    tubs = [tub(place + 1, min(free, lower), lower) for place, (free, lower) in enumerate(sizes)]
    pulls = pull_from_tubs(promise(wanted), tubs)
    lower = {tub.culture_id: tub.lower for tub in tubs}
    if sum(lower.values()) < wanted:
        return
    assert all(pull.number <= lower[pull.culture_id] for pull in pulls)
    assert not any(sum(few) >= wanted for few in combinations(lower.values(), len(pulls) - 1))
