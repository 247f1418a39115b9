"""A site that can be pulled down and put up again in the middle of a round, and a phone that walks it."""

import re
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any, ClassVar

from django.conf import settings

from tests.journeys.conftest import HOME_HOST, STARTS_WITHIN_S, environment, free_port

PHONE = {"width": 390, "height": 844}
PASSWORD = "under the bark"
SETTLED_MS = 600  # longer than the time within which the page takes two taps for a double one


class Site:
    """The demo's site on a port of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.address = f"http://{HOME_HOST}:{self.port}"
        self.put_up()

    def put_up(self) -> None:
        log = (self.folder / f"round-{self.port}.log").open("a")
        command = [sys.executable, "manage.py", "demo", "--port", str(self.port)]
        self.served = subprocess.Popen(
            command,
            cwd=settings.BASE_DIR,
            env=environment(self.folder) | {"BREEDER_HOSTS": f"127.0.0.1,{HOME_HOST}"},
            stdout=log,
            stderr=log,
        )
        until = time.monotonic() + STARTS_WITHIN_S
        while True:
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{self.port}/login/", timeout=2).close()
                return
            except OSError:
                assert self.served.poll() is None, Path(log.name).read_text()
                assert time.monotonic() < until, "the site did not start"
                time.sleep(0.2)

    def pull_down(self) -> None:
        self.served.send_signal(signal.SIGKILL)
        self.served.wait(timeout=10)


class Walker:
    """A thumb on a phone: every tap is counted. Whoever logged in on a site before need not do so again."""

    logged_in: ClassVar[dict[str, Any]] = {}

    def __init__(self, browser: Any, address: str, *, script: bool) -> None:
        self.context = browser.new_context(
            viewport=PHONE, java_script_enabled=script, base_url=address, has_touch=True, is_mobile=True
        )
        self.page, self.script, self.taps = self.context.new_page(), script, 0
        self.page.set_default_timeout(15_000)
        self.context.add_cookies(self.logged_in.get(address, []))
        self.page.goto("/book/")
        if "/login/" in self.page.url:
            self.log_in()
            self.logged_in[address] = self.context.cookies()

    def log_in(self) -> None:
        self.page.fill("#id_username", "keeper")
        self.page.fill("#id_password", PASSWORD)
        self.page.get_by_role("button", name="Log in").click()
        self.page.wait_for_load_state()

    def begin(self) -> None:
        self.page.goto("/round/")
        if self.script:
            self.page.locator("#stop[data-carried]").wait_for()
        self.settle()

    def settle(self) -> None:
        if self.script:
            self.page.wait_for_timeout(SETTLED_MS)

    @property
    def tub(self) -> int:
        return int(self.page.locator("h1 .big").inner_text())

    def tap(self, name: str, role: str = "button") -> None:
        button = self.page.get_by_role(role, name=name, exact=True).first
        # A target outside the screen would cost a swipe that nobody counted.
        box = button.bounding_box()
        assert box is not None, name
        assert box["height"] >= 48, (name, box)
        self.taps += 1
        if self.script:
            button.tap()
        else:
            with self.page.expect_navigation():
                button.tap()

    def on_screen(self, name: str, role: str = "button") -> bool:
        box = self.page.get_by_role(role, name=name, exact=True).first.bounding_box()
        return box is not None and box["y"] >= 0 and box["y"] + box["height"] <= PHONE["height"]

    def waiting(self) -> int:
        found = re.search(r"(\d+) (?:waiting|to send)", self.page.locator("[data-kept-count]").inner_text())
        return int(found[1]) if found else 0
