"""A tub's own page: looks, changes and counts with a photo, kept on a phone and sent later; finding a tub by number."""

import io
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from breeder.base import form_tokens
from breeder.cultures.actions.changes import move_animals
from breeder.cultures.actions.counts import record_count
from breeder.cultures.models import Culture, Entry
from breeder.cultures.queries.tubs import entry_rows, tub_rows
from tests.build import NOW, line, species, tub
from tests.cultures.test_stock import queries_for

pytestmark = pytest.mark.django_db

LATER = {"X-Kept": "later"}
HOUR_S = 3600
FORMS: dict[str, dict[str, str]] = {
    "tub_looked": {"seen": "mould"},
    "tub_change": {"reason": "died", "stage": "young", "number": "3"},
    "tub_count": {"method": "hand", "stage": "young", "counted": "40", "save": "1"},
}


def picture() -> SimpleUploadedFile:
    held = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(held, "JPEG")
    return SimpleUploadedFile("tub.jpg", held.getvalue(), content_type="image/jpeg")


def sent(name: str, **more: Any) -> dict[str, Any]:
    return FORMS[name] | {"token": form_tokens.new_token(), "kept_by": "keeper", "age_s": str(2 * HOUR_S)} | more


@pytest.mark.parametrize("name", FORMS)
def test_what_a_phone_kept_is_written_once_with_its_time_and_photo(keeper_client: Client, name: str) -> None:
    here = tub()
    url = reverse(f"cultures:{name}", args=[here.number])
    kept = sent(name)
    first = keeper_client.post(url, kept | {"photo": picture()}, headers=LATER)
    again = keeper_client.post(url, kept | {"photo": picture()}, headers=LATER)
    entry = Entry.objects.get()
    assert entry.photo is not None
    assert timedelta(hours=1.9) < entry.recorded_at - entry.happened_at < timedelta(hours=2.1)
    assert first.json()["answer"] == again.json()["answer"] == reverse("cultures:tub", args=[here.number])


@pytest.mark.parametrize("name", FORMS)
def test_a_broken_photo_is_told_and_the_entry_stands(keeper_client: Client, name: str) -> None:
    broken = SimpleUploadedFile("tub.jpg", b"", content_type="image/jpeg")
    url = reverse(f"cultures:{name}", args=[tub().number])
    said = keeper_client.post(url, sent(name, photo=broken), headers=LATER).json()["said"]
    assert any("is not a photo that can be read" in one["text"] for one in said)
    assert Entry.objects.get().photo is None


@pytest.mark.parametrize(
    ("fields", "seen"),
    [({}, ["well"]), ({"well": "1"}, ["well"]), ({"note": "mites?"}, []), ({"seen": "dry"}, ["dry"])],
)
def test_a_note_alone_does_not_say_that_all_is_well(
    keeper_client: Client, fields: dict[str, str], seen: list[str]
) -> None:
    keeper_client.post(reverse("cultures:tub_looked", args=[tub().number]), fields)
    assert Entry.objects.get().given == {"seen": seen}


def test_a_count_that_is_sent_as_it_is_typed_is_still_shown_before_it_is_saved(keeper_client: Client) -> None:
    url = reverse("cultures:tub_count", args=[tub().number])
    page = keeper_client.post(url, FORMS["tub_count"] | {"token": form_tokens.new_token()})
    assert page.status_code == 200
    assert not Entry.objects.exists()
    assert 'name="photo"' in page.content.decode()


def test_a_tub_is_found_by_its_number_or_its_line(keeper_client: Client) -> None:
    ash = tub(line("Ash", of=species("Porcellio scaber")))
    slate = tub(line("Slate", of=species("Porcellio laevis")))
    url = reverse("cultures:tubs")
    assert keeper_client.get(url, {"find": f" {ash.number} "}).url == reverse("cultures:tub", args=[ash.number])
    page = keeper_client.get(url, {"find": "scaber ash"}).content.decode()
    assert reverse("cultures:tub", args=[ash.number]) in page
    assert reverse("cultures:tub", args=[slate.number]) not in page


@pytest.mark.parametrize("find", ["99", "9" * 30, "²", "-1", "'; drop", "\x00ẞ"])
def test_what_is_not_there_is_said(keeper_client: Client, find: str) -> None:
    tub()
    page = keeper_client.get(reverse("cultures:tubs"), {"find": find})
    assert page.status_code == 200
    assert "There is no tub" in page.content.decode() or "No tub here" in page.content.decode()


def test_a_tubs_entries_take_the_same_queries_for_3_and_for_300(keeper: User) -> None:
    few, many = tub(), tub()
    for culture, looks in ((few, 3), (many, 300)):
        record_count(culture.pk, "young", "hand", {"counted": 40}, by=keeper)
        move_animals(culture.pk, tub(culture.line).pk, "young", 2, by=keeper)
        look = {"culture": culture, "kind": Entry.Kind.LOOKED, "happened_at": NOW, "recorded_at": NOW, "by": keeper}
        Entry.objects.bulk_create(Entry(given={"seen": ["well"]}, **look) for _ in range(looks))
    few_read, many_read = (queries_for(partial(numbers_of, one)) for one in (few, many))
    assert few_read == many_read <= 3


def numbers_of(culture: Culture) -> list[tuple[int, int | None]]:
    return [(row.entry.culture.number, row.other_number) for row in entry_rows(culture)]


def test_a_narrowed_list_of_tubs_reads_no_more_of_the_book_than_it_shows(keeper: User) -> None:
    shown, other = tub(shelf="B"), tub(shelf="C")
    for culture in (shown, other):
        record_count(culture.pk, "young", "hand", {"counted": 40}, by=keeper)
    with CaptureQueriesContext(connection) as asked:
        rows = tub_rows(shelf="B")
    assert [(row.tub.pk, row.relied) for row in rows] == [(shown.pk, "40 young")]
    beliefs = [one["sql"] for one in asked if 'FROM "breeder_belief"' in one["sql"]]
    assert all(f"IN ({shown.line_id})" in sql for sql in beliefs)
    assert beliefs
