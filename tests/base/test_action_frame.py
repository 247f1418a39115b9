"""The frame of actions and forms: what is asked in which order, and that a refusal undoes everything."""

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser
from django.contrib.messages import get_messages
from django.contrib.messages.storage.cookie import CookieStorage
from django.core.exceptions import ValidationError
from django.db import connection
from django.http import HttpRequest
from django.test import Client, RequestFactory
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.action_frame import Sent, action
from breeder.base.edit_conflicts import ChangedMeanwhile
from breeder.base.models import Token
from breeder.base.submit import submit
from breeder.people.forms import PersonForm, PersonRemovalForm
from breeder.people.models import Person
from tests import build

pytestmark = pytest.mark.django_db


def locked(person_id: int, *_: Any) -> Person:
    return Person.objects.get(pk=person_id)


@action(lock=locked)
def rename(person: Person, name: str, *, by: Any) -> Person:
    """Give somebody another name; an empty one is refused after it was written."""
    person.name = name
    person.save()
    if not name:
        raise ValidationError({"name": "‘Name’ is empty. Fill it in."})
    return person


def posted(**typed: Any) -> HttpRequest:
    request = RequestFactory().post("/people/1/", typed)
    request.user, request._messages = AnonymousUser(), CookieStorage(request)
    return request


class TestAction:
    def test_the_lock_comes_first_then_the_token_then_what_changed_and_the_token_is_spent_last(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        steps: list[str] = []
        note: Callable[[str], Any] = lambda name: lambda *_: steps.append(name)  # noqa: E731

        @action(lock=note("lock"))
        def act(*, by: Any) -> str:
            steps.append("body")
            assert connection.in_atomic_block
            return "result"

        monkeypatch.setattr(form_tokens, "seen", note("token"))
        monkeypatch.setattr(form_tokens, "spend", lambda key, answer, *rest: steps.append(f"spent for {answer}"))
        sent = Sent("a", answer=lambda result: f"/{result}/", refuse_if_changed=note("changed"))
        assert act(by=None, sent=sent) == "result"
        assert steps == ["lock", "token", "changed", "body", "spent for /result/"]

    def test_what_the_lock_returns_is_the_first_argument(self) -> None:
        kept = build.person()
        assert rename(kept.pk, "Bo Reed", by=None) == kept
        assert Person.objects.get().name == "Bo Reed"

    def test_a_refusal_undoes_everything_and_spends_no_token(self) -> None:
        kept = build.person()
        with pytest.raises(ValidationError):
            rename(kept.pk, "", by=None, sent=Sent("a", answer="/"))
        assert Person.objects.get().name == "Ada Marsh"
        assert not Token.objects.exists()

    def test_without_a_form_nothing_is_guarded(self) -> None:
        kept = build.person()
        for name in ("Bo Reed", "Cy Lane"):
            rename(kept.pk, name, by=None)
        assert not Token.objects.exists()

    def test_a_spent_token_keeps_the_action_from_being_done_again(self) -> None:
        kept, sent = build.person(), Sent("a", "/people/1/", "b", answer="/people/")
        rename(kept.pk, "Bo Reed", by=None, sent=sent)
        with pytest.raises(form_tokens.AlreadyDone):
            rename(kept.pk, "Cy Lane", by=None, sent=sent)
        assert Person.objects.get().name == "Bo Reed"

    def test_a_row_that_changed_is_refused_and_named(self) -> None:
        kept = build.person()
        form = PersonForm(instance=kept)
        seen = form["seen"].value()
        Person.objects.update(phone="555 0101")
        late = PersonForm({"seen": seen, "name": "Bo Reed", "kind": "customer"}, instance=kept)
        assert late.is_valid()
        with pytest.raises(ChangedMeanwhile) as refused:
            rename(kept.pk, "Bo Reed", by=None, sent=Sent("a", answer="/", refuse_if_changed=late.refuse_if_changed))
        facts = [error.params for error in refused.value.error_list]
        assert facts == [{"field": "phone", "label": "Phone", "now": "555 0101"}]
        assert Person.objects.get().name == "Ada Marsh"
        # The page that is shown again knows the row as it is now: saved once more, it is written.
        again = PersonForm({"seen": late["seen"].value(), "name": "Bo Reed", "kind": "customer"}, instance=kept)
        assert again.is_valid()
        again.refuse_if_changed()

    def test_a_row_that_is_gone_is_refused(self) -> None:
        kept = build.person()
        form = PersonForm({"seen": PersonForm(instance=kept)["seen"].value()}, instance=kept)
        Person.objects.all().delete()
        with pytest.raises(ChangedMeanwhile, match="was removed from the book"):
            form.refuse_if_changed()


class TestSubmit:
    def test_a_page_that_is_only_looked_at_does_nothing(self) -> None:
        assert submit(RequestFactory().get("/"), lambda **how: pytest.fail("it acted"), to="/") is None

    def test_it_acts_says_so_and_goes_on_to_what_the_result_leads_to(self) -> None:
        kept, request = build.person(), posted(token="a")
        answer = submit(
            request,
            lambda **how: rename(kept.pk, "Bo Reed", **how),
            to=lambda person: reverse("people:person", args=[person.pk]),
            done=lambda person: f"{person.name} is kept.",
        )
        assert (answer.status_code, answer["Location"], answer.result) == (302, f"/people/{kept.pk}/", kept)
        assert [str(message) for message in get_messages(request)] == ["Bo Reed is kept."]
        token = Token.objects.get()
        assert (token.form, token.answer) == ("/people/1/", f"/people/{kept.pk}/")
        assert token.body == form_tokens.typed_digest(request)

    def test_a_refusal_goes_to_the_form_that_has_the_field(self) -> None:
        kept, request = build.person(), posted(name="Bo", kind="customer", sure="on")
        sure, person = PersonRemovalForm(request.POST), PersonForm(request.POST)
        assert submit(request, lambda **how: rename(kept.pk, "", **how), sure, person, to="/") is None
        assert (sure.errors, list(person.errors)) == ({}, ["name"])
        assert Person.objects.get().name == "Ada Marsh"

    def test_a_refusal_without_a_form_is_a_message_or_goes_where_it_is_wanted(self) -> None:
        kept, refusals = build.person(), []
        for refuse in (None, refusals.append):
            request = posted()
            assert submit(request, lambda **how: rename(kept.pk, "", **how), to="/", refuse=refuse) is None
            expected = ["‘Name’ is empty. Fill it in."] if refuse is None else []
            assert [str(message) for message in get_messages(request)] == expected
        assert [refusal.messages for refusal in refusals] == [["‘Name’ is empty. Fill it in."]]

    def test_a_form_that_is_not_sound_does_nothing(self) -> None:
        request = posted(name="")
        form = PersonForm(request.POST)
        assert submit(request, lambda **how: pytest.fail("it acted"), form, to="/") is None
        assert "name" in form.errors

    def test_a_second_click_that_is_refused_for_what_the_first_did_gets_the_first_answer(self) -> None:
        """The first sending wins between the second's first look and its action."""
        kept, request = build.person(), posted(token="a")

        def act(**how: Any) -> None:
            rename(kept.pk, "Bo Reed", **how)
            raise ValidationError("The name is taken.")

        with pytest.raises(form_tokens.AlreadyDone) as done:
            submit(request, act, to="/first/")
        assert done.value.answer == "/first/"


def test_two_browsers_that_edit_one_person_are_told_apart(keeper_client: Client) -> None:
    kept = build.person()
    page = reverse("people:edit", args=[kept.pk])
    typed = {"name": "Ada Marsh", "kind": "customer", "seen": keeper_client.get(page).context["form"]["seen"].value()}
    assert keeper_client.post(page, typed | {"phone": "555 0101"}).status_code == 302
    refused = keeper_client.post(page, typed | {"note": "pays at the show"})
    said = refused.content.decode()
    assert refused.status_code == 422
    assert "‘Phone’ was changed since you opened this page; in the book it is now ‘555 0101’" in said
    assert "pays at the show" in said
    assert Person.objects.get().note == ""
