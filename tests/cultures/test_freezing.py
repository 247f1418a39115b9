"""A frozen line: nothing leaves it for people or for good without its name; what happened is recorded as ever."""

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.models import LogRow
from breeder.cultures import frozen_lines
from breeder.cultures.actions.changes import move_animals, record_change
from breeder.cultures.actions.counts import Sexed, record_count
from breeder.cultures.actions.freezes import end_freeze, freeze_line
from breeder.cultures.actions.states import set_purpose
from breeder.cultures.actions.tubs import Place, close_tub, merge_tubs, split_tub
from breeder.cultures.models import Culture, Entry
from breeder.cultures.queries.stock import stock_of
from breeder.species.actions import edit_line
from breeder.species.models import Line
from tests.build import line, tub

pytestmark = pytest.mark.django_db

NAME = "Armadillidium vulgare ‘Quarry’"


def frozen_tub(**values: Any) -> Culture:
    of = line("Quarry", irreplaceable=True, harvest_share=None, young_kept=0, **values)
    one = tub(of)
    record_count(one.pk, "young", "hand", {"counted": 60}, by=None)
    freeze_line(of.pk, "down to 31 adults", by=None)
    return Culture.objects.select_related("line__species").get(pk=one.pk)


def leaves(one: Culture, other: Culture, mixed: Culture) -> dict[str, Callable[[str], Any]]:
    """Return each way in which something leaves a line, with the name that was typed."""
    place = Place("B", purpose="show")
    return {
        "cull": lambda named: record_change(one.pk, "young", 3, "culled", named=named, by=None),
        "mix": lambda named: move_animals(one.pk, mixed.pk, "young", 3, named=named, by=None),
        "show": lambda named: set_purpose(one.pk, "show", named=named, by=None),
        "split": lambda named: split_tub(one.pk, place, share=0.5, named=named, by=None),
        "merge": lambda named: merge_tubs(one.pk, other.pk, named=named, by=None),
        "close": lambda named: close_tub(one.pk, reason="died out", named=named, by=None),
    }


@pytest.mark.parametrize("way", ["cull", "mix", "show", "split", "merge", "close"])
def test_nothing_leaves_a_frozen_line_without_its_name(way: str) -> None:
    one = frozen_tub()
    act = leaves(one, tub(one.line), tub(purpose="mixed"))[way]
    before = Entry.objects.count()
    for typed in ("", "quarry", NAME.lower(), f"{NAME} x", "Armadillidium vulgare"):
        with pytest.raises(ValidationError) as refused:
            act(typed)
        assert "is frozen (down to 31 adults)" in str(refused.value)
        assert NAME in str(refused.value)
    assert Entry.objects.count() == before
    act(f"  {NAME} ")
    assert Entry.objects.count() > before


def test_a_frozen_line_is_not_closed_before_its_freeze_ends() -> None:
    one = frozen_tub()
    values = {
        field.name: getattr(one.line, field.name) for field in Line._meta.fields if field.name not in ("id", "turn")
    }
    with pytest.raises(ValidationError, match="End its freeze first"):
        edit_line(one.line_id, values | {"status": "closed"}, reason="sold the rest", by=None)
    edit_line(one.line_id, values | {"provenance": "Six founders"}, by=None)


def test_a_phone_types_the_quotes_of_a_name_straight() -> None:
    one = frozen_tub()
    record_change(one.pk, "young", 1, "culled", named="Armadillidium vulgare 'Quarry'", by=None)


def test_deaths_counts_and_moves_within_the_line_are_recorded_freely() -> None:
    one = frozen_tub()
    other = tub(one.line)
    record_change(one.pk, "young", 3, "died", by=None)
    record_count(one.pk, "adults", "hand", {"counted": 31}, by=None)
    move_animals(one.pk, other.pk, "young", 5, by=None)
    split_tub(one.pk, Place("B"), share=0.5, by=None)
    set_purpose(one.pk, "quarantine", by=None)


def test_freezing_and_its_end_need_a_reason_and_are_logged(keeper: User) -> None:
    of = line("Quarry")
    for act in (freeze_line, end_freeze):
        with pytest.raises(ValidationError):
            act(of.pk, " ", by=keeper)
    with pytest.raises(ValidationError, match="is not frozen"):
        end_freeze(of.pk, "grown again", by=keeper)
    freeze_line(of.pk, "down to 31 adults", by=keeper)
    end_freeze(of.pk, "grown again", by=keeper)
    of.refresh_from_db()
    assert (of.frozen_because, of.frozen_on) == ("", None)
    rows = list(LogRow.objects.order_by("pk").values_list("did", "reason"))
    assert rows == [("froze a line", "down to 31 adults"), ("ended a freeze", "grown again")]


@pytest.mark.parametrize(("adults", "suggested"), [(31, False), (30, True), (12, True)])
def test_a_line_that_cannot_be_bought_again_is_to_be_frozen_at_its_minimum(adults: int, suggested: bool) -> None:
    of = line("Quarry", irreplaceable=True, adults_kept=30)
    one = tub(of)
    assert frozen_lines.should_freeze(stock_of(of.pk)) == ""  # never counted: nothing is known of it
    sexed = Sexed(adults // 2, adults - adults // 2, 0)
    record_count(one.pk, "adults", "hand", {"counted": adults}, sexed=sexed, by=None)
    said = frozen_lines.should_freeze(stock_of(of.pk))
    assert bool(said) == suggested
    assert not suggested or f"{adults} adults are sure, 30 must stay" in said
    freeze_line(of.pk, "few left", by=None)
    assert frozen_lines.should_freeze(stock_of(of.pk)) == ""


def test_the_death_that_brings_a_line_to_its_minimum_says_to_freeze_it() -> None:
    of = line("Quarry", irreplaceable=True, adults_kept=30)
    one = tub(of)
    record_count(one.pk, "adults", "hand", {"counted": 32}, by=None)
    assert record_change(one.pk, "adults", 1, "died", by=None).breaks == ()
    (said,) = record_change(one.pk, "adults", 1, "died", by=None).breaks
    assert said == f"{NAME} cannot be bought again and is down to its minimum. Freeze it on its page."


def test_the_keeper_freezes_on_the_page_and_the_cull_form_asks_for_the_name(keeper_client: Client) -> None:
    one = tub(line("Quarry"))
    page = reverse("cultures:line_freeze", args=[one.line_id])
    change = reverse("cultures:tub_change", args=[one.number])
    assert b"Name of the line" not in keeper_client.get(change).content
    sent = {"because": "down to 31 adults.", "token": form_tokens.new_token()}
    assert keeper_client.post(page, sent).status_code == 302
    assert Line.objects.get(pk=one.line_id).frozen_because == "down to 31 adults."
    told = keeper_client.get(reverse("cultures:line", args=[one.line_id])).content.decode()
    assert ": down to 31 adults. Nothing is promised" in told
    assert b"Name of the line" in keeper_client.get(change).content
    cull = {"reason": "culled", "stage": "young", "number": "2", "token": form_tokens.new_token()}
    refused = keeper_client.post(change, cull | {"named": "Quarry"})
    assert refused.status_code == 422
    assert "“Quarry” is not its name" in refused.content.decode()
    assert 'value="Quarry"' in refused.content.decode()
    assert keeper_client.post(change, cull | {"named": NAME}).status_code == 302
    assert keeper_client.post(page, {"reason": "grown again", "token": form_tokens.new_token()}).status_code == 302


def test_a_helper_may_not_freeze(helper_client: Client) -> None:
    assert helper_client.get(reverse("cultures:line_freeze", args=[line("Quarry").pk])).status_code == 403
