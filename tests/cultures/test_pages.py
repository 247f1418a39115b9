"""Every page of tubs and lines answers, keeps what was typed, and tells bad input in a sentence."""

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.crashes import mark_crashed
from breeder.cultures.actions.states import set_purpose
from breeder.cultures.models import Culture, Entry
from breeder.species.models import Line
from tests.build import line, species, tub
from tests.cultures.book import lower, promise

pytestmark = pytest.mark.django_db

TUB_PAGES = ("tub", "tub_count", "tub_change", "tub_move", "tub_split", "tub_merge", "tub_close", "tub_purpose")


def url(name: str, *args: Any) -> str:
    return reverse(f"cultures:{name}", args=args)


@pytest.fixture
def known(keeper: User) -> Culture:
    """A tub with counts, a promise, a sale of history and a mistake put right."""
    culture = tub(line(young_kept=30, harvest_share=None), note="wood & <leaf>")
    record_count(culture.pk, "young", "eye", {"from": 100, "to": 250}, by=keeper)
    record_count(culture.pk, "adults", "hand", {"counted": 34}, by=keeper)
    wrong = record_change(culture.pk, "young", 9, "died", by=keeper).entry
    correct_entry(wrong.pk, by=keeper)
    promise(culture.line_id, 4)
    return culture


def test_every_page_answers(keeper_client: Client, known: Culture) -> None:
    pages = [url(name, known.number) for name in (*TUB_PAGES, "tub_not_for_sale", "round_tub")]
    pages += [url(name) for name in ("tubs", "tub_new", "lines", "care")]
    pages += [url("line", known.line_id), url("line_minimum", known.line_id), url("tubs") + "?closed=1&sort=-looked"]
    for page in pages:
        assert keeper_client.get(page).status_code == 200, page


@pytest.mark.parametrize("sort", ["number", "line", "place", "purpose", "counted", "looked"])
def test_the_list_of_tubs_sorts_by_every_column(keeper_client: Client, known: Culture, sort: str) -> None:
    tub(known.line)
    assert keeper_client.get(url("tubs") + f"?sort={sort}").status_code == 200


def test_pages_of_tubs_and_lines_that_are_not_there_are_not_found(keeper_client: Client) -> None:
    for page in (url("tub", 999), url("tub", 10**20), url("line", 999), url("line", 10**20), url("round_tub", 999)):
        assert keeper_client.get(page).status_code == 404


def test_a_tubs_page_shows_the_number_the_working_and_what_was_put_right(keeper_client: Client, known: Culture) -> None:
    html = keeper_client.get(url("tub", known.number)).content.decode()
    assert f'<span class="big">{known.number}</span>' in html
    assert "Geometric middle of 100 and 250" in html
    assert "34 counted one by one." in html
    assert 'class="struck">9 young died.' in html
    assert "wood &amp; &lt;leaf&gt;" in html
    assert f"Safe to rely on, 95% sure: {lower(known)}." in html


def test_a_lines_page_says_in_words_what_is_free_and_who_waits(
    keeper_client: Client, known: Culture, keeper: User
) -> None:
    html = keeper_client.get(url("line", known.line_id)).content.decode()
    assert f"{lower(known)} at least, 30 kept back, 4 promised: {lower(known) - 34} to spare." in html
    assert "covered" in html
    record_count(known.pk, "young", "hand", {"counted": 32}, by=keeper)
    html = keeper_client.get(url("line", known.line_id)).content.decode()
    assert "2 missing" in html
    assert "Lower the breeding minimum" in html
    assert "is short" in keeper_client.get(url("lines")).content.decode()


def test_a_count_is_shown_before_it_is_saved_and_only_what_was_shown_is_saved(
    keeper_client: Client, known: Culture
) -> None:
    page, token = url("tub_count", known.number), form_tokens.new_token()
    sent = {"method": "hand", "stage": "adults", "counted": "3.4.10", "token": token}
    before = Entry.objects.count()
    shown = keeper_client.post(page, sent)
    assert shown.context["preview"].sentence.startswith("The book would rely on 17: every animal was counted")
    changed = sent | {"counted": "3.4.90", "shown": shown.context["fingerprint"], "save": "1"}
    again = keeper_client.post(page, changed)
    assert again.context["preview"].sentence.startswith("The book would rely on 97")
    assert Entry.objects.count() == before
    answer = keeper_client.post(page, changed | {"shown": again.context["fingerprint"]})
    assert answer.url == url("tub", known.number)
    assert Entry.objects.latest("pk").given == {"counted": 97, "sexed": "3.4.90"}


def test_what_a_way_of_counting_hides_is_said_before_it_is_chosen(keeper_client: Client, known: Culture) -> None:
    html = keeper_client.get(url("tub_count", known.number)).content.decode()
    cautions = html[html.index("</nav>", html.index("Ways to count")) : html.index("data-keep")]
    assert "Removal in passes</strong>: Search the same number of minutes in every pass" in cautions
    assert "Marked and caught again</strong>: Marks are lost when animals molt" in cautions
    assert "efore and after a sale" not in html, "it nearly always says nothing, so it is not offered"


def test_what_a_count_says_at_least_is_what_the_book_then_relies_on(keeper_client: Client) -> None:
    new = tub(line())
    sent = {"method": "full_sort", "stage": "young", "counted": "44", "token": form_tokens.new_token()}
    shown = keeper_client.post(url("tub_count", new.number), sent)
    assert shown.context["preview"].sentence.startswith("The book would rely on 44")
    assert "at least 44." in shown.content.decode()  # all of them were in the hand
    keeper_client.post(url("tub_count", new.number), sent | {"shown": shown.context["fingerprint"], "save": "1"})
    assert "at least 44 by this count alone" in keeper_client.get(url("tub", new.number)).content.decode()


SEXING = {"sexing": "males have two horns", "sources": {"sexing": ["second hand", "general reference"]}}


@pytest.mark.parametrize(("method", "helps"), [("hand", True), ("by_sexes", True), ("eye", False)])
def test_a_form_that_takes_sexes_says_how_they_are_told_apart(keeper_client: Client, method: str, helps: bool) -> None:
    page = url("tub_count", tub(line(of=species(**SEXING))).number) + f"?method={method}"
    html = keeper_client.get(page).content.decode()
    for words in ("Telling the sexes apart:", "males have two horns", "second-hand report", "general reference"):
        assert (words in html) == helps, words


@pytest.mark.parametrize(("reproduction", "asked"), [("two_sexes", True), ("clonal", False)])
def test_a_species_without_sexing_help_asks_for_it_where_there_are_two_sexes(
    keeper_client: Client, reproduction: str, asked: bool
) -> None:
    page = url("tub_count", tub(line(of=species(reproduction=reproduction))).number)
    assert ("is not in the book yet" in keeper_client.get(page).content.decode()) == asked


TYPED = [
    ("hand", {"counted": "many"}, "‘many’"),
    ("hand", {"counted": "-3"}, "‘-3’"),
    ("hand", {"counted": "2.5.x"}, "3.4.10"),
    ("hand", {"counted": "9999999"}, "more than one tub can hold"),
    ("hand", {"counted": "12\x00"}, "sign that cannot be kept"),
    ("hand", {"counted": "12", "happened_at": "2090-01-01T10:00"}, "has not come yet"),
    ("hand", {"counted": "12", "happened_at": "0001-01-01T10:00"}, "Check the year"),
    ("hand", {"counted": "12", "happened_at": "yesterday"}, "Write 2026-03-31 16:30"),
    ("hand", {"counted": "12", "stage": "eggs"}, "not in the list"),
    ("hand", {"counted": "1.1.1", "stage": "young"}, "go with adults"),
    ("portions", {"counts": "9 1.5", "sizes": "50", "whole": "4000"}, "‘1.5’"),
    ("portions", {"counts": "9 14", "sizes": "50 50 50", "whole": "4000"}, "2 portions but 3 sizes"),
    ("portions", {"counts": "9 14", "sizes": "50", "whole": "NaN"}, "not a number"),
    ("portions", {"counts": "9", "sizes": "50", "whole": "4000"}, "portion"),
    ("portions", {"counts": "9 14", "sizes": "0.01", "whole": "9999999"}, "more than one tub can hold"),
    ("piece", {"seen": "12", "factor": "0.1"}, "at least 1"),
    ("piece", {"seen": "100000", "factor": "10000"}, "more than one tub can hold"),
    ("weight", {"sample_count": "50", "sample_g": "4.1", "whole_g": "1"}, "Weigh both again"),
    ("removal", {"catches": "38"}, "pass"),
    ("marked", {"marked": "5", "caught": "3", "marked_caught": "9"}, "9"),
    ("index", {"seen": "5", "trial_known": "3", "trial_seen": "9"}, "cannot see more"),
    ("after_sale", {"index_before": "9", "index_after": "9", "removed": "4"}, "did not fall"),
    ("by_sexes", {"before": "20", "after": "30.20", "taken": "0.40", "stage": "adults"}, "each animal needs its sex"),
    ("by_sexes", {"before": "20.20.1", "after": "30.20", "taken": "0.40"}, "each animal needs its sex"),
    ("by_sexes", {"before": "20.20", "after": "30.20", "taken": "0.40", "stage": "young"}, "cannot be sexed"),
    ("by_sexes", {"before": "20.20", "after": "20.30", "taken": "0.40", "stage": "adults"}, "did not move"),
    ("by_sexes", {"before": "20.20", "after": "20.30", "taken": "0.0", "stage": "adults"}, "at least 1"),
]


@pytest.mark.parametrize(("method", "typed", "says"), TYPED, ids=[f"{row[0]} {row[2]}" for row in TYPED])
def test_a_bad_count_is_told_in_a_sentence_and_keeps_what_was_typed(
    keeper_client: Client, method: str, typed: dict[str, str], says: str
) -> None:
    culture = tub()
    sent = {"method": method, "stage": "young", **typed}
    answer = keeper_client.post(url("tub_count", culture.number), sent)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert says in html
    kept = next(value for name, value in typed.items() if name != "stage").replace("\x00", "")
    assert f'value="{kept}' in html
    assert not Entry.objects.exists()


def test_a_count_of_a_line_kept_by_the_cup_is_refused(keeper_client: Client) -> None:
    answer = keeper_client.post(url("tub_count", tub(line(sold_by=Line.SoldBy.CUP)).number), {"counted": "3"})
    assert answer.status_code == 422
    assert "kept by the cup" in answer.content.decode()


@pytest.mark.parametrize(
    ("name", "sent", "says"),
    [
        ("tub_change", {"reason": "died", "stage": "young", "number": "0"}, "at least 1"),
        ("tub_change", {"reason": "eaten", "stage": "young", "number": "3"}, "not in the list"),
        ("tub_move", {"to": "99999", "stage": "young", "number": "3"}, "not in the list"),
        ("tub_split", {"share": "0.5", "shelf": "", "place_on_shelf": "1", "purpose": "breeding"}, "is empty"),
        ("tub_split", {"share": "", "shelf": "B", "place_on_shelf": "1", "purpose": "breeding"}, "Say either"),
        ("tub_merge", {"into": "x"}, "not in the list"),
        ("tub_close", {"reason": " "}, "is empty"),
        ("tub_purpose", {"purpose": "quarantine", "quarantine_until": "2020-01-01"}, "which is past"),
        ("tub_not_for_sale", {"because": "m" * 400}, "Shorten it"),
    ],
)
def test_a_bad_form_is_told_in_a_sentence(
    keeper_client: Client, known: Culture, name: str, sent: dict[str, str], says: str
) -> None:
    before = Entry.objects.count()
    answer = keeper_client.post(url(name, known.number), sent)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert Entry.objects.count() == before


def test_forms_do_what_they_say(keeper_client: Client, known: Culture) -> None:
    other = tub(known.line)
    number = known.number
    done = [
        ("tub_change", {"reason": "died", "stage": "adults", "number": "1.2.0"}),
        ("tub_move", {"to": other.pk, "stage": "young", "number": "3"}),
        ("tub_split", {"share": "0.5", "shelf": "B", "place_on_shelf": "2", "purpose": "growing"}),
        ("tub_not_for_sale", {"because": "mites"}),
        ("tub_purpose", {"purpose": "growing"}),
        ("tub_merge", {"into": other.pk}),
    ]
    for name, sent in done:
        answer = keeper_client.post(url(name, number), sent | {"token": form_tokens.new_token()})
        assert answer.status_code == 302, (name, answer.content.decode())
    one = Culture.objects.get(pk=known.pk)
    assert (one.purpose, one.not_for_sale, one.closed_on is not None) == ("growing", "mites", True)
    died = Entry.objects.get(culture=known, reason="died", stage="adults")
    assert (died.number, died.males, died.females) == (-3, -1, -2)
    assert Culture.objects.get(shelf="B").purpose == "growing"
    assert keeper_client.get(url("tub", number)).status_code == 200


def test_a_new_tub_is_begun_with_what_was_received(keeper_client: Client) -> None:
    of = line()
    sent = {"line": of.pk, "shelf": "C", "place_on_shelf": "4", "purpose": "breeding", "adults": "4.8.0", "young": "30"}
    answer = keeper_client.post(url("tub_new"), sent | {"token": form_tokens.new_token()})
    assert answer.status_code == 302
    begun = Culture.objects.get()
    assert (lower(begun, "adults"), lower(begun)) == (12, 30)
    assert answer.url == url("tub", begun.number)
    assert f"Write {begun.number} on its lid." in keeper_client.get(answer.url).content.decode()


def test_a_lowered_minimum_without_a_reason_is_refused_beside_the_reason(keeper_client: Client, known: Culture) -> None:
    page = url("line_minimum", known.line_id)
    sent = {"adults_kept": "5", "young_kept": "30", "each_sex_kept": "3"}
    refused = keeper_client.post(page, sent)
    assert refused.status_code == 422
    assert "needs a reason" in refused.content.decode()
    assert keeper_client.post(page, sent | {"reason": "a second room"}).status_code == 302
    assert Line.objects.get(pk=known.line_id).adults_kept == 5


@pytest.mark.parametrize("number", ["100001", "2147483648"])
def test_a_minimum_that_is_a_slip_is_told_by_the_name_of_its_field(
    keeper_client: Client, known: Culture, number: str
) -> None:
    sent = {"adults_kept": number, "young_kept": "30", "each_sex_kept": "3"}
    answer = keeper_client.post(url("line_minimum", known.line_id), sent)
    assert answer.status_code == 422
    assert f"‘Adults that stay’ is {number}; the largest it can be is 100000." in answer.content.decode()
    sent["adults_kept"] = "100000"
    assert keeper_client.post(url("line_minimum", known.line_id), sent).status_code == 302


def test_a_helper_walks_the_round_but_sets_no_minimum(helper_client: Client, known: Culture) -> None:
    assert helper_client.get(url("round_tub", known.number)).status_code == 200
    assert helper_client.get(url("line_minimum", known.line_id)).status_code == 403
    assert helper_client.post(url("tub_not_for_sale", known.number), {"because": "x"}).status_code == 403


def test_a_stranger_is_sent_to_log_in(client: Client, known: Culture) -> None:
    for page in (url("tubs"), url("tub", known.number), url("round"), url("line", known.line_id)):
        assert client.get(page).url.startswith(reverse("login"))


def test_an_undo_goes_on_to_pages_of_this_site_only(keeper_client: Client, known: Culture) -> None:
    page = url("tub_correct", known.number)
    for elsewhere in ("https://example.org/", "//example.org", "/\\example.org", "javascript:alert(1)"):
        answer = keeper_client.post(page, {"entry": "x", "next": elsewhere})
        assert answer.url == url("tub", known.number)


@pytest.mark.parametrize("page", ["tub_not_for_sale", "tub_purpose"])
def test_an_old_page_does_not_write_over_what_was_set_meanwhile(keeper_client: Client, keeper: User, page: str) -> None:
    culture = tub()
    opened = keeper_client.get(url(page, culture.number)).context["form"]["seen"].value()
    mark_crashed(culture.pk, "all dead", by=keeper)
    set_purpose(culture.pk, "isolation", by=keeper)
    sent = {"because": "", "purpose": "growing", "seen": opened}
    answer = keeper_client.post(url(page, culture.number), sent | {"token": form_tokens.new_token()})
    assert (answer.status_code, "was changed since you opened" in answer.content.decode()) == (422, True)
    culture.refresh_from_db()
    assert (culture.purpose, culture.not_for_sale[:7]) == ("isolation", "crashed")
    again = sent | {"seen": answer.context["form"]["seen"].value(), "token": form_tokens.new_token()}
    assert keeper_client.post(url(page, culture.number), again).status_code == 302
