"""A form that is sent twice is done once."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.models import Token
from breeder.people.models import Person

pytestmark = pytest.mark.django_db


def test_the_second_sending_gets_the_first_answer() -> None:
    key = form_tokens.new_token()
    form_tokens.spend(key, "/orders/7/")
    with pytest.raises(form_tokens.AlreadyDone) as repeated:
        form_tokens.spend(key, "/orders/8/")
    assert repeated.value.answer == "/orders/7/"
    with pytest.raises(form_tokens.AlreadyDone):
        form_tokens.seen(key)


def test_a_fresh_token_is_not_seen_and_none_are_alike() -> None:
    form_tokens.seen(form_tokens.new_token())
    assert len({form_tokens.new_token() for _ in range(200)}) == 200


def test_an_action_without_a_token_is_not_guarded() -> None:
    form_tokens.spend("", "/")
    assert not Token.objects.exists()


def test_a_token_longer_than_the_column_is_cut_and_still_found() -> None:
    form_tokens.spend("x" * 300, "/a/")
    with pytest.raises(form_tokens.AlreadyDone):
        form_tokens.seen("x" * 300)


@pytest.mark.parametrize(("seconds", "told"), [(2, False), (60, True)])
def test_who_went_back_and_typed_something_else_is_told_that_it_was_not_written(
    keeper_client: Client, seconds: int, told: bool
) -> None:
    sent = {"name": "Ada Marsh", "kind": "customer", "without_place": "on", "token": form_tokens.new_token()}
    keeper_client.post(reverse("people:new"), sent)
    Token.objects.update(at=timezone.now() - timedelta(seconds=seconds))
    answer = keeper_client.post(reverse("people:new"), sent | {"name": "Bo Reed"}, follow=True)
    assert Person.objects.get().name == "Ada Marsh"
    assert ("nothing was written this time" in answer.content.decode()) is told


def test_a_token_with_a_sign_that_no_database_can_be_asked_for_is_one_like_any_other() -> None:
    key = f"{form_tokens.new_token()}\x00"
    form_tokens.seen(key)
    form_tokens.spend(key, "/a/")
    with pytest.raises(form_tokens.AlreadyDone):
        form_tokens.seen(key)
    assert "\x00" not in Token.objects.get().key
