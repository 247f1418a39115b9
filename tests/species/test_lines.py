"""Lines: the minimum that stays falls only with a reason, and the reason is kept."""

from typing import Any

import pytest
from django.forms.models import model_to_dict

from breeder.base.action_frame import Sent
from breeder.base.form_tokens import AlreadyDone
from breeder.base.models import LogRow
from breeder.species import actions, rules
from breeder.species.forms import LineEditForm
from breeder.species.models import Line
from tests import build

pytestmark = pytest.mark.django_db


def typed_values(line: Line, **changed: Any) -> dict[str, Any]:
    names = [name for name in LineEditForm.Meta.fields if name != "species"]
    return {name: getattr(line, name) for name in names} | changed


@pytest.mark.parametrize(("irreplaceable", "stay"), [(False, 20), (True, 30)])
def test_where_no_minimum_is_given_the_usual_one_stays(irreplaceable: bool, stay: int) -> None:
    """20 and 30 adults: common practice, no source."""
    values = {"species": build.species(), "form_name": "Fog", "irreplaceable": irreplaceable, "adults_kept": None}
    line = actions.add_line(values, by=None)
    assert (line.adults_kept, line.young_kept) == (stay, stay)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"adults_kept": 5}, "Adults that stay falls from 20 to 5"),
        ({"young_kept": 0}, "Young that stay falls from 20 to 0"),
        ({"each_sex_kept": 1}, "Of each sex that stay falls from 3 to 1"),
        ({"harvest_share": None}, "More of the young may be taken"),
        ({"status": "closed"}, "The line closes and sells nothing more"),
    ],
)
def test_giving_up_protection_needs_a_reason(changed: dict[str, Any], sentence: str) -> None:
    line = build.line()
    line.refresh_from_db()
    with pytest.raises(rules.NeedsReason, match=sentence):
        actions.edit_line(line.pk, typed_values(line, **changed), by=None, reason="  ")
    line.refresh_from_db()
    assert {name: getattr(line, name) for name in changed} != changed
    actions.edit_line(line.pk, typed_values(line, **changed), by=None, reason="Two tubs went to a friend")
    line.refresh_from_db()
    assert {name: getattr(line, name) for name in changed} == changed
    row = LogRow.objects.get(did="line changed")
    assert sentence in row.sentence
    assert row.reason == "Two tubs went to a friend"


@pytest.mark.parametrize("changed", [{"adults_kept": 40}, {"locality": "Cork"}, {"status": "ending"}])
def test_raising_it_or_changing_anything_else_needs_none(changed: dict[str, Any]) -> None:
    line = build.line()
    line.refresh_from_db()
    actions.edit_line(line.pk, typed_values(line, **changed), by=None)
    assert set(LogRow.objects.get(did="line changed").facts) == set(changed)


def test_no_longer_irreplaceable_needs_a_reason_too() -> None:
    line = build.line(irreplaceable=True)
    line.refresh_from_db()
    with pytest.raises(rules.NeedsReason, match="cannot be bought again"):
        actions.edit_line(line.pk, typed_values(line, irreplaceable=False), by=None)


def test_an_edit_takes_the_turn_and_never_sets_it_back() -> None:
    line = build.line()
    line.refresh_from_db()
    values = typed_values(line, locality="Cork")
    Line.objects.filter(pk=line.pk).update(turn=7)  # orders came in while the form was open
    actions.edit_line(line.pk, values, by=None)
    line.refresh_from_db()
    assert line.turn == 8


def test_the_same_name_twice_is_refused_in_words() -> None:
    line = build.line("Fog")
    with pytest.raises(rules.NameTaken, match="‘Fog’ is in the book already"):
        actions.add_line({"species": line.species, "form_name": "Fog"}, by=None)
    assert Line.objects.count() == 1


def test_a_second_sending_of_the_same_form_gets_the_first_answer() -> None:
    values = {"species": build.species(), "form_name": "Fog"}
    sent = Sent("one form", answer=actions.line_url)
    first = actions.add_line(values, by=None, sent=sent)
    with pytest.raises(AlreadyDone) as done:
        actions.add_line(values, by=None, sent=sent)
    assert done.value.answer == actions.line_url(first)
    assert Line.objects.count() == 1


def test_the_form_shows_every_value_a_keeper_may_change() -> None:
    shown = {field.name for _, fields in LineEditForm(instance=build.line()).sections for field in fields}
    # A freeze begins and ends on a page of its own; the genetic number is set next to the minimums.
    own_page = {"frozen_because", "frozen_on", "genetics_bind", "inbreeding_limit", "horizon_years", "effective_share"}
    assert shown == set(model_to_dict(build.line("Ash"))) - {"id", "species"} - own_page | {"reason"}
