"""The round: one tap for a look, two for a guess by eye, with script off; undo; every page answers."""

import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.cultures import actions
from breeder.cultures.models import Entry
from tests.build import line, tub
from tests.cultures.book import lower

pytestmark = pytest.mark.django_db


def fields_of(page: Any) -> dict[str, str]:
    """Return the hidden fields of a page's first form that is sent to the page itself, as a browser would send them."""
    html = page.content.decode()
    form = re.search(r'<form method="post" action="#reply" class="stack" id="stop".*?>(.*?)</form>', html, re.S)
    assert form is not None
    hidden = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[1])
    return {name: value for name, value in hidden if name != "csrfmiddlewaretoken"}


def test_the_round_starts_at_the_first_tub_in_shelf_order_not_done_today(keeper_client: Client) -> None:
    of = line()
    second = tub(of, shelf="B")
    first = tub(of, shelf="A", place_on_shelf=2)
    zeroth = tub(of, shelf="A", place_on_shelf=1)
    for expected in (zeroth, first, second):
        page = keeper_client.get(reverse("cultures:round"))
        assert page.url == reverse("cultures:round_tub", args=[expected.number])
        stop = keeper_client.get(page.url)
        keeper_client.post(page.url, fields_of(stop) | {"well": "1"})
    done = keeper_client.get(reverse("cultures:round"))
    assert "3 of 3 tubs were looked into today" in done.content.decode()


def test_one_tap_records_a_look_and_goes_to_the_next(keeper_client: Client, keeper: User) -> None:
    of = line()
    here, there = tub(of), tub(of)
    url = reverse("cultures:round_tub", args=[here.number])
    answer = keeper_client.post(url, fields_of(keeper_client.get(url)) | {"well": "1"})
    assert answer.url == reverse("cultures:round_tub", args=[there.number])
    entry = Entry.objects.get()
    assert (entry.kind, entry.given, entry.by) == ("looked", {"seen": ["well"]}, keeper)


def test_a_guess_by_eye_takes_two_taps_and_shows_what_the_book_would_rely_on(keeper_client: Client) -> None:
    here = tub(line(young_kept=0, harvest_share=None))
    url = reverse("cultures:round_tub", args=[here.number])
    page = keeper_client.get(url)
    shown = keeper_client.post(url, fields_of(page) | {"eye": "50–100", "seen": ["mancae"]})
    html = shown.content.decode()
    assert shown.status_code == 200
    assert not Entry.objects.exists()
    relied = re.search(r"The book would rely on (\d+)", html)
    assert relied is not None
    assert "Geometric middle of 50 and 100" in html
    answer = keeper_client.post(url, fields_of(shown) | {"seen": ["mancae"], "save": "1"})
    assert answer.status_code == 302
    count = Entry.objects.get(kind="count")
    assert (count.method, count.stage, count.given) == ("eye", "young", {"from": 50, "to": 100})
    assert Entry.objects.get(kind="looked").given == {"seen": ["mancae"]}
    assert lower(here) == int(relied[1])


def test_another_tile_tapped_after_the_preview_counts(keeper_client: Client) -> None:
    here = tub()
    url = reverse("cultures:round_tub", args=[here.number])
    shown = keeper_client.post(url, fields_of(keeper_client.get(url)) | {"eye": "50–100"})
    again = keeper_client.post(url, fields_of(shown) | {"eye": ["50–100", "10–25"]})
    assert 'value="10–25" class="chosen"' in again.content.decode()
    assert fields_of(again)["eye"] == "10–25"


def test_undo_takes_the_count_and_its_look_back_and_returns_to_the_tub(keeper_client: Client) -> None:
    here, there = tub(of := line()), tub(of)
    url = reverse("cultures:round_tub", args=[here.number])
    shown = keeper_client.post(url, fields_of(keeper_client.get(url)) | {"eye": "50–100", "seen": "dry"})
    keeper_client.post(url, fields_of(shown) | {"seen": "dry", "save": "1"})
    page = keeper_client.get(reverse("cultures:round_tub", args=[there.number])).content.decode()
    entry = Entry.objects.get(kind="count")
    assert f'name="entry" value="{entry.pk}"' in page
    answer = keeper_client.post(
        reverse("cultures:tub_correct", args=[here.number]),
        {"entry": entry.pk, "next": url, "token": form_tokens.new_token()},
    )
    assert answer.url == url
    assert Entry.objects.filter(kind="correct").count() == 2
    assert keeper_client.get(reverse("cultures:round")).url == url
    history = keeper_client.get(reverse("cultures:tub", args=[here.number])).content.decode()
    assert history.count('class="struck"') == 2


def test_a_form_sent_twice_writes_once_and_answers_alike(keeper_client: Client) -> None:
    here, _ = tub(of := line()), tub(of)
    url = reverse("cultures:round_tub", args=[here.number])
    sent = fields_of(keeper_client.get(url)) | {"well": "1"}
    first, second = keeper_client.post(url, sent), keeper_client.post(url, sent)
    assert first.url == second.url
    assert Entry.objects.count() == 1


@pytest.mark.parametrize("sent", [{"save": "1"}, {"eye": "a million", "save": "1"}, {"seen": "dragons", "save": "1"}])
def test_a_tap_on_nothing_or_on_what_is_not_there_is_told_in_a_sentence(
    keeper_client: Client, sent: dict[str, str]
) -> None:
    here = tub()
    url = reverse("cultures:round_tub", args=[here.number])
    page = keeper_client.post(url, {"stage": "young", **sent})
    assert page.status_code == 422
    assert 'id="reply" tabindex="-1" role="alert"' in page.content.decode()
    assert not Entry.objects.exists()


def test_a_tub_closed_meanwhile_keeps_its_peace(keeper_client: Client, keeper: User) -> None:
    here = tub()
    url = reverse("cultures:round_tub", args=[here.number])
    sent = fields_of(keeper_client.get(url)) | {"well": "1"}
    actions.close_tub(here.pk, reason="died out", by=keeper)
    page = keeper_client.post(url, sent)
    assert page.status_code == 422
    assert f"Tub {here.number} was closed on" in page.content.decode()


def test_a_whole_shelf_is_fed_at_once(keeper_client: Client) -> None:
    for shelf in ("A", "A", "B"):
        tub(shelf=shelf)
    url = reverse("cultures:care")
    answer = keeper_client.post(url, {"shelf": "A", "did": ["fed", "misted"], "token": form_tokens.new_token()})
    assert answer.status_code == 302
    assert [entry.given for entry in Entry.objects.all()] == [{"did": ["fed", "misted"]}] * 2
    refused = keeper_client.post(url, {"shelf": "Z", "did": ["fed"]})
    assert refused.status_code == 422


def test_an_empty_room_says_what_to_do_first(keeper_client: Client) -> None:
    assert "New tub" in keeper_client.get(reverse("cultures:round")).content.decode()
    assert "Start the first tub" in keeper_client.get(reverse("cultures:care")).content.decode()
    assert "Start one with" in keeper_client.get(reverse("cultures:tubs")).content.decode()
    assert "No line yet" in keeper_client.get(reverse("cultures:lines")).content.decode()
