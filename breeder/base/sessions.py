"""Where somebody is logged in: the sessions of one person, told apart by browser and time, and ended."""

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from django.contrib.auth import HASH_SESSION_KEY, SESSION_KEY
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.http import HttpRequest
from django.utils import timezone

BEGUN, BROWSER = "begun", "browser"
MARK_LETTERS = 16
UNKNOWN = "an unknown browser"
# Words of a User-Agent header, the particular ones first: each browser also says the names of those before it.
BROWSERS = {"Edg": "Edge", "OPR": "Opera", "Firefox": "Firefox", "Chrome": "Chrome", "Safari": "Safari"}
SYSTEMS = {
    "iPhone": "an iPhone", "iPad": "an iPad", "Android": "Android", "Windows": "Windows", "Mac OS": "a Mac",
    "Linux": "Linux",
}  # fmt: skip


@dataclass(frozen=True)
class OpenSession:
    """One session: a mark that names it but opens nothing, the browser in words, and since when (None: unknown)."""

    mark: str
    browser: str
    since: datetime | None
    is_this: bool


def remember_browser(sender: Any, request: HttpRequest, user: Any, **_: Any) -> None:
    """Note in a new session since when and in which browser it is; called at every log-in."""
    request.session[BEGUN] = timezone.now().isoformat()
    request.session[BROWSER] = browser_words(request.headers.get("User-Agent", ""))


def browser_words(agent: str) -> str:
    """Return a browser and its system in words, such as `Firefox on Linux`."""
    browser = next((name for sign, name in BROWSERS.items() if f"{sign}/" in agent), "")
    system = next((name for sign, name in SYSTEMS.items() if sign in agent), "")
    return " on ".join(part for part in (browser or ("a browser" if system else ""), system) if part) or UNKNOWN


def open_sessions(person: User, this_key: str | None = None) -> list[OpenSession]:
    """Return where this person is logged in: the session with `this_key` first, then the newest."""
    shown = [_shown(row, data, this_key) for row, data in _sessions_of(person)]
    return sorted(shown, key=lambda row: (row.is_this, row.since is not None, row.since), reverse=True)


def end(person: User, *, mark: str = "", but: str | None = None) -> int:
    """End one session of a person by its mark, or all `but` the one with this key; returns how many."""
    ended = [
        row.session_key
        for row, _ in _sessions_of(person)
        if row.session_key != but and (not mark or _mark_of(row.session_key) == mark)
    ]
    return Session.objects.filter(pk__in=ended).delete()[0]


def _sessions_of(person: User) -> list[tuple[Session, dict[str, Any]]]:
    # Only log-ins make sessions here, and a household has few; who each belongs to is written inside.
    live = ((row, row.get_decoded()) for row in Session.objects.filter(expire_date__gt=timezone.now()))
    right = person.get_session_auth_hash()
    return [
        (row, data)
        for row, data in live
        if data.get(SESSION_KEY) == str(person.pk) and data.get(HASH_SESSION_KEY) == right
    ]


def _shown(row: Session, data: dict[str, Any], this_key: str | None) -> OpenSession:
    begun = data.get(BEGUN)
    since = datetime.fromisoformat(begun) if begun else None
    return OpenSession(_mark_of(row.session_key), data.get(BROWSER, UNKNOWN), since, row.session_key == this_key)


def _mark_of(key: str) -> str:
    return sha256(key.encode()).hexdigest()[:MARK_LETTERS]
