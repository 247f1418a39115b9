"""Facts are never refused, and the answer says what they break."""

import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from breeder.cultures import actions, queries
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Belief, Culture, Entry
from breeder.species.models import Line
from tests.build import line, tub
from tests.cultures.book import lower, promise

pytestmark = pytest.mark.django_db


def with_young(keeper: User, number: int, **values: object) -> Culture:
    culture = tub(line(values.pop("form", "Harbour"), **{"young_kept": 30, "harvest_share": None} | values))
    actions.record_count(culture.pk, "young", "hand", {"counted": number}, by=keeper)
    return culture


def test_a_death_that_uncovers_promises_is_recorded_and_says_by_how_many(keeper: User) -> None:
    culture = with_young(keeper, 46)
    promise(culture.line_id, 10)
    recorded = actions.record_change(culture.pk, "young", 12, "died", by=keeper)
    assert recorded.entry.number == -12
    assert recorded.breaks == (
        "Armadillidium vulgare ‘Harbour’ is short by 6 young: 10 promised, 34 there at least, 30 kept back. "
        "It takes no new promise; its page shows who would wait.",
    )
    stock = queries.stock_of(culture.line_id).stages["young"]
    assert (stock.free, stock.short, stock.stays, stock.promised) == (0, 6, 30, 10)


def test_a_fall_below_the_minimum_is_said(keeper: User) -> None:
    culture = with_young(keeper, 40)
    recorded = actions.record_change(culture.pk, "young", 15, "died", by=keeper)
    assert recorded.breaks == (
        "Armadillidium vulgare ‘Harbour’ is below its minimum: 25 young at least, 30 must stay. "
        "Nothing more is sold of it until a count shows more.",
    )
    assert actions.record_change(culture.pk, "young", 1, "received", by=keeper).breaks == ()


def test_more_deaths_than_the_book_knows_of_are_recorded(keeper: User) -> None:
    culture = with_young(keeper, 10)
    recorded = actions.record_change(culture.pk, "young", 25, "died", by=keeper)
    assert recorded.breaks[0] == (
        f"The book knew of about 10 young in tub {culture.number}, and 25 left it. Count the tub, or take the entry "
        "back under ‘Wrong?’ if it was a slip."
    )
    assert lower(culture) == 0
    assert Belief.objects.get(culture=culture).moved == -25


@pytest.mark.parametrize(
    ("number", "reason", "says"),
    [
        (0, "died", "at least 1"),
        (-4, "died", "at least 1"),
        (2.5, "died", "not a whole number"),
        (5_000_000, "received", "more than one tub can hold"),
        (3, "eaten", "not a reason"),
        (3, "packed", "not a reason"),
    ],
)
def test_an_absurd_change_is_refused_in_a_sentence(keeper: User, number: int, reason: str, says: str) -> None:
    with pytest.raises(BadFact) as refused:
        actions.record_change(tub().pk, "young", number, reason, by=keeper)
    assert says in " ".join(refused.value.messages)
    assert not Entry.objects.exists()


def test_more_of_the_sexes_than_in_all_is_refused(keeper: User) -> None:
    with pytest.raises(BadFact, match="3 males and 4 females are more than the 5"):
        actions.record_change(tub().pk, "adults", 5, "died", males=3, females=4, by=keeper)


def test_a_move_is_written_on_both_sides_and_keeps_the_sum(keeper: User) -> None:
    first = with_young(keeper, 40)
    second = tub(first.line)
    recorded = actions.move_animals(first.pk, second.pk, "young", 15, by=keeper)
    inside = Entry.objects.get(other_side=recorded.entry)
    assert (recorded.entry.number, inside.number, inside.culture) == (-15, 15, second)
    assert (lower(first), lower(second)) == (25, 15)
    assert recorded.breaks == ()


def test_animals_of_another_line_are_recorded_and_the_answer_says_so(keeper: User) -> None:
    first = with_young(keeper, 40)
    other = tub(line("Slate"))
    (said,) = actions.move_animals(first.pk, other.pk, "young", 2, by=keeper).breaks
    assert f"Tub {other.number} of Armadillidium vulgare ‘Slate’ now holds animals of" in said
    mixed = tub(first.line, purpose="mixed")
    assert actions.move_animals(first.pk, mixed.pk, "young", 2, by=keeper).breaks == ()
    (said,) = actions.move_animals(mixed.pk, first.pk, "young", 1, by=keeper).breaks
    assert "animals of a mixed tub" in said


def test_a_move_into_itself_or_a_tub_that_is_not_there_is_refused(keeper: User) -> None:
    culture = tub()
    with pytest.raises(BadFact, match="Choose another tub"):
        actions.move_animals(culture.pk, culture.pk, "young", 2, by=keeper)
    with pytest.raises(BadFact, match="not in the book"):
        actions.move_animals(culture.pk, 10**6, "young", 2, by=keeper)


def test_only_tubs_that_breed_or_grow_give_surplus(keeper: User) -> None:
    of = line(young_kept=0, harvest_share=None)
    for purpose in Culture.Purpose.values:
        culture = tub(of, purpose=purpose)
        actions.record_count(culture.pk, "young", "hand", {"counted": 10}, by=keeper)
    stock = queries.stock_of(of.pk).stages["young"]
    assert (stock.lower, stock.free) == (20, 20)
    assert {one.purpose for one in stock.tubs if one.free} == {"breeding", "growing"}


def test_a_promise_that_names_a_tub_is_held_by_the_smaller_of_line_and_tub(keeper: User) -> None:
    first = with_young(keeper, 40)
    second = tub(first.line)
    actions.record_count(second.pk, "young", "hand", {"counted": 20}, by=keeper)
    stock = queries.stock_of(first.line_id).stages["young"]
    assert stock.free == 30
    assert [stock.tub(one.pk).free for one in (first, second)] == [25, 5]  # type: ignore[union-attr]
    promise(first.line_id, 5, culture_id=second.pk)
    stock = queries.stock_of(first.line_id).stages["young"]
    assert [stock.tub(one.pk).free for one in (first, second)] == [25, 0]  # type: ignore[union-attr]


def test_a_line_at_rest_or_not_for_sale_spares_nothing_and_says_why(keeper: User) -> None:
    culture = with_young(keeper, 90)
    Line.objects.filter(pk=culture.line_id).update(not_for_sale="mites")
    stock = queries.stock_of(culture.line_id)
    assert (stock.sellable, stock.free("young")) == (False, 0)
    assert stock.why_not == "it is not for sale (mites). Choose another line."
    Line.objects.filter(pk=culture.line_id).update(not_for_sale="", resting_until=timezone.localdate())
    assert queries.stock_of(culture.line_id).free("young") == 60
