"""What the book says to a form is next to the button that was pressed: every form of every page is held to that.

The pages are read as a browser without script reads them (html.parser of the standard library).
"""

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.messages import constants
from django.test import Client, RequestFactory
from django.urls import reverse

from breeder.base.replies import FIELD, MOST_FAULTS, PlacedMessages, Replies
from breeder.shipments.models import Supply

TEMPLATES = Path(settings.BASE_DIR) / "templates"
FORM = re.compile(r"<form\b[^>]*method=\"post\"[^>]*>.*?</form>", re.S)
NOT_OF_THE_BOOK = {"registration/login.html", "base/book.html"}  # logging in and out answer on pages of their own


class Reader(HTMLParser):
    """Finds the forms of a page, their places, and in which of them the reply is."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []
        self.replies: list[str] = []  # the place of the form that each is in; "" for the top of the page
        self._form: dict[str, Any] | None = None
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form" and given.get("method") == "post":
            self._form = {"action": given.get("action") or "", "place": "", "focusable": True}
            self.forms.append(self._form)
        if self._form is not None and tag == "input" and given.get("name") == FIELD:
            self._form["place"] = given["value"]
        if given.get("id") == "reply":
            assert given.get("tabindex") == "-1"
            self.replies.append(self._form["place"] if self._form else "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None


def templates_with_forms() -> list[str]:
    return sorted(
        name
        for path in TEMPLATES.rglob("*.html")
        if FORM.search(path.read_text()) and (name := str(path.relative_to(TEMPLATES))) not in NOT_OF_THE_BOOK
    )


@pytest.mark.parametrize("name", templates_with_forms())
def test_every_form_has_a_place_for_its_reply_and_leads_there(name: str) -> None:
    for form in FORM.findall((TEMPLATES / name).read_text()):
        opening = form.split(">", 1)[0] if "{%" not in form.split(">", 1)[0] else form[: form.index("{% csrf_token")]
        assert '#reply"' in opening, opening
        assert form.count("{% reply ") == 1, form
        assert form.count("formaction=") == form.count("#reply") - 1, "a button that goes elsewhere leads there too"
        after = form[form.index("{% reply ") :]
        assert "<button" in after, "the reply is before the button, not above the form"
        assert len(re.findall(r"<(input|textarea|select|fieldset)", after)) == 0 or len(form) < 900, (
            "a long form has its reply after its fields"
        )


def test_there_are_forms_to_hold_to_that() -> None:
    assert len(templates_with_forms()) >= 30


@pytest.fixture
def placed() -> Any:
    """Return the messages of a form that was sent from a place."""

    def messages(place: str, *sentences: str, **data: str) -> Any:
        request = RequestFactory().post("/here/", {FIELD: place, **data})
        request.session = {}  # type: ignore[assignment]
        request._messages = PlacedMessages(request)  # type: ignore[attr-defined]
        for sentence in sentences:
            request._messages.add(constants.SUCCESS, sentence)  # type: ignore[attr-defined]
        return request

    return messages


def test_a_message_is_shown_once_in_its_form(placed: Any) -> None:
    replies = Replies(placed("kit", "Kept."))
    assert not replies.take("day")
    assert [str(message) for message in replies.take("kit").messages] == ["Kept."]
    assert not replies.take("kit")
    assert replies.rest() == []


def test_what_no_form_takes_is_left_for_the_top(placed: Any) -> None:
    replies = Replies(placed("gone", "Taken apart."))
    assert not replies.take("kit")
    assert [str(message) for message in replies.rest()] == ["Taken apart."]


def test_a_place_that_a_stranger_makes_up_is_cut(placed: Any) -> None:
    assert len(Replies(placed("x" * 100_000)).pressed) <= 120


@pytest.mark.django_db
def test_a_refusal_is_in_the_form_and_names_each_field(keeper_client: Client) -> None:
    page = keeper_client.post(reverse("people:new"), {FIELD: reverse("people:new"), "token": "a"})
    read = Reader(page.content.decode())
    assert page.status_code == 422
    assert read.replies == [reverse("people:new")]
    reply = page.content.decode().split('id="reply"')[1].split("</form>")[0]
    assert 'role="alert"' in reply
    assert '<a href="#id_name">Name</a>' in reply


@pytest.mark.django_db
def test_of_very_many_faults_some_are_named_and_the_others_counted(keeper_client: Client) -> None:
    supplies = [Supply.objects.create(name=f"Box {number}", on_shelf=1) for number in range(20)]
    here = reverse("shipments:supplies")
    sent = {f"{name}_{supply.pk}": "many" for supply in supplies for name in ("shelf", "below")}
    page = keeper_client.post(here, {FIELD: "shelf", "token": "a", **sent}).content.decode()
    reply = page.split('id="reply"')[1].split("</form>")[0]
    assert reply.count('class="fault" data-sentence') == MOST_FAULTS
    assert "more, each at its field" in reply


@pytest.mark.django_db
def test_a_success_comes_back_to_its_button_through_the_redirect(keeper_client: Client) -> None:
    here = reverse("base:settings")
    sent = {"trade_name": "Bark and leaf", "currency": "USD", "timezone": "UTC", "hold_days": 7, "few_below_packs": 3}
    sent |= {"comfort_tolerance": 20, "hard_tolerance": 5, FIELD: here}
    page = keeper_client.post(here, sent, follow=True)
    assert Reader(page.content.decode()).replies == [here], page.content.decode()[:3000]
    assert Reader(keeper_client.get(here).content.decode()).replies == [], "it is said once"
