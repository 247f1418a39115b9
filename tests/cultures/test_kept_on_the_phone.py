"""What a phone kept and sends later: its own time, written once, who typed it, and answers that a script can read."""

import io
import json
import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from breeder.base import form_tokens
from breeder.base.models import Photo
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.tubs import close_tub
from breeder.cultures.models import Entry
from tests.build import line, tub

pytestmark = pytest.mark.django_db

HOUR_S = 3600
LATER = {"X-Kept": "later"}


def sent(**fields: Any) -> dict[str, Any]:
    return {"stage": "young", "well": "1", "token": form_tokens.new_token(), "kept_by": "keeper"} | fields


def hours_ago(entry: Entry) -> float:
    return (entry.recorded_at - entry.happened_at) / timedelta(hours=1)


def url_of(number: int) -> str:
    return reverse("cultures:round_tub", args=[number])


def test_a_kept_look_bears_the_time_it_was_typed(keeper_client: Client) -> None:
    here, there = tub(of := line()), tub(of)
    answer = keeper_client.post(url_of(here.number), sent(age_s=2 * HOUR_S), headers=LATER)
    entry = Entry.objects.get()
    assert hours_ago(entry) == pytest.approx(2, abs=0.01)
    assert answer.json() == {"answer": url_of(there.number), "entry": str(entry.pk), "said": []}


@pytest.mark.parametrize(
    ("told_ago_s", "age_s", "hours"),
    [
        (3 * HOUR_S, 8 * HOUR_S, 3),  # the phone's clock was set anew by five hours: the server's own counts
        (None, 8 * HOUR_S, 8),
        (-9 * HOUR_S, 2 * HOUR_S, 2),  # a time that has not come yet cannot be
        (90 * 24 * HOUR_S, 2 * HOUR_S, 2),
        (None, -5 * HOUR_S, 0),
        (-60, 0, 0),
    ],
)
def test_a_phone_with_a_wrong_clock_is_bounded(
    keeper_client: Client, told_ago_s: float | None, age_s: float, hours: float
) -> None:
    told = {} if told_ago_s is None else {"typed_at": timezone.now().timestamp() - told_ago_s}
    keeper_client.post(url_of(tub().number), sent(age_s=age_s, **told), headers=LATER)
    assert hours_ago(Entry.objects.get()) == pytest.approx(hours, abs=0.01)


@pytest.mark.parametrize("age_s", ["1e99", "nan", "soon", "inf"])
def test_an_age_that_is_no_number_is_now(keeper_client: Client, age_s: str) -> None:
    keeper_client.post(url_of(tub().number), sent(age_s=age_s), headers=LATER)
    assert hours_ago(Entry.objects.get()) == pytest.approx(0, abs=0.01)


def test_what_lay_on_the_phone_for_too_long_is_refused_with_its_days(keeper_client: Client) -> None:
    page = keeper_client.post(url_of(tub().number), sent(age_s=40 * 24 * HOUR_S), headers=LATER)
    assert page.status_code == 422
    assert "typed 40 days ago" in page.content.decode()
    assert not Entry.objects.exists()


def test_a_resend_of_what_had_arrived_is_answered_and_not_written_again(keeper_client: Client) -> None:
    here, there = tub(of := line()), tub(of)
    kept = sent(age_s=60)
    for _ in range(3):
        answer = keeper_client.post(url_of(here.number), kept, headers=LATER)
        assert answer.json()["answer"] == url_of(there.number)
    assert Entry.objects.count() == 1


def test_a_session_that_ended_says_so_and_writes_nothing(client: Client) -> None:
    answer = client.post(url_of(tub().number), sent(), headers=LATER)
    assert answer.status_code == 401
    assert answer.json()["login"].startswith(reverse("login"))
    assert not Entry.objects.exists()


def test_what_another_person_typed_waits_for_that_person(helper_client: Client) -> None:
    answer = helper_client.post(url_of(tub().number), sent(), headers=LATER)
    assert (answer.status_code, answer.json()) == (409, {"typed_by": "keeper"})
    assert not Entry.objects.exists()


def test_what_a_kept_death_breaks_is_told_to_the_phone_and_no_later_page(keeper_client: Client, keeper: User) -> None:
    here = tub(line(adults_kept=20))
    record_count(here.pk, "adults", "hand", {"counted": 21}, by=keeper)
    answer = keeper_client.post(url_of(here.number), sent(stage="adults", died="5"), headers=LATER)
    assert [said["kind"] for said in answer.json()["said"]] == ["warning"]
    assert f"Tub {here.number}: " in answer.json()["said"][0]["text"]
    assert 'class="warn"' not in keeper_client.get(reverse("cultures:tub", args=[here.number])).content.decode()


def test_the_phone_carries_the_round_in_the_same_queries_for_any_number_of_tubs(
    keeper_client: Client, django_assert_max_num_queries: Any
) -> None:
    counts = []
    for more in (3, 20):
        of = line(f"Of {more}")
        for _ in range(more):
            tub(of, shelf="B")
        with django_assert_max_num_queries(20) as queries:
            carried = json.loads(keeper_client.get(reverse("cultures:round_carried")).content)
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert len(carried["tubs"]) == 23
    assert carried["tubs"][0]["said"] == {
        "young": "No young were counted here yet.",
        "adults": "No adults were counted here yet.",
    }


def picture() -> SimpleUploadedFile:
    held = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(held, "JPEG")
    return SimpleUploadedFile("tub.jpg", held.getvalue(), content_type="image/jpeg")


def test_a_photo_goes_with_the_stop_and_is_shown_on_the_tub(keeper_client: Client) -> None:
    here = tub()
    keeper_client.post(url_of(here.number), sent(photo=picture()))
    entry = Entry.objects.get()
    assert entry.photo is not None
    page = keeper_client.get(reverse("cultures:tub", args=[here.number])).content.decode()
    shown = re.search(r'<img[^>]+src="([^"]+)"', page)
    assert shown is not None
    assert shown[1] == reverse("base:photo", args=[entry.photo.pk])
    assert keeper_client.get(shown[1]).headers["Content-Type"] == "image/jpeg"


def test_a_broken_photo_never_stops_the_entry(keeper_client: Client) -> None:
    here = tub()
    broken = SimpleUploadedFile("tub.jpg", b"not a picture", content_type="image/jpeg")
    said = keeper_client.post(url_of(here.number), sent(photo=broken, note="by the lamp"), headers=LATER).json()["said"]
    assert "is not a photo that can be read" in said[0]["text"]
    assert (Entry.objects.get().photo, Entry.objects.get().note) == (None, "by the lamp")


def test_the_photo_of_a_refused_entry_is_not_kept(keeper_client: Client, keeper: User) -> None:
    here = tub()
    close_tub(here.pk, reason="died out", by=keeper)
    assert keeper_client.post(url_of(here.number), sent(photo=picture())).status_code == 422
    assert not Photo.objects.exists()
