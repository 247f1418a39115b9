"""A phone whose network comes and goes: undo, double taps, going back, two phones, a lost log-in, refusals, photos."""

import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.journeys.conftest import Demo
from tests.journeys.test_round import SENT_WITHIN_MS, entries, last_row, visit
from tests.journeys.walking import PASSWORD, Site, Walker

# One site for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("kept")


@pytest.fixture(scope="module")
def own_site(demo: Demo) -> Iterator[Site]:
    site = Site(demo.folder)
    yield site
    site.pull_down()


@pytest.fixture
def walker(browser: Any, own_site: Site) -> Iterator[Walker]:
    walker = Walker(browser, own_site.address, script=True)
    walker.begin()
    yield walker
    walker.context.close()


def all_sent(walker: Walker) -> None:
    expect(walker.page.locator("[data-kept-count]")).to_have_text("", timeout=SENT_WITHIN_MS)


def test_a_double_tap_is_one_look(walker: Walker, own_site: Site) -> None:
    start, here = last_row(own_site), walker.tub
    walker.page.get_by_role("button", name="Looked, all well").dblclick()
    walker.settle()
    all_sent(walker)
    assert [tub for tub, *_ in entries(own_site, start)] == [here]


def test_undo_takes_back_what_waits_and_what_was_sent(walker: Walker, own_site: Site) -> None:
    start, here = last_row(own_site), walker.tub
    walker.context.set_offline(True)
    visit(walker, look=True)
    walker.tap("Undo")
    walker.settle()
    assert (walker.tub, walker.waiting()) == (here, 0)
    walker.context.set_offline(False)
    visit(walker, look=True)
    all_sent(walker)
    walker.tap("Undo")
    walker.settle()
    all_sent(walker)
    assert walker.tub == here
    assert [(tub, kind) for tub, kind, _ in entries(own_site, start)] == [(here, "looked"), (here, "correct")]


def test_back_and_skip_move_along_the_shelf_and_write_nothing(walker: Walker, own_site: Site) -> None:
    start, here = last_row(own_site), walker.tub
    walker.context.set_offline(True)
    walker.tap("Skip", "link")
    walker.settle()
    there = walker.tub
    assert there != here
    walker.page.go_back()
    walker.settle()
    assert walker.tub == here
    walker.page.go_forward()
    walker.settle()
    assert walker.tub == there
    walker.tap("Back", "link")
    walker.settle()
    assert walker.tub < there
    assert entries(own_site, start) == []


def test_without_script_the_back_button_shows_that_the_tub_is_done(browser: Any, own_site: Site) -> None:
    plain = Walker(browser, own_site.address, script=False)
    plain.begin()
    start, here = last_row(own_site), plain.tub
    plain.tap("Looked, all well")
    assert plain.tub != here
    plain.page.go_back()
    assert plain.tub == here
    expect(plain.page.locator("main")).to_contain_text("Somebody looked into this tub today.")
    assert len(entries(own_site, start)) == 1
    plain.context.close()


def test_two_phones_in_one_round_lose_nothing(walker: Walker, browser: Any, own_site: Site) -> None:
    other = Walker(browser, own_site.address, script=True)
    other.begin()
    start, here = last_row(own_site), walker.tub
    assert other.tub == here
    visit(other, look=True)
    visit(walker, look=False)
    all_sent(other)
    all_sent(walker)
    assert [tub for tub, *_ in entries(own_site, start)] == [here, here]
    other.page.goto("/round/list/")
    expect(other.page.get_by_role("link", name=re.compile(rf"^{here}\b"))).to_contain_text("done")
    other.context.close()


def test_a_lost_log_in_keeps_what_was_typed_until_somebody_logs_in_again(walker: Walker, own_site: Site) -> None:
    start, here = last_row(own_site), walker.tub
    session = [one for one in walker.context.cookies() if one["name"] == "sessionid"]
    walker.context.clear_cookies(name="sessionid")
    visit(walker, look=True)
    panel = walker.page.locator("#kept")
    expect(panel).to_contain_text("you were logged out. Log in, and all is sent.")
    assert (walker.waiting(), entries(own_site, start)) == (1, [])
    assert session
    with walker.context.expect_page() as opened:
        panel.get_by_role("link", name="Log in").tap()
    login = opened.value
    login.fill("#id_username", "helper")
    login.fill("#id_password", PASSWORD)
    login.get_by_role("button", name="Log in").click()
    expect(login.locator("#kept")).to_contain_text("until its writer logs in: keeper.")
    assert entries(own_site, start) == []
    login.context.clear_cookies(name="sessionid")
    login.goto("/login/")
    login.fill("#id_username", "keeper")
    login.fill("#id_password", PASSWORD)
    login.get_by_role("button", name="Log in").click()
    all_sent(walker)
    assert [tub for tub, *_ in entries(own_site, start)] == [here]


def test_what_the_book_refuses_is_shown_with_what_was_typed_and_why(walker: Walker, own_site: Site) -> None:
    start, here = last_row(own_site), walker.tub
    walker.context.set_offline(True)
    visit(walker, look=False)
    other = walker.context.browser.new_context(base_url=own_site.address)
    page = other.new_page()
    page.goto(f"/login/?next=/tubs/{here}/close/")
    page.fill("#id_username", "keeper")
    page.fill("#id_password", PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.fill("[name=reason]", "died out")
    page.locator("form button.primary").last.click()
    page.wait_for_url(re.compile(r"/tubs/\d+/(#reply)?$"))
    other.close()
    walker.context.set_offline(False)
    row = walker.page.locator("#kept li")
    expect(row).to_contain_text(f"Tub {here}: ", timeout=SENT_WITHIN_MS)
    expect(row).to_contain_text(f"Tub {here} was closed on")
    assert [kind for _, kind, _ in entries(own_site, start)] == ["state"]
    row.get_by_role("button", name="Throw away").tap()
    expect(walker.page.locator("#kept")).to_be_hidden()


def test_a_photo_and_a_death_typed_without_network_arrive_together(walker: Walker, own_site: Site) -> None:
    while not walker.page.get_by_role("button", name="50 – 100").is_visible():
        visit(walker, look=True)
    all_sent(walker)
    start, here = last_row(own_site), walker.tub
    held = io.BytesIO()
    Image.effect_noise((900, 700), 80).convert("RGB").save(held, "JPEG")
    walker.context.set_offline(True)
    walker.page.locator("#more summary").tap()
    walker.page.fill("#id_died", "2")
    walker.page.set_input_files("#id_photo", {"name": "tub.jpg", "mimeType": "image/jpeg", "buffer": held.getvalue()})
    walker.tap("Save, next")
    walker.settle()
    walker.context.set_offline(False)
    all_sent(walker)
    assert [(tub, kind) for tub, kind, _ in entries(own_site, start)] == [(here, "looked"), (here, "change")]
    walker.page.goto(f"/tubs/{here}/")
    shown = walker.page.locator("img.photo").first
    shown.scroll_into_view_if_needed()
    expect(shown).to_have_js_property("naturalWidth", 900)


def test_a_tubs_own_forms_wait_on_the_phone_too(walker: Walker, own_site: Site) -> None:
    start, here = last_row(own_site), walker.tub
    walker.page.goto(f"/tubs/{here}/change/")
    walker.page.fill("[name=number]", "1")
    walker.context.set_offline(True)
    walker.page.get_by_role("button", name="Record").tap()
    expect(walker.page.locator("#kept")).to_contain_text("Kept on this phone, 1 waiting")
    walker.context.set_offline(False)
    expect(walker.page.locator("#kept")).to_be_hidden(timeout=SENT_WITHIN_MS)
    assert [(tub, kind) for tub, kind, _ in entries(own_site, start)] == [(here, "change")]
    walker.page.fill("[name=number]", "0")
    walker.page.get_by_role("button", name="Record").tap()
    expect(walker.page.locator(".wrong")).to_contain_text("it must be at least 1")
    assert walker.page.input_value("[name=number]") == "0"
    walker.page.fill("[name=number]", "1")
    walker.page.get_by_role("button", name="Record").tap()
    walker.page.wait_for_url(re.compile(rf"/tubs/{here}/$"))
    expect(walker.page.locator("main")).to_contain_text(f"Recorded for tub {here}: ")
    assert len(entries(own_site, start)) == 2
