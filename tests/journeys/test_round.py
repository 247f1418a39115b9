"""Ten tubs by thumb at 390 px; the server killed and the network gone in the middle of a round."""

import re
import sqlite3
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.journeys.conftest import HOME_HOST, Demo
from tests.journeys.walking import Site, Walker

# One site for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("round")

MOST_TAPS_A_GUESS = 3
SENT_WITHIN_MS = 30_000


@pytest.fixture(scope="module")
def own_site(demo: Demo) -> Iterator[Site]:
    site = Site(demo.folder)
    yield site
    site.pull_down()


@pytest.fixture
def walker(request: pytest.FixtureRequest, browser: Any, own_site: Site) -> Iterator[Walker]:
    walker = Walker(browser, own_site.address, script=getattr(request, "param", True))
    yield walker
    walker.context.close()


def entries(site: Site, after: int) -> list[tuple[int, str, str]]:
    """Return the tub, the kind and what was typed of every entry written since."""
    with sqlite3.connect(next(site.folder.glob("*.sqlite3"))) as book:
        rows = book.execute(
            "SELECT c.number, e.kind, e.given FROM breeder_entry e JOIN breeder_culture c ON c.id = e.culture_id "
            "WHERE e.id > ? ORDER BY e.happened_at, e.id",
            [after],
        )
        return list(rows)


def last_row(site: Site) -> int:
    with sqlite3.connect(next(site.folder.glob("*.sqlite3"))) as book:
        return int(book.execute("SELECT max(id) FROM breeder_entry").fetchone()[0])


def visit(walker: Walker, *, look: bool) -> int:
    """Look into the tub shown, or guess its young; return the taps it took."""
    before = walker.taps
    if look or not walker.page.get_by_role("button", name="50 – 100", exact=True).is_visible():
        assert walker.on_screen("Looked, all well")
        walker.tap("Looked, all well")
        assert walker.taps - before == 1
    else:
        walker.tap("50 – 100")
        walker.page.locator("#before > *").first.wait_for()
        assert walker.on_screen("Save, next")
        walker.tap("Save, next")
    walker.settle()
    return walker.taps - before


@pytest.mark.parametrize("walker", [False, True], indirect=True, ids=["without script", "with script"])
def test_ten_tubs_by_thumb(walker: Walker, own_site: Site) -> None:
    walker.begin()
    start, tubs = last_row(own_site), []
    for nth in range(10):
        tubs.append(walker.tub)
        assert visit(walker, look=nth % 3 == 0) <= MOST_TAPS_A_GUESS
    walker.page.goto("/round/list/")
    written = entries(own_site, start)
    assert [tub for tub, *_ in written] == tubs
    assert {kind for _, kind, _ in written} == {"count", "looked"}


def test_a_round_goes_on_while_the_server_is_down_and_nothing_is_lost_or_written_twice(
    walker: Walker, own_site: Site
) -> None:
    walker.begin()
    assert walker.page.evaluate("isSecureContext") is False
    start, tubs = last_row(own_site), []
    for nth in range(9):
        if nth == 3:
            own_site.pull_down()
        tubs.append(walker.tub)
        visit(walker, look=nth % 2 == 0)
    assert walker.waiting() == 6
    assert "Kept on this phone, 6 waiting: the book does not answer." in walker.page.locator("#kept").inner_text()
    own_site.put_up()
    expect(walker.page.locator("[data-kept-count]")).to_have_text("", timeout=SENT_WITHIN_MS)
    written = entries(own_site, start)
    assert [tub for tub, *_ in written] == tubs
    with sqlite3.connect(next(own_site.folder.glob("*.sqlite3"))) as book:
        times = book.execute(
            "SELECT happened_at, recorded_at FROM breeder_entry WHERE id > ? ORDER BY id", [start]
        ).fetchall()
    assert [happened for happened, _ in times] == sorted({happened for happened, _ in times})
    assert all(happened < recorded for happened, recorded in times[3:])


def lose_the_answer(route: Any, site: Site) -> None:
    """Let a request arrive, and cut the line before its answer is back."""
    there = route.request.url.replace(HOME_HOST, "127.0.0.1")
    route.fetch(url=there, headers=route.request.headers | {"host": f"{HOME_HOST}:{site.port}"})
    route.abort()


def test_what_waits_outlives_a_killed_page_and_a_lost_answer(walker: Walker, own_site: Site) -> None:
    walker.begin()
    start = last_row(own_site)
    walker.page.route(re.compile(r"/round/\d+/$"), lambda route: lose_the_answer(route, own_site))
    tubs = [walker.tub]
    visit(walker, look=True)
    walker.page.wait_for_timeout(1500)
    assert [tub for tub, *_ in entries(own_site, start)] == tubs
    assert walker.waiting() == 1
    walker.context.set_offline(True)
    tubs.append(walker.tub)
    visit(walker, look=True)
    assert walker.waiting() == 2
    walker.page.close()
    walker.context.set_offline(False)
    walker.page = walker.context.new_page()
    walker.page.goto("/")
    walker.page.wait_for_timeout(3000)
    assert [tub for tub, *_ in entries(own_site, start)] == tubs
