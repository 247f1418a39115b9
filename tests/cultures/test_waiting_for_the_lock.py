"""What another hand writes while a form waits for the lines' lock is not written over; a token is spent once.

The other hand is simulated: the lock is handed over with the rows changed, as after its commit. Common practice, no
source.
"""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.cultures import steps
from breeder.cultures.models import Culture, Entry
from breeder.species.models import Line
from tests import build

pytestmark = pytest.mark.django_db

# Page, what is typed, and what the other hand sets of the tub and of its line.
FORMS: dict[str, tuple[dict[str, Any], dict[str, Any], dict[str, Any], str]] = {
    "tub_not_for_sale": ({"because": ""}, {"not_for_sale": "all dead"}, {}, "‘all dead’"),
    "tub_purpose": ({"purpose": "growing"}, {"purpose": "isolation"}, {}, "‘isolation’"),
    "line_minimum": (
        {"adults_kept": 40, "young_kept": 30, "each_sex_kept": 5, "genetics_bind": "", "reason": "more room"},
        {},
        {"adults_kept": 80},
        "‘80’",
    ),
}


def form_of(culture: Culture, page: str) -> str:
    return reverse(f"cultures:{page}", args=[culture.line_id if page.startswith("line") else culture.number])


@pytest.fixture
def after_another(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let another hand set values of a tub and of its line just before the lock is had."""

    def change_first(culture: Culture, of_tub: dict[str, Any], of_line: dict[str, Any]) -> None:
        lock = steps.lock_lines

        def wait(line_ids: Any) -> None:
            lock(line_ids)
            Culture.objects.filter(pk=culture.pk).update(**({"place_on_shelf": 9} | of_tub))
            Line.objects.filter(pk=culture.line_id).update(**({"locality": "Ash"} | of_line))

        monkeypatch.setattr(steps, "lock_lines", wait)

    return change_first


@pytest.mark.parametrize("page", FORMS)
def test_what_is_set_while_a_form_waits_is_not_written_over(
    keeper_client: Client, after_another: Callable[..., None], page: str
) -> None:
    culture, (values, of_tub, of_line, now) = build.tub(), FORMS[page]
    seen = keeper_client.get(form_of(culture, page)).context["form"]["seen"].value()
    sent = values | {"seen": seen, "token": form_tokens.new_token()}
    after_another(culture, of_tub, of_line)
    answer = keeper_client.post(form_of(culture, page), sent)
    assert answer.status_code == 422
    assert f"was changed since you opened this page; in the book it is now {now}" in answer.content.decode()
    assert not Entry.objects.exists()


@pytest.mark.parametrize("page", FORMS)
def test_a_change_of_something_else_stops_no_form(
    keeper_client: Client, after_another: Callable[..., None], page: str
) -> None:
    culture = build.tub()
    seen = keeper_client.get(form_of(culture, page)).context["form"]["seen"].value()
    after_another(culture, {}, {})
    sent = FORMS[page][0] | {"seen": seen, "token": form_tokens.new_token()}
    assert keeper_client.post(form_of(culture, page), sent).status_code == 302


def test_other_numbers_under_a_spent_token_are_refused_aloud(keeper_client: Client) -> None:
    culture = build.tub()
    page, token = form_of(culture, "tub_change"), form_tokens.new_token()
    sent = {"reason": "died", "stage": "young", "number": "3", "token": token}
    first = keeper_client.post(page, sent)
    assert (first.status_code, keeper_client.post(page, sent).url) == (302, first.url)
    other = keeper_client.post(page, sent | {"number": "5"})
    assert (other.status_code, form_tokens.OTHER_VALUES in other.content.decode()) == (422, True)
    assert f'value="{token}"' not in other.content.decode()
    assert list(Entry.objects.values_list("number", flat=True)) == [-3]


def test_a_count_that_was_saved_is_not_saved_again_by_going_back(keeper_client: Client) -> None:
    culture = build.tub()
    page, token = form_of(culture, "tub_count"), form_tokens.new_token()
    typed = {"method": "hand", "stage": "young", "counted": "40", "token": token}
    shown = keeper_client.post(page, typed).context["fingerprint"]
    save = typed | {"shown": shown, "save": "1"}
    answers = [keeper_client.post(page, save) for _ in range(2)]
    assert [(answer.status_code, answer.url) for answer in answers] == [(302, form_of(culture, "tub"))] * 2
    other = typed | {"counted": "50"}
    other |= {"shown": keeper_client.post(page, other).context["fingerprint"], "save": "1"}
    assert keeper_client.post(page, other).status_code == 422
    assert [entry.given["counted"] for entry in Entry.objects.all()] == [40]
