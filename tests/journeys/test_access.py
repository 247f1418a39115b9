"""A keeper lets a helper in and out, and takes a backup away: in real browsers, on a book of its own."""

import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from tests.journeys.conftest import STARTS_WITHIN_S, environment, free_port
from tests.journeys.test_day import Phone

pytestmark = pytest.mark.xdist_group("access")

KEEPER = {"BREEDER_KEEPER": "ada", "BREEDER_KEEPER_PASSWORD": "a long tub of springtails"}
FIRST, SECOND, OWN = "a quiet box of millipedes", "another box of millipedes", "nobody else knows this one"


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> Iterator[str]:
    """Serve an empty book as the README does, until the last of these tests is over."""
    folder, port = tmp_path_factory.mktemp("access"), free_port()
    empty_book(folder)
    command = [sys.executable, "manage.py", "serve", "--port", str(port)]
    log = (folder / "serve.log").open("w")
    served = subprocess.Popen(
        command,
        cwd=settings.BASE_DIR,
        env=environment(folder) | KEEPER,
        stdin=subprocess.DEVNULL,
        stdout=log,
        stderr=log,
    )
    address, until = f"http://127.0.0.1:{port}", time.monotonic() + STARTS_WITHIN_S
    while True:
        try:
            urllib.request.urlopen(f"{address}/login/", timeout=2).close()
            break
        except OSError:
            assert served.poll() is None, (folder / "serve.log").read_text()
            assert time.monotonic() < until, "the site did not start"
            time.sleep(0.2)
    yield address
    served.terminate()
    served.wait(timeout=10)


class Hand(Phone):
    """A phone that logs in, and says whether it is still in."""

    def log_in(self, name: str, password: str) -> None:
        self.page.goto("/login/?next=/book/")
        self.page.fill("#id_username", name)
        self.page.fill("#id_password", password)
        self.tap("Log in")

    def fill(self, **values: str) -> None:
        for name, value in values.items():
            self.page.fill(f"#id_{name}", value)

    @property
    def is_inside(self) -> bool:
        self.page.goto("/book/")
        return "/login/" not in self.page.url


@pytest.fixture(params=[True, False], ids=["with script", "without script"])
def hand(request: pytest.FixtureRequest, browser: Any, book: str) -> Iterator[Callable[[], Hand]]:
    opened: list[Hand] = []

    def another() -> Hand:
        opened.append(Hand(browser, book, script=request.param))
        return opened[-1]

    yield another
    for one in opened:
        one.context.close()


def test_a_helper_comes_goes_and_comes_back(hand: Callable[[], Hand]) -> None:
    keeper, helper = hand(), hand()
    name = "robin" if keeper.script else "sasha"
    keeper.log_in(KEEPER["BREEDER_KEEPER"], KEEPER["BREEDER_KEEPER_PASSWORD"])
    keeper.tap("Settings", "link")
    keeper.tap("Helpers", "link")
    keeper.fill(username=name, password1="short", password2="short")
    keeper.tap("Add helper")
    assert keeper.says("It must contain at least 10 characters.")
    keeper.fill(password1=FIRST, password2=FIRST)
    keeper.tap("Add helper")
    assert keeper.says(f"{name} may log in.")

    helper.log_in(name, FIRST)
    assert helper.page.get_by_role("link", name="Helpers").count() == 0
    keeper.tap(name, "link")
    assert keeper.says("Chrome on Linux")
    keeper.tap(f"End {name}’s access")
    assert keeper.says(f"{name} is logged out everywhere and may no longer log in.")
    assert not helper.is_inside
    helper.log_in(name, FIRST)
    assert not helper.is_inside
    keeper.fill(new_password1=SECOND, new_password2=SECOND)
    keeper.tap("Set password")

    helper.log_in(name, SECOND)
    elsewhere = hand()
    elsewhere.log_in(name, SECOND)
    elsewhere.tap("Where you are logged in", "link")
    elsewhere.tap("End all the others")
    assert elsewhere.says("One session is ended.")
    assert not helper.is_inside
    helper.log_in(name, SECOND)
    helper.tap("Your password", "link")
    helper.fill(old_password=SECOND, new_password1=OWN, new_password2=OWN)
    helper.tap("Change password")
    assert helper.says("Your password is changed.")
    assert helper.is_inside
    assert not elsewhere.is_inside


def test_a_backup_is_made_taken_away_and_restored(hand: Callable[[], Hand], tmp_path: Path) -> None:
    keeper = hand()
    keeper.log_in(KEEPER["BREEDER_KEEPER"], KEEPER["BREEDER_KEEPER_PASSWORD"])
    keeper.tap("Settings", "link")
    keeper.tap("Backup", "link")
    keeper.tap("Make one now")
    if keeper.says("A backup is being made."):
        keeper.tap("Look again", "link")
    keeper.page.get_by_text("A backup was made:").wait_for()
    keeper.page.locator("summary", has_text="What it holds").click()
    assert keeper.says("People who log in")
    keeper.look()
    with keeper.page.expect_download() as coming:
        keeper.page.get_by_role("link", name="Download it").click()
    coming.value.save_as(tmp_path / coming.value.suggested_filename)
    restored = subprocess.run(
        [sys.executable, "manage.py", "restore", str(tmp_path / coming.value.suggested_filename)],
        cwd=settings.BASE_DIR,
        env=environment(tmp_path / "other"),
        capture_output=True,
        text=True,
        check=False,
    )
    assert restored.returncode == 0, restored.stderr
    assert "were restored" in restored.stdout
