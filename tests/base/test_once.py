"""A form that is sent twice is done once."""

import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens, offline_forms
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


SENT = {"name": "Ada Marsh", "kind": "customer", "without_place": "on"}


def token_shown(page: str) -> str:
    """Return the token that a page would send."""
    return re.findall(r'name="token" value="([^"]+)"', page)[-1]


@pytest.mark.parametrize("seconds", [2, 60, 86_400])
def test_the_same_values_sent_again_get_the_first_answer_however_late(keeper_client: Client, seconds: int) -> None:
    sent = SENT | {"token": form_tokens.new_token()}
    first = keeper_client.post(reverse("people:new"), sent)
    Token.objects.update(at=timezone.now() - timedelta(seconds=seconds))
    # What a phone or a browser adds by itself makes no other form of it.
    again = keeper_client.post(
        reverse("people:new"), sent | {"age_s": "9", "typed_at": "1", "reply_at": "/people/new/"}
    )
    assert (again.status_code, again["Location"]) == (302, first["Location"])
    assert Person.objects.count() == 1
    said = keeper_client.get(again["Location"]).content.decode()
    assert "nothing was written" not in said.lower()


@pytest.mark.parametrize("seconds", [2, 60])
def test_other_values_with_a_spent_token_are_refused_aloud_and_can_be_sent_anew(
    keeper_client: Client, seconds: int
) -> None:
    sent = SENT | {"token": form_tokens.new_token()}
    keeper_client.post(reverse("people:new"), sent)
    Token.objects.update(at=timezone.now() - timedelta(seconds=seconds))
    refused = keeper_client.post(reverse("people:new"), sent | {"name": "Bo Reed"})
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "Nothing was written this time" in page.split('id="reply"')[1].split("</div>")[0]
    assert "Bo Reed" in page
    assert Person.objects.get().name == "Ada Marsh"
    fresh = token_shown(page)
    assert fresh != sent["token"]
    assert keeper_client.post(reverse("people:new"), sent | {"name": "Bo Reed", "token": fresh}).status_code == 302
    assert {person.name for person in Person.objects.all()} == {"Ada Marsh", "Bo Reed"}


def test_a_phone_is_answered_the_same_and_told_of_other_values(keeper_client: Client) -> None:
    """The script reads the sentence of a refusal from the reply of the page."""
    sent = SENT | {"token": form_tokens.new_token(), "typed_at": "1", "age_s": "2", "kept_by": "keeper"}
    phone = {"headers": {offline_forms.HEADER: "later"}}
    first = keeper_client.post(reverse("people:new"), sent, **phone)
    again = keeper_client.post(reverse("people:new"), sent | {"age_s": "90"}, **phone)
    assert (again.status_code, again.json()["answer"]) == (200, first.json()["answer"])
    refused = keeper_client.post(reverse("people:new"), sent | {"name": "Bo Reed"}, **phone)
    assert refused.status_code == 422
    assert re.search(r"data-sentence>This form was already sent with other values", refused.content.decode())


def test_a_token_that_was_spent_at_another_form_is_refused_aloud(keeper_client: Client) -> None:
    token = form_tokens.new_token()
    keeper_client.post(reverse("people:new"), SENT | {"token": token})
    edit = reverse("people:edit", args=[Person.objects.get().pk])
    refused = keeper_client.post(edit, SENT | {"name": "Bo Reed", "token": token})
    assert refused.status_code == 422
    assert "Another form was already sent" in refused.content.decode()
    assert Person.objects.get().name == "Ada Marsh"


def test_other_values_that_win_while_these_are_written_undo_these(
    keeper_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second sending passes the first look, and finds the token spent only when it spends it."""
    url, sent = reverse("people:new"), SENT | {"token": form_tokens.new_token()}
    keeper_client.post(url, sent)
    monkeypatch.setattr(form_tokens, "look_at", lambda request: None)
    monkeypatch.setattr(form_tokens, "seen", lambda *sent: None)
    refused = keeper_client.post(url, sent | {"name": "Bo Reed"})
    assert refused.status_code == 422
    assert "Nothing was written this time" in refused.content.decode()
    assert Person.objects.get().name == "Ada Marsh"


def test_a_token_from_before_the_book_kept_what_was_typed_counts_as_the_same_form(keeper_client: Client) -> None:
    sent = SENT | {"token": form_tokens.new_token()}
    first = keeper_client.post(reverse("people:new"), sent)
    Token.objects.update(form="", body="", at=timezone.now() - timedelta(minutes=1))
    again = keeper_client.post(reverse("people:new"), sent | {"name": "Bo Reed"}, follow=True)
    assert again.redirect_chain[0][0] == first["Location"]
    assert "nothing was written this time" in again.content.decode()
    assert Person.objects.get().name == "Ada Marsh"


def test_the_digest_tells_files_apart_by_name_and_content() -> None:
    def digest(name: str, content: bytes, **typed: str) -> str:
        photo = SimpleUploadedFile(name, content)
        request = RequestFactory().post("/", {"photo": photo, "note": "moss", "token": "a"} | typed)
        taken = form_tokens.typed_digest(request)
        assert request.FILES["photo"].read() == content  # it is still there for the action
        return taken

    same = digest("tub.jpg", b"one")
    assert digest("tub.jpg", b"one", token="b", csrfmiddlewaretoken="c", kept_by="ada") == same
    others = {digest("tub.jpg", b"two"), digest("lid.jpg", b"one"), digest("tub.jpg", b"one", note="bark")}
    assert len(others | {same}) == 4


def test_a_token_with_a_sign_that_no_database_can_be_asked_for_is_one_like_any_other() -> None:
    key = f"{form_tokens.new_token()}\x00"
    form_tokens.seen(key)
    form_tokens.spend(key, "/a/")
    with pytest.raises(form_tokens.AlreadyDone):
        form_tokens.seen(key)
    assert "\x00" not in Token.objects.get().key
