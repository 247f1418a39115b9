"""Press every button of every form of the demo on a phone (390 px): what the book says is on the screen, by the button.

The pages are found by following links from the first one, so a new form is tried without being named here.
"""

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import TimeoutError

from tests.journeys.conftest import Demo
from tests.journeys.walking import PHONE, Site, Walker

pytestmark = pytest.mark.xdist_group("every button")

NOT_A_PAGE = re.compile(r"\.(csv|ics|pdf)$|^/(photos|logout|login)/|^/book/backup/file/")
PAGES_OF_A_KIND = 2
# Without script the same templates and redirects answer, so it is tried on the pages with most forms.
WITHOUT_SCRIPT = re.compile(r"/packing/\d+/$|/supplies/$|/book/settings/$|/tubs/\d+/$|/orders/|/packing/$|/closures/$")
REPLIES_WITHIN_MS = 12_000
NEAR_PX = 260  # from the end of the reply to the button: nothing but the other buttons of the form is between them

FORMS = """() => [...document.querySelectorAll("main form[method=post]")].flatMap((form, at) =>
  [...form.querySelectorAll("button:not([type=button])")].filter((button) => !button.disabled).map((button, which) => ({
    at, which, place: form.elements.reply_at?.value ?? "", text: button.textContent.trim(), action: form.action,
  })))"""
PRESS = """([at, which]) => {
  const form = document.querySelectorAll("main form[method=post]")[at];
  const button = form.querySelectorAll("button:not([type=button])")[which];
  for (let d = button.closest("details"); d; d = d.parentElement.closest("details")) d.open = true;
  button.setAttribute("data-pressed", "");
}"""
SEEN = """([place, text]) => {
  const replies = [...document.querySelectorAll("#reply")];
  const box = replies[0].getBoundingClientRect();
  const forms = [...document.querySelectorAll("main form[method=post]")];
  const form = forms.find((one) => one.elements.reply_at?.value === place);
  const buttons = form ? [...form.querySelectorAll("button")] : [];
  const button = buttons.find((one) => one.textContent.trim() === text) || buttons[0];
  return {
    number: replies.length, text: replies[0].innerText.trim(), top: box.top, bottom: box.bottom,
    focused: document.activeElement === replies[0], role: replies[0].getAttribute("role"),
    inForm: form ? form.contains(replies[0]) : null, scroll: document.documentElement.scrollWidth,
    gap: button ? button.getBoundingClientRect().top - box.bottom : null,
  };
}"""


@dataclass(frozen=True)
class Button:
    """One button of one form on one page."""

    page: str
    place: str
    text: str

    @property
    def kind(self) -> tuple[str, str, str]:
        """Return what is alike in forms of the same kind: everything but the numbers."""
        plain = [re.sub(r"\d+", "n", part) for part in (self.page.split("?")[0], self.place, self.text)]
        return plain[0], plain[1], re.sub(r" for .*| n .*|Choose.*", "", plain[2])


@pytest.fixture(scope="module")
def own_site(demo: Demo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    site = Site(Path(shutil.copytree(demo.folder, tmp_path_factory.mktemp("buttons") / "demo")))
    yield site
    site.pull_down()


def buttons_of(walker: Walker) -> list[Button]:
    """Follow links from the first page and return one button of every kind."""
    to_see, seen, found = ["/"], {}, {}
    while to_see:
        address = to_see.pop(0)
        kind = re.sub(r"\d+", "n", address.split("?")[0])
        if NOT_A_PAGE.search(address.split("?")[0]) or "csv" in address or seen.get(kind, 0) >= PAGES_OF_A_KIND:
            continue
        seen[kind] = seen.get(kind, 0) + 1
        answer = walker.page.goto(address)
        if answer is None or "text/html" not in answer.headers.get("content-type", ""):
            continue
        assert answer.status == 200, address
        for given in walker.page.evaluate(FORMS):
            button = Button(address, given["place"], given["text"])
            found.setdefault(button.kind, button)
        links = "() => [...document.querySelectorAll('a[href]')].map((link) => link.getAttribute('href'))"
        to_see += [href.split("#")[0] for href in walker.page.evaluate(links) if re.match(r"/(?!/)", href)]
    return list(found.values())


def press(walker: Walker, button: Button) -> dict[str, Any] | None:
    """Press a button as it is and return where the reply is on the screen; None if it is gone by another press."""
    walker.page.goto(button.page)
    here = walker.page.evaluate(FORMS)
    assert not walker.page.locator("#reply").count(), "a page that is only opened has nothing to answer"
    same = [given for given in here if (given["place"], given["text"]) == (button.place, button.text)]
    if not same:
        return None
    walker.page.evaluate(PRESS, [same[0]["at"], same[0]["which"]])
    walker.page.locator("[data-pressed]").click()
    try:
        walker.page.locator("#reply").first.wait_for(state="attached", timeout=REPLIES_WITHIN_MS)
    except TimeoutError:
        return {"number": 0, "at": walker.page.url}
    walker.page.wait_for_load_state()
    walker.page.wait_for_timeout(150)
    return walker.page.evaluate(SEEN, [button.place, button.text])


def faults_of(reply: dict[str, Any], *, script: bool) -> list[str]:
    """Return what is wrong with where a reply is."""
    if not reply["number"]:
        return ["nothing is said"]
    height = PHONE["height"]
    fits = reply["bottom"] - reply["top"] < height
    wrong = {
        "there is not one reply": reply["number"] != 1,
        "it says nothing": not reply["text"],
        "it is off the screen": not (0 <= reply["top"] < height and (reply["bottom"] <= height or not fits)),
        "it is not in the form that was sent": reply["inForm"] is False,
        "it is far from the button": reply["gap"] is not None and not -120 <= reply["gap"] <= NEAR_PX,
        "the page scrolls sideways": reply["scroll"] > PHONE["width"],
        "it has no role": reply["role"] not in ("status", "alert", None),
        "the focus is elsewhere": script and not reply["focused"],
    }
    return [fault for fault, is_so in wrong.items() if is_so]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_every_button_is_answered_where_it_was_pressed(browser: Any, own_site: Site, script: bool) -> None:
    walker = Walker(browser, own_site.address, script=script)
    pressed, wrong = set(), {}
    for button in buttons_of(walker):
        if button.text.startswith("Log out") or re.match("stop-|undo", button.place):
            continue  # these answer by going on to another page: the log-in, the next tub of the round
        if not script and not WITHOUT_SCRIPT.match(button.page):
            continue
        if (reply := press(walker, button)) is None:
            continue
        pressed.add(button.kind)
        if faults := faults_of(reply, script=script):
            wrong[button] = [*faults, reply]
    walker.context.close()
    assert not wrong, "\n".join(f"{button}: {faults}" for button, faults in wrong.items())
    assert len(pressed) > (50 if script else 20), sorted(pressed)
